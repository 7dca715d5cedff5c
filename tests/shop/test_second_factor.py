"""A second factor: codes as RFC 6238 has them, each once, and ways out for the lost."""

import html
import io
import re
from datetime import UTC, datetime, timedelta

import pyotp
import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shop.actions import second_factor as actions
from shop.actions.identity import set_identity
from shop.ledger import Refused
from shop.ledger.verify import verify
from shop.models import Entry, Person, RecoveryCode, SecondFactor, SignInTry
from shop.rules import second_factor as rules
from tests.around import by_hand

from .test_signing_in import PASSWORD, people  # noqa: F401 -- with quick hashes

SHOP = {"name": "Hall", "time_zone": "UTC", "units": "mm", "paper": "a4"}

# RFC 6238, appendix B: time, code of eight digits (SHA-1); the secret is the ASCII
# text below. Codes of six digits are the last six of these (RFC 4226, 5.3: the same
# number modulo 10^digits).
RFC_SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # base32 of 12345678901234567890
RFC_CODES = {
    59: "94287082",
    1111111109: "07081804",
    1111111111: "14050471",
    1234567890: "89005924",
    2000000000: "69279037",
    20000000000: "65353130",
}


@pytest.mark.parametrize(("seconds", "code"), RFC_CODES.items())
def test_codes_are_those_of_rfc_6238(seconds, code):
    now = datetime.fromtimestamp(seconds, UTC)
    step = seconds // 30
    assert rules.code_at(RFC_SECRET, step) == code[2:]
    assert rules.step_of(RFC_SECRET, code[2:], now, after=0) == step
    # A step early or late is the clock's drift; two are not. Used means used.
    for drift, found in ((-2, None), (-1, step - 1), (1, step + 1), (2, None)):
        if step + drift < 0:
            continue
        other = rules.code_at(RFC_SECRET, step + drift)
        assert rules.step_of(RFC_SECRET, other, now, after=-9) == found
    assert rules.step_of(RFC_SECRET, code[2:], now, after=step) is None


def sign_in(name="lead") -> Client:
    client = Client()
    said = {"username": name, "password": PASSWORD}
    answer = client.post("/sign-in/?next=/parts/", {**said, "next": "/parts/"})
    assert answer.status_code == 302
    return client


def is_in(client) -> bool:
    return client.get(reverse("parts")).status_code == 200


def offered_on(page) -> tuple[str, str]:
    """The sealed secret of the form, and what a person would type into the app."""
    text = html.unescape(page.content.decode())
    sealed = re.search(r'name="offered" value="([^"]+)"', text).group(1)
    spelled = re.search(r'class="code">([A-Z2-7 ]{39})<', text).group(1)
    return sealed, spelled.replace(" ", "")


def enroll(client) -> tuple[str, list[str]]:
    """Set a second factor as its owner does; the secret and the recovery codes."""
    sealed, secret = offered_on(client.get(reverse("second_factor")))
    said = {"offered": sealed, "code": pyotp.TOTP(secret).now()}
    page = client.post(reverse("second_factor"), said).content.decode()
    codes = re.findall(r"[A-Z2-7]{4}(?:-[A-Z2-7]{4}){3}", page)
    assert len(set(codes)) == rules.RECOVERY_CODES
    # As if it was half a minute ago: the code just used opens nothing more.
    SecondFactor.objects.update(last_step=0)
    return secret, codes


def show(client, code):
    return client.post(reverse("sign_in_code"), {"code": code, "next": "/parts/"})


def test_a_code_is_asked_after_the_password_and_opens_once(people):  # noqa: F811
    client, elsewhere = sign_in(), sign_in()
    secret, codes = enroll(client)
    # Whoever came in by the password alone is out.
    assert (is_in(client), is_in(elsewhere)) == (True, False)
    code = pyotp.TOTP(secret).now()
    new, thief = sign_in(), sign_in()
    assert not is_in(new)
    # There may be no other lead who could reset it.
    assert "manage.py let_in lead" in new.get(reverse("sign_in_code")).content.decode()
    page = show(new, "000000" if code != "000000" else "111111")
    assert list(page.context["form"].errors) == ["code"] and not is_in(new)
    assert show(new, code[:3] + " " + code[3:])["Location"] == "/parts/"
    assert is_in(new)
    assert show(thief, code).status_code == 200 and not is_in(thief)
    spent = codes[0].lower()
    assert show(thief, spent)["Location"] == "/parts/"
    last = sign_in()
    assert show(last, spent).status_code == 200 and not is_in(last)
    assert verify().fault == ""
    factor = SecondFactor.objects.get()
    for entry in Entry.objects.all():
        for text in (secret, factor.sealed_secret, *codes, *map(rules.typed, codes)):
            assert text not in entry.body
    # Nor does the database itself hold what a code could be made of.
    kept = [*SecondFactor.objects.values_list("sealed_secret", flat=True)]
    kept += RecoveryCode.objects.values_list("sha256", flat=True)
    assert not any(secret in one or one in codes for one in kept)


