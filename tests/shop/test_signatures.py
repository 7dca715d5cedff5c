"""A signature: of the person who proves to be there, under exactly what was shown, and
it says itself when that is no longer so."""

import threading

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.actions import people as crew
from shop.actions import pulls, routes, signatures, signing_in, tablets, withdrawals
from shop.ledger import Refused
from shop.ledger.verify import verify
from shop.models import Person, PinTry, PlyLaid, Signature, SignInTry, StepDone
from shop.queries.signatures import panel_of, signature_page, signed_of, signed_thing
from shop.queries.signatures import signatures as all_signatures
from shop.rules import signing, throttling
from tests.around import by_hand
from tests.conftest import PASSWORD, make_people
from tests.test_ledger_binds import drop_what_guards

from .making_floor import lay_all, make_pull, make_tool

PIN = "4711"


def give_pin(person, pin=PIN):
    """A PIN, and the usual password by the tests' own quick hasher."""
    person.set_password(PASSWORD)
    with by_hand():
        person.save()
    tablets.set_pin(by=person, pin=pin, password=PASSWORD)
    return person


def shown(kind, key):
    signable, content = signing.content_of(kind, key)
    return signing.digest_of(signable.text(content))


def sign(by, kind, key, meaning, secret=PIN, **more):
    said = {"name": by.name, "shown": shown(kind, key), **more}
    return signatures.sign(
        by=by, kind=kind, key=key, meaning=meaning, secret=secret, **said
    )


def a_ply(people) -> PlyLaid:
    lay_all(people["builder"], make_pull(people["lead"]))
    return PlyLaid.objects.earliest("pk")


def refused(act, field=None, code=None) -> str:
    with pytest.raises(Refused) as no:
        act()
    assert field in (None, no.value.field)
    assert code in (None, no.value.code)
    return no.value.message


def test_a_ply_is_seen_by_whom_who_signs_for_it(people):
    ply = a_ply(people)
    lead = give_pin(people["lead"])
    crew.set_certificate(
        by=lead,
        person=lead,
        certificate_kind="shop inspector",
        certificate_number="QI-7",
    )
    lead.refresh_from_db()
    sign(lead, "ply", ply.pk, "inspected", name=f"  {lead.name.upper()} ")
    # What is held later is not what was held then.
    crew.set_certificate(
        by=lead, person=lead, certificate_kind="", certificate_number=""
    )
    (one,) = signed_thing("ply", ply.pk).rows
    assert one.holds and one.who == lead.name and one.word == "inspected"
    assert (one.certificate, one.proven_by) == ("shop inspector QI-7", "PIN")
    assert one.digest == shown("ply", ply.pk)
    assert verify().fault == ""


def test_whoever_laid_a_ply_does_not_see_it_but_says_that_it_was_done(people):
    ply = a_ply(people)
    builder = give_pin(people["builder"])
    assert "somebody else" in refused(
        lambda: sign(builder, "ply", ply.pk, "inspected"), "meaning"
    )
    sign(builder, "ply", ply.pk, "performed")
    for meaning in ("approved", "released"):
        refused(lambda one=meaning: sign(builder, "ply", ply.pk, one), "meaning")
    visitor = give_pin(people["visitor"])
    with pytest.raises(PermissionDenied):
        sign(visitor, "ply", ply.pk, "inspected")
    assert [one.meaning for one in Signature.objects.all()] == ["performed"]


def test_who_signed_that_it_was_done_does_not_see_it_nor_the_other_way_round(people):
    ply, other = PlyLaid.objects.filter(pull=a_ply(people).pull).order_by("pk")[:2]
    lead = give_pin(people["lead"])
    sign(lead, "ply", ply.pk, "performed")
    for meaning in ("inspected", "approved"):
        assert "signed this as performed" in refused(
            lambda one=meaning: sign(lead, "ply", ply.pk, one), "meaning"
        )
    sign(lead, "ply", other.pk, "approved")
    assert "signed this as approved" in refused(
        lambda: sign(lead, "ply", other.pk, "performed"), "meaning"
    )
    sign(lead, "ply", other.pk, "inspected")
    sign(lead, "ply", ply.pk, "released")


