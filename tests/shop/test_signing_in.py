"""The door: guessing gets slow and slows nobody, and a password is its owner's own."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.contrib.auth.hashers import get_hasher
from django.db import connection
from django.test import Client
from django.urls import get_resolver, reverse
from django.utils import timezone

from shop import hashing
from shop.actions import people as actions
from shop.actions import signing_in, tablets
from shop.actions.second_factor import prove_second_factor
from shop.actions.signing_in import TooManyTries, prove_password
from shop.ledger import Refused
from shop.ledger.verify import verify
from shop.models import Entry, Person, SignInTry, Tried
from shop.models.people import PUBLIC_PASSWORD
from tests.around import by_hand
from tests.conftest import PASSWORD

NEW = "violet-Spar-44"
HERE, THERE = "198.51.100.7", "198.51.100.8"


@pytest.fixture
def people(people):
    """With passwords that the hasher of the tests can read."""
    for person in people.values():
        person.set_password(PASSWORD)
        with by_hand():
            person.save(update_fields=["password"])
    return people


def guess(name="builder", address=HERE, password="wrong"):  # noqa: S107
    return prove_password(username=name, password=password, address=address)


# ------------------------------------------------------------------ throttling


def test_five_wrong_passwords_shut_a_name_to_that_address_only(people):
    for _ in range(5):
        assert guess() is None
    with pytest.raises(TooManyTries):
        guess(password=PASSWORD)
    assert guess(password=PASSWORD, address=THERE) == people["builder"]
    assert guess("lead", password=PASSWORD) == people["lead"]


def test_a_right_password_clears_the_name_and_not_the_address(people):
    for _ in range(4):
        guess()
    assert guess(password=PASSWORD)
    for _ in range(4):
        guess()
    assert guess(password=PASSWORD)
    for name in "abcdefghijkl":
        guess(name)
    with pytest.raises(TooManyTries):
        guess("lead", password=PASSWORD)


def test_it_opens_again_after_a_quarter_of_an_hour(people):
    for _ in range(5):
        guess()
    SignInTry.objects.update(at=timezone.now() - timedelta(minutes=16))
    assert guess(password=PASSWORD) == people["builder"]


def test_the_lead_lifts_it_on_the_list_of_people(people, client_of):
    lead = client_of("lead")
    assert b"Let try again" not in lead.get(reverse("people")).content
    for _ in range(5):
        guess()
    page = lead.get(reverse("people")).content.decode()
    address = reverse("try_again", args=[people["builder"].pk])
    assert page.count("Let try again") == 1 and address in page
    assert "Let try again</button>" in lead.get(address).content.decode()
    done = lead.post(address, follow=True)
    assert f"{people['builder'].name} may try again." in done.content.decode()
    assert guess(password=PASSWORD) == people["builder"]


def test_nothing_that_is_tried_elsewhere_shuts_a_browser_its_owner_was_right_in(people):
    own, other = Client(REMOTE_ADDR=HERE), Client(REMOTE_ADDR=HERE)
    said = {"username": "builder", "password": PASSWORD}
    assert own.post("/sign-in/", said).status_code == 302
    own.post("/sign-out/")
    for name in [f"nobody {number}" for number in range(20)]:
        guess(name)
    for number in range(100):
        guess(address=f"203.0.113.{number // 4}")
    # At this address and under this name nobody else is let in any more …
    assert other.post("/sign-in/", said).status_code == 429
    assert Client(REMOTE_ADDR=THERE).post("/sign-in/", said).status_code == 429
    # … but here, where five wrong ones are too many as anywhere.
    assert own.post("/sign-in/", said).status_code == 302
    own.post("/sign-out/")
    for _ in range(5):
        own.post("/sign-in/", {**said, "password": "wrong"})
    assert own.post("/sign-in/", said).status_code == 429
    # A cookie made by anybody else is none.
    other.cookies["device"] = own.cookies["device"].value[:-1] + "x"
    assert other.post("/sign-in/", said).status_code == 429
    # What was refused is on record once for each place, not for each try.
    assert SignInTry.objects.filter(refused=True).count() == 3


def test_the_lead_lets_an_address_try_again(people, client_of):
    for number in range(20):
        guess(f"nobody {number}")
    with pytest.raises(TooManyTries):
        guess(password=PASSWORD)
    lead = client_of("lead")
    page = lead.get(reverse("people")).content.decode()
    where = f"{reverse('let_address_in')}?address={HERE}"
    assert page.count(where) == 1
    done = lead.post(where, follow=True)
    assert f"Everybody may try again at {HERE}." in done.content.decode()
    assert guess(password=PASSWORD) == people["builder"]
    assert where not in lead.get(reverse("people")).content.decode()
    assert "Nobody has to wait" in lead.post(where).content.decode()


def wrong_ones(times, tried, **columns):
    for at in times:
        SignInTry.objects.create(
            name=signing_in.digest_of_name("builder"), tried=tried, at=at, **columns
        )


def test_the_lead_sees_until_when_somebody_is_shut_out_and_so_does_who_tries(
    people, client_of
):
    builder, now = people["builder"], timezone.now()
    ago = [now - timedelta(hours=20) + timedelta(minutes=n) for n in range(20)]
    wrong_ones(ago, Tried.CODE, address=HERE)
    until = ago[0] + timedelta(days=1)
    assert signing_in.locked_out([builder, people["lead"]]) == {builder.pk: until}
    with pytest.raises(TooManyTries, match=r"wrong codes. Wait 4 hours, or ask"):
        prove_second_factor(person=builder, code="123456", address=THERE)
    page = client_of("lead").get(reverse("people")).content.decode()
    shown = timezone.localtime(until).strftime("%Y-%m-%d %H:%M")
    assert "Locked out until" in page and shown in page
    signing_in.let_try_again(by=people["lead"], person=builder)
    assert signing_in.locked_out([builder]) == {}
    # A hundred in a quarter of an hour, no five of them from one address.
    late = [now - timedelta(seconds=600 - 4 * n) for n in range(100)]
    for number, at in enumerate(late):
        wrong_ones([at], Tried.PASSWORD, address=f"203.0.113.{number // 2}")
    until = late[0] + timedelta(minutes=15)
    assert signing_in.locked_out([builder]) == {builder.pk: until}
    with pytest.raises(TooManyTries, match=r"passwords. Wait [45] minutes, or ask"):
        guess(address=THERE)
    wrong_ones([now], Tried.PASSWORD, address=HERE)
    assert signing_in.locked_out([builder]) == {builder.pk: late[1] + (until - late[0])}


def test_whoever_guesses_a_pin_keeps_its_owner_from_none(people):
    builder = people["builder"]
    tablets.set_pin(by=builder, pin="4711", password=PASSWORD)
    for _ in range(5):
        with pytest.raises(tablets.WrongPin):
            tablets.prove_pin(person=builder, pin="4712")
    with pytest.raises(tablets.TooManyTries):
        tablets.prove_pin(person=builder, pin="4711")
    assert [*signing_in.locked_out([builder, people["lead"]])] == [builder.pk]
    tablets.set_pin(by=builder, pin="7193", password=PASSWORD)
    tablets.prove_pin(person=builder, pin="7193")
    assert signing_in.locked_out([builder]) == {}


def test_the_password_of_the_demo_is_as_wrong_as_any_for_a_name_that_is_unknown(people):
    assert guess("nobody", password=PUBLIC_PASSWORD) is None
    assert guess("builder", password=PUBLIC_PASSWORD) is None


def test_names_that_were_typed_are_kept_as_digests_only(people):
    guess("my-Password-by-mistake")
    (kept,) = SignInTry.objects.values_list("name", flat=True)
    assert len(kept) == 64 and "my-Password" not in kept
    assert signing_in.digest_of_name(" BUILDER ") == signing_in.digest_of_name(
        "builder"
    )


@pytest.mark.parametrize("name", ["a\0b", "\ud800", "x" * 5000, ""])
def test_what_no_database_can_look_for_is_nobody(people, name):
    assert guess(name) is None


@pytest.mark.parametrize("where", ["page", "tablet"])
def test_both_doors_throttle(people, where):
    client = Client(REMOTE_ADDR=HERE)
    said = {"username": "builder", "password": "wrong"}

    def post(said):
        if where == "page":
            return client.post("/sign-in/", said)
        return client.post("/api/session", said, content_type="application/json")

    for _ in range(5):
        assert post(said).status_code in (200, 403)
    answer = post({**said, "password": PASSWORD})
    assert answer.status_code == 429
    assert "Too many wrong passwords" in answer.content.decode()
    assert "_auth_user_id" not in client.session


def test_guesses_sent_at_once_are_all_counted(committed_db):
    from tests.conftest import make_people

    make_people()
    start = threading.Barrier(12)

    def at_once(_):
        start.wait()
        try:
            return guess()
        except TooManyTries:
            return "refused"
        finally:
            connection.close()

    with ThreadPoolExecutor(12) as pool:
        answers = [*pool.map(at_once, range(12))]
    assert answers.count(None) == 5
    assert answers.count("refused") == 7


# ---------------------------------------------------------------- the one gate


def test_one_hash_runs_and_few_wait(settings):
    settings.PASSWORD_HASHERS = ["shop.hashing.GatedScrypt"]
    gate = hashing.Gate(waiting=1)
    inside, leave = threading.Event(), threading.Event()

    def hold():
        with gate:
            inside.set()
            leave.wait()

    first, second = threading.Thread(target=hold), threading.Thread(target=hold)
    first.start()
    inside.wait()
    second.start()
    while gate._places._value:  # until the second has come in too
        second.join(0.005)
    with pytest.raises(hashing.TooBusy), gate:
        pass
    leave.set()
    first.join()
    second.join()


def test_the_product_hashes_with_scrypt_behind_the_gate():
    from shop.settings import PASSWORD_HASHERS

    assert PASSWORD_HASHERS == ["shop.hashing.GatedScrypt"]
    hasher = hashing.GatedScrypt()
    kept = hasher.encode("a", "salt")
    assert kept.startswith("scrypt$") and hasher.verify("a", kept)
    assert get_hasher("default").algorithm == "md5"  # as tests/settings.py says


def test_a_try_that_the_gate_sent_away_is_not_counted(people, monkeypatch):
    def busy(**_):
        raise hashing.TooBusy

    monkeypatch.setattr(signing_in, "authenticate", busy)
    with pytest.raises(Refused):
        guess()
    assert not SignInTry.objects.exists()


# --------------------------------------------------------------- one's own word


def change(client, password=PASSWORD, new=NEW, again=NEW):
    said = {"password": password, "new": new, "again": again}
    return client.post(reverse("own_password"), said)


@pytest.mark.parametrize(
    "role", ["builder", "lead", "engineer", "inspector", "visitor"]
)
def test_everybody_changes_their_own_password(people, client_of, role):
    here, elsewhere = client_of(role), client_of(role)
    assert change(here).status_code == 302
    assert here.get(reverse("parts")).status_code == 200
    assert elsewhere.get(reverse("parts")).status_code == 302
    assert Client().login(username=role, password=NEW)
    assert NEW not in Entry.objects.get(form="own_password/1").body


BAD = {
    "password": {"password": "wrong"},
    "again": {"again": "violet-Spar-45"},
    "new": {"new": "12345", "again": "12345"},
}


@pytest.mark.parametrize("field", BAD)
def test_what_is_wrong_is_said_beside_its_field(client_of, field):
    page = change(client_of("builder"), **BAD[field])
    assert list(page.context["form"].errors) == [field]


def test_the_same_password_is_no_new_one(client_of):
    page = change(client_of("builder"), new=PASSWORD, again=PASSWORD)
    assert list(page.context["form"].errors) == ["new"]


def test_a_password_set_by_the_lead_opens_nothing_but_the_choice_of_another(
    people, client_of
):
    url = reverse("reset_password", args=[people["inspector"].pk])
    client_of("lead").post(url, {"password": NEW})
    client = Client()
    client.post("/sign-in/", {"username": "inspector", "password": NEW})
    assert "_auth_user_id" in client.session
    own = reverse("own_password")
    skipped = 0
    for name in plain_pages():
        if name in OPEN:
            continue
        for answer in (client.get(reverse(name)), client.post(reverse(name))):
            if answer.status_code == 405:
                skipped += 1
            elif name.startswith(("api_", "script_")):
                assert answer.status_code == 401, name
            else:
                assert answer["Location"] == own, name
    assert skipped < 60
    assert "Somebody else set your password" in client.get(own).content.decode()
    assert change(client, NEW, "amber-Rib-17", "amber-Rib-17").status_code == 302
    assert client.get(reverse("parts")).status_code == 200


OPEN = {
    *("own_password", "sign_out", "sign_in", "sign_in_code", "health", "api_session"),
    *("trust", "trust_certificate", "service_worker", "tablet_manifest", "tablet"),
}


def plain_pages() -> list[str]:
    """Names of all urls that take no argument."""
    found = get_resolver().reverse_dict
    return [
        name
        for name in found
        if isinstance(name, str) and not found.getlist(name)[0][0][0][1]
    ]


def test_a_tablet_signs_nobody_in_with_a_password_that_the_lead_knows(people):
    actions.reset_password(by=people["lead"], person=people["builder"], password=NEW)
    client = Client()
    said = {"username": "builder", "password": NEW}
    answer = client.post("/api/session", said, content_type="application/json")
    assert answer.status_code == 403
    assert answer.json()["error"]["code"] == "password"
    assert "_auth_user_id" not in client.session


def test_sessions_end_with_the_person_and_do_not_come_back(people, client_of):
    client = client_of("builder")
    for active in (False, True):
        actions.set_active(by=people["lead"], person=people["builder"], active=active)
        assert client.get(reverse("parts")).status_code == 302


# ------------------------------------------------------------------ the header


def test_a_bearer_header_opens_the_api_only(people):
    client = Client(enforce_csrf_checks=True)
    client.force_login(people["lead"])
    header = {"Authorization": "Bearer anything"}
    answer = client.post(reverse("units"), {"units": "in"}, headers=header)
    assert answer.status_code == 403
    assert Person.objects.get(pk=people["lead"].pk).units == "mm"


def test_an_old_hash_is_renewed_by_an_act_when_its_owner_signs_in(people, settings):
    usual = settings.PASSWORD_HASHERS
    stronger = "django.contrib.auth.hashers.PBKDF2PasswordHasher"
    settings.PASSWORD_HASHERS = [stronger, *usual]
    before = people["builder"].password
    assert guess(password=PASSWORD) == people["builder"]
    people["builder"].refresh_from_db()
    assert people["builder"].password.startswith("pbkdf2_sha256$")
    assert people["builder"].password != before
    assert Entry.objects.latest("pk").form == "password_hash/1"
    assert verify().fault == ""
    assert guess(password=PASSWORD) == people["builder"]
    assert Entry.objects.filter(form="password_hash/1").count() == 1


def test_a_hash_is_renewed_of_no_password_that_was_changed_meanwhile(people, settings):
    stronger = "django.contrib.auth.hashers.PBKDF2PasswordHasher"
    settings.PASSWORD_HASHERS = [stronger, *settings.PASSWORD_HASHERS]
    as_he_came_in = Person.objects.get(pk=people["builder"].pk)
    actions.reset_password(by=people["lead"], person=people["builder"], password=NEW)
    signing_in._renew_hash(as_he_came_in, PASSWORD)
    assert guess(password=PASSWORD) is None and guess(password=NEW)
    assert Entry.objects.filter(form="password_hash/1").count() <= 1