def test_guessing_codes_gets_slow_and_a_tablet_is_sent_to_the_page(people):  # noqa: F811
    secret, _codes = enroll(sign_in())
    for _ in range(5):
        assert show(sign_in(), "12345").status_code == 200
    assert show(sign_in(), pyotp.TOTP(secret).now()).status_code == 429
    said = {"username": "lead", "password": PASSWORD}
    client = Client()
    answer = client.post("/api/session", said, content_type="application/json")
    assert answer.status_code == 403
    assert answer.json()["error"]["code"] == "second_factor"
    assert "_auth_user_id" not in client.session
    # The code counts for who proved the password here, just now, and as it is.
    assert show(Client(), pyotp.TOTP(secret).now())["Location"] == "/sign-in/"
    waiting = sign_in()
    session = waiting.session
    session["waits"] = {**session["waits"], "until": 1}
    session.save()
    assert show(waiting, pyotp.TOTP(secret).now())["Location"] == "/sign-in/"


@pytest.mark.parametrize("device", ["", "0" * 32])
def test_patient_guessing_of_codes_ends_with_the_day(people, device):  # noqa: F811
    lead = people["lead"]
    secret, codes = enroll(sign_in())
    where = {"person": lead, "address": "192.0.2.1", "device": device}
    assert not actions.prove_second_factor(code="12345", **where)
    (tried,) = SignInTry.objects.filter(tried="code")
    hour_ago = timezone.now() - timedelta(hours=1)
    SignInTry.objects.bulk_create(
        SignInTry(name=tried.name, device=device, tried="code", at=hour_ago)
        for _ in range(19)
    )
    with pytest.raises(Refused, match="Too many"):
        actions.prove_second_factor(code=pyotp.TOTP(secret).now(), **where)
    elsewhere = {**where, "device": "1" * 32}
    assert actions.prove_second_factor(code=codes[0], **elsewhere)


def test_a_shop_that_wants_it_lets_leads_and_engineers_do_nothing_before(people):  # noqa: F811
    lead, engineer, builder = sign_in(), sign_in("engineer"), sign_in("builder")
    set_identity(by=people["lead"], second_factor=True, **SHOP)
    own = reverse("second_factor")
    assert is_in(builder)
    for client in (lead, engineer):
        for name in ("parts", "people", "sign_in_code"):
            assert client.get(reverse(name))["Location"] in (own, "/sign-in/")
        assert client.post(reverse("units"), {"units": "in"})["Location"] == own
        assert client.get("/api/carry").status_code == 401
        assert client.get(own).status_code == 200
        assert client.get(reverse("own_password")).status_code == 200
    enroll(lead)
    assert is_in(lead) and not is_in(engineer)
    assert Person.objects.get(username="lead").units == "mm"


def test_its_owner_renews_codes_and_takes_it_away_with_a_code_only(people):  # noqa: F811
    client = sign_in()
    _secret, codes = enroll(client)
    for name in ("recovery_codes", "remove_second_factor"):
        page = client.post(reverse(name), {"code": "123456"})
        assert list(page.context["form"].errors) == ["code"]
    page = client.post(reverse("recovery_codes"), {"code": codes[0]}).content.decode()
    assert codes[1] not in page
    renewed = re.findall(r"[A-Z2-7]{4}(?:-[A-Z2-7]{4}){3}", page)
    page = client.post(reverse("remove_second_factor"), {"code": codes[1]})
    assert page.status_code == 200 and SecondFactor.objects.exists()
    client.post(reverse("remove_second_factor"), {"code": renewed[0]})
    assert not SecondFactor.objects.exists() and not RecoveryCode.objects.exists()
    assert is_in(sign_in()) and is_in(client)
    assert verify().fault == ""


def test_the_lead_resets_anothers_and_the_terminal_the_last_leads(people):  # noqa: F811
    lead, engineer = sign_in(), sign_in("engineer")
    enroll(engineer)
    enroll(lead)
    page = lead.get(reverse("people")).content.decode()
    url = reverse("reset_second_factor", args=[people["engineer"].pk])
    assert url in page
    assert engineer.post(url).status_code == 403
    done = lead.post(url, follow=True).content.decode()
    assert f"The second factor of {people['engineer'].name} is reset." in done
    assert not is_in(engineer) and is_in(sign_in("engineer"))
    with pytest.raises(Refused):
        actions.reset_second_factor(by=people["lead"], person=people["lead"])
    call_command("let_in", "lead", stdout=io.StringIO())
    assert not is_in(lead) and is_in(sign_in())
    by = Entry.objects.filter(form="second_factor_reset/1").values_list("by", flat=True)
    assert list(by.order_by("id")) == [people["lead"].pk, None]


def test_a_secret_offered_to_another_or_long_ago_is_not_taken(people, settings):  # noqa: F811
    lead, builder = people["lead"], people["builder"]
    sealed = rules.offer(builder)
    secret = rules.opened(builder, sealed)
    said = {"offered": sealed, "code": pyotp.TOTP(secret).now()}
    with pytest.raises(Refused, match="too long"):
        actions.set_second_factor(by=lead, **said)
    settings.SECRET_KEY = "of another server"
    with pytest.raises(Refused, match="too long"):
        actions.set_second_factor(by=builder, **said)
    # A copy restored without the keys: the paper still opens.
    settings.SECRET_KEY = "first"
    sealed = rules.offer(builder)
    code = pyotp.TOTP(rules.opened(builder, sealed)).now()
    codes = actions.set_second_factor(by=builder, offered=sealed, code=code)
    settings.SECRET_KEY = "second"
    with by_hand():
        SecondFactor.objects.update(last_step=0)
    where = {"person": builder, "address": "198.51.100.7"}
    assert not actions.prove_second_factor(code=code, **where)
    assert actions.prove_second_factor(code=codes[0], **where)
    assert timezone.now() > RecoveryCode.objects.get(used_at__isnull=False).used_at