def test_no_kind_takes_done_and_seen_of_one_person(people):
    """Whatever a kind asks of roles: `refusal` is what all of them go through."""
    lead = people["lead"]
    for signable in signing.SIGNABLES.values():
        if "performed" not in signable.rights:
            continue
        for meaning in set(signable.rights) & set(signable.by_others):
            done, seen = (
                signing.Content("it", (), "/", signers=lambda one=one: [(lead.pk, one)])
                for one in ("performed", meaning)
            )
            assert "as performed" in signing.refusal(signable, done, meaning, lead)
            assert "this as " in signing.refusal(signable, seen, "performed", lead)


def test_the_page_offers_no_meaning_that_is_refused_and_says_why(people, client_of):
    ply, lead = a_ply(people), give_pin(people["lead"])
    sign(lead, "ply", ply.pk, "performed")
    page = client_of("lead").get(reverse("sign", args=["ply", ply.pk]))
    text = " ".join(page.content.decode().split())
    assert f"{lead.name}, {lead.get_role_display()}: performed, released" in text
    assert "signed this as performed: somebody else" in text
    other = client_of("inspector").get(page.request["PATH_INFO"])
    assert "signed this" not in other.content.decode()


def test_who_did_the_work_is_asked_once_for_all_who_might_sign():
    asked = []
    content = signing.Content("it", (), "/", lambda: asked.append(1) or ())
    assert [content.doers(), content.doers(), *asked] == [(), (), 1]


def test_nobody_signs_without_the_own_name_what_was_not_shown_or_twice(people):
    ply = a_ply(people)
    lead = give_pin(people["lead"])
    other = people["inspector"].name
    refused(lambda: sign(lead, "ply", ply.pk, "inspected", name=other), "name")
    refused(
        lambda: sign(lead, "ply", ply.pk, "inspected", shown="0" * 64), code="stale"
    )
    refused(lambda: sign(lead, "ply", ply.pk, "seen"), "meaning")
    refused(lambda: sign(lead, "ply", ply.pk, "inspected", secret=""), "secret")
    sign(lead, "ply", ply.pk, "inspected")
    refused(lambda: sign(lead, "ply", ply.pk, "inspected"), code="done")
    with pytest.raises(IntegrityError), transaction.atomic():
        Signature.objects.update(name="x")


def test_wrong_passwords_and_pins_are_throttled_as_at_the_door(people):
    ply = a_ply(people)
    lead = give_pin(people["lead"])

    def wrong(secret):
        return refused(
            lambda: sign(lead, "ply", ply.pk, "inspected", secret, address="10.0.0.7")
        )

    for _ in range(throttling.PINS):
        assert "not your PIN" in wrong("4712")
    assert "Too many wrong PINs" in wrong(PIN)
    for _ in range(throttling.FOR_NAME_AT_ADDRESS):
        assert "neither" in wrong("not the password")
    assert "Too many wrong passwords" in wrong(PASSWORD)
    assert not Signature.objects.exists()
    # What was tried to sign with counts at the door and at the tablets too.
    assert SignInTry.objects.filter(right=False, refused=False).count() == 5
    signing_in.let_try_again(by=lead, person=lead)
    sign(lead, "ply", ply.pk, "inspected", PASSWORD, address="10.0.0.7")
    assert Signature.objects.get().proven_by == "password"


def test_patient_guessing_of_a_pin_ends_with_the_day(people):
    lead = give_pin(people["lead"])
    ply = a_ply(people)
    PinTry.objects.bulk_create(
        PinTry(person=lead, right=False, at=one.received_at.replace(hour=0, minute=0))
        for one in [ply.entry] * throttling.PINS_A_DAY
    )
    PinTry.objects.update(at=ply.entry.received_at - throttling.WINDOW)
    assert "Too many" in refused(lambda: sign(lead, "ply", ply.pk, "inspected"))


