"""What is signed in the demo: with each meaning, and once what changed afterwards;
and what comes in by a token of its own."""

from django.utils import timezone

from qa.models import Check, FitPlan, Inspection, Nonconformance
from shop.actions import (
    devices,
    people,
    second_factor,
    signatures,
    signing_in,
    tablets,
)
from shop.models import Opens, PlyLaid, StepDone
from shop.rules import second_factor as codes
from shop.rules import signing

from .people import PASSWORD

PIN = "2580"


def load(crew) -> None:
    people.set_certificate(
        by=crew["lena"],
        person=crew["ines"],
        certificate_kind="shop inspector, composites",
        certificate_number="MG-QI-07",
    )
    crew["ines"].refresh_from_db()
    tablets.set_pin(by=crew["lena"], pin=PIN, password=PASSWORD)
    _at_the_door(crew["emil"])
    _devices(crew)


def _at_the_door(person) -> None:
    """Somebody came in, and tried a second factor for a while."""
    here = "192.0.2.17"
    signing_in.came_in(person=person, address=here, browser="Firefox on Linux")
    offered = codes.offer(person)
    step = int(timezone.now().timestamp()) // codes.STEP_SECONDS
    code = codes.code_at(codes.opened(person, offered), step)
    lost, *_others = second_factor.set_second_factor(
        by=person, offered=offered, code=code
    )
    second_factor.remove_second_factor(by=person, code=lost, address=here)


def _devices(crew) -> None:
    """What comes in by a token of its own, one whose person left, and one whose token
    was wrong."""
    for name, opens, person in (
        ("Depth gauge on the bench", Opens.WRITES, "olga"),
        ("Step gauge at the fuselage", Opens.WRITES, "bea"),
        ("Screen in the hall", Opens.READS, "lena"),
        ("Calendar", Opens.CALENDAR, "lena"),
        ("Screen that was lost", Opens.READS, "lena"),
    ):
        device, _token = devices.make_device(
            by=crew["lena"],
            name=name,
            opens=opens,
            person=crew[person],
            password=PASSWORD,
            whole_shop=opens == Opens.CALENDAR,
        )
    devices.withdraw_device(by=crew["lena"], device=device)
    people.set_active(by=crew["lena"], person=crew["olga"], active=False)
    devices.count_wrong("192.0.2.18")


def sign(person, kind: str, key: int, meaning: str, note="", secret=PASSWORD) -> None:
    signable, content = signing.content_of(kind, key)
    signatures.sign(
        by=person,
        kind=kind,
        key=key,
        meaning=meaning,
        name=person.name,
        secret=secret,
        shown=signing.digest_of(signable.text(content)),
        note=note,
    )


def at_the_end(crew) -> None:
    """Work, what was seen of it, what was decided of it, what may go on."""
    plies = PlyLaid.objects.filter(entry__by=crew["bea"]).order_by("pk")
    for ply in plies[:2]:
        sign(crew["bea"], "ply", ply.pk, "performed")
        sign(crew["tomas"], "ply", ply.pk, "inspected", "seen before the next")
    step = StepDone.objects.filter(withdrawal=None).exclude(entry__by=crew["ines"])
    sign(crew["ines"], "step", step.order_by("pk").first().pk, "inspected")
    check = Check.objects.filter(state__state="finished", state__clashes=0)
    check = check.filter(state__late=0, state__void=False, entry__claimed=False)
    check = check.filter(fit_up__joint__number="J-170").latest("number")
    sign(check.entry.by, "check", check.pk, "performed")
    item = Nonconformance.objects.filter(standing__disposition="use_as_is")
    sign(crew["emil"], "disposition", item.order_by("pk").first().pk, "approved")
    accepted = Inspection.objects.filter(outcome="accepted").latest("pk")
    sign(crew["ines"], "inspection", accepted.pk, "inspected")
    sign(crew["lena"], "inspection", accepted.pk, "released", "may be painted", PIN)
    plan = FitPlan.objects.filter(end=None).order_by("pk").last()
    if plan and not signing.content_of("plan", plan.pk)[1].since:
        sign(crew["emil"], "plan", plan.pk, "approved")