def test_a_password_that_another_set_signs_nothing(people):
    ply = a_ply(people)
    lead = give_pin(people["lead"])
    builder = people["inspector"]
    crew.reset_password(by=lead, person=builder, password="Given-by-lead-1")
    assert "one of your own" in refused(
        lambda: sign(builder, "ply", ply.pk, "inspected", "Given-by-lead-1"), "secret"
    )
    crew.set_active(by=lead, person=builder, active=False)
    with pytest.raises(PermissionDenied):
        builder.refresh_from_db()
        sign(builder, "ply", ply.pk, "inspected", "Given-by-lead-1")


def test_a_step_that_is_taken_back_and_a_pull_given_up_say_so(people):
    lead, ply = give_pin(people["lead"]), a_ply(people)
    routes.write_usual_routes(by=lead)
    step = routes.do_step(
        by=people["builder"],
        step=make_tool(lead, kind="plug").steps.first(),
        temperature=21_500,
        note="even all over",
    )
    sign(lead, "step", step.pk, "inspected")
    sign(lead, "ply", ply.pk, "inspected")
    sign(lead, "ply", ply.pk, "released")
    withdrawals.take_back_step(
        by=people["builder"], step=step, reason="it was the other plug"
    )
    pulls.void_pull(by=lead, pull=ply.pull, reason="the bag leaked")
    (one,) = signed_thing("step", step.pk).rows
    who = people["builder"].name
    assert one.changed == (f"taken back by {who}: it was the other plug",)
    for one in signed_thing("ply", ply.pk).rows:
        assert one.changed == ("the pull was given up: the bag leaked",)
    refused(lambda: sign(lead, "ply", ply.pk, "approved"), "meaning")


def test_one_digit_changed_behind_the_back_of_the_shop_is_named_by_both(committed_db):
    people = make_people()
    lead, ply = give_pin(people["lead"]), a_ply(people)
    sign(lead, "ply", ply.pk, "inspected")
    drop_what_guards()
    PlyLaid.objects.filter(pk=ply.pk).update(orientation=1)
    (one,) = signed_thing("ply", ply.pk).rows
    assert one.changed == ("orientation: was 0 deg, now 1 deg",)
    named = f"shop_plylaid {ply.pk}: orientation is 1"
    assert any(fault.startswith(named) for fault in verify(most=None).faults)
    PlyLaid.objects.filter(pk=ply.pk).update(orientation=0)
    assert signed_thing("ply", ply.pk).rows[0].holds
    row = Signature.objects.get()
    Signature.objects.update(content=row.content.replace("0 deg", "9 deg"))
    assert signed_thing("ply", ply.pk).rows[0].changed == (
        "the signature itself was changed",
    )
    named = f"shop_signature {row.pk}: content is"
    assert any(fault.startswith(named) for fault in verify(most=None).faults)


def test_the_page_shows_what_is_signed_and_another_signs_at_the_same_tablet(
    people, client_of
):
    ply = a_ply(people)
    give_pin(people["inspector"])
    address = reverse("sign", args=["ply", ply.pk])
    client = client_of("builder")
    page = client.get(address).content.decode()
    assert ply.lot.number in page and shown("ply", ply.pk) in page
    said = {
        "shown": shown("ply", ply.pk),
        "by": people["inspector"].pk,
        "meaning": "inspected",
        "name": people["inspector"].name,
    }
    answer = client.post(address, {**said, "secret": "4712081"})
    assert "That is not your PIN" in answer.content.decode()
    assert people["inspector"].name in answer.content.decode()
    assert "4712081" not in answer.content.decode()
    assert client.post(address, {**said, "secret": PIN}).status_code == 302
    told = client.get(address).content.decode()
    assert f"<b>{people['inspector'].name}</b>" in told
    pull = client.get(reverse("pull", args=[ply.pull_id])).content.decode()
    assert people["inspector"].name in pull
    assert client.get(reverse("sign", args=["nothing", 1])).status_code == 404
    assert client.get(reverse("sign", args=["ply", 9**9])).status_code == 404


def test_a_certificate_is_given_by_the_lead_with_kind_and_number(people):
    said = {"person": people["inspector"], "certificate_kind": "inspector"}
    refused(
        lambda: crew.set_certificate(by=people["lead"], certificate_number="", **said),
        "certificate_number",
    )
    with pytest.raises(PermissionDenied):
        crew.set_certificate(by=people["inspector"], certificate_number="1", **said)
    crew.set_certificate(by=people["lead"], certificate_number="1", **said)
    assert Person.objects.get(pk=people["inspector"].pk).certificate_number == "1"
    assert verify().fault == ""


@pytest.mark.either_database
def test_however_many_are_signed_the_statements_stay_the_same(people):
    lead = give_pin(people["lead"])

    def asked(act):
        with CaptureQueriesContext(
            connection,
        ) as seen:
            act()
        return len(seen)

    def both():
        keys = list(PlyLaid.objects.values_list("pk", flat=True))
        page = signature_page(all_signatures(), 1)
        return signed_of("ply", keys), list(page.object_list)

    a_ply(people)
    sign(lead, "ply", PlyLaid.objects.first().pk, "inspected")
    few = asked(both)
    for _ in range(4):
        a_ply(people)
    for ply in PlyLaid.objects.all():
        for meaning in ("inspected", "approved", "released"):
            if not Signature.objects.filter(key=ply.pk, meaning=meaning).exists():
                sign(lead, "ply", ply.pk, meaning)
    assert Signature.objects.count() == 30
    assert asked(both) == few


def test_a_page_that_offers_to_sign_reads_once_what_is_signed(people):
    """What it is now says both why it is refused and whether the signatures hold."""
    ply, lead = a_ply(people), give_pin(people["lead"])
    sign(lead, "ply", ply.pk, "inspected")
    with CaptureQueriesContext(connection) as once:
        _signable, content = signing.content_of("ply", ply.pk)
        signing.refused_to_all(content)
    with CaptureQueriesContext(connection) as seen:
        panel = panel_of("ply", ply.pk)
    assert panel.rows == signed_thing("ply", ply.pk).rows and panel.holding
    # And the signatures.
    assert len(seen) == len(once) + 1


def test_done_and_seen_signed_at_once_by_one_person_one_is_refused(committed_db):
    people = make_people()
    lead, ply = give_pin(people["lead"]), a_ply(people)
    digest, answers, start = shown("ply", ply.pk), [], threading.Barrier(2)

    def act(meaning):
        start.wait()
        try:
            sign(lead, "ply", ply.pk, meaning, shown=digest)
        except Refused as no:
            answers.append(no.message)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=act, args=(meaning,))
        for meaning in ("performed", "inspected")
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(answers) == 1 and "signed this as" in answers[0]
    assert Signature.objects.count() == 1


def test_of_two_that_sign_at_once_as_one_person_one_is_told(committed_db):
    people = make_people()
    lead, inspector = give_pin(people["lead"]), give_pin(people["inspector"], "4811")
    ply = a_ply(people)
    digest, told, start = shown("ply", ply.pk), [], threading.Barrier(3)

    def act(person, pin):
        start.wait()
        try:
            sign(person, "ply", ply.pk, "inspected", pin, shown=digest)
        except Refused as no:
            told.append(no.code)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=act, args=(person, pin))
        for person, pin in ((lead, PIN), (lead, PIN), (inspector, "4811"))
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert told == ["done"]
    assert sorted(Signature.objects.values_list("person__username", flat=True)) == [
        "inspector",
        "lead",
    ]
    assert verify().fault == ""
    assert StepDone.objects.count() == 0
