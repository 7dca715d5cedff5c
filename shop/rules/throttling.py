"""How many wrong ones are too many, where, and for whom.

One name is shut to one address only: whoever guesses from elsewhere does not shut its
owner out; all addresses together are slowed far later. A browser in which a person was
right before counts for itself: nothing that is tried anywhere else shuts it.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Max, Q
from django.utils import timezone

from shop.models import Person, PinTry, SignInTry, Tried

WINDOW = timedelta(minutes=15)
DAY = timedelta(days=1)
FOR_NAME_AT_ADDRESS = 5
FOR_ADDRESS = 20
FOR_NAME = 100
# A code has six digits, and whoever tries one knows the password.
CODES_A_DAY = 20
PINS = 5
# Wrong PINs of one person in a day, wherever: whoever guesses patiently is stopped too.
PINS_A_DAY = 20


def wrong_tries(since):
    """The tries since then that count."""
    return SignInTry.objects.filter(
        at__gt=since, right=False, refused=False, lifted=False
    )


@dataclass(frozen=True)
class Shut:
    """What is shut, as the columns of tries that name it, and until when."""

    where: dict
    until: datetime


def too_many(*, name: str, address: str, device: str, tried: str, now) -> Shut | None:
    """Return what is shut to who tries here; None if nothing is."""
    wrong = wrong_tries(now - WINDOW)
    named = {"name": name, "device": device, "tried": tried}
    here = named if device else {**named, "address": address}
    asked = [(here, _since_right(wrong, here, now), FOR_NAME_AT_ADDRESS, WINDOW)]
    if tried == Tried.CODE:
        today = wrong_tries(now - DAY).filter(**named)
        asked.append((named, today, CODES_A_DAY, DAY))
    if not device:
        at = {"address": address, "device": ""}
        asked.append((at, wrong.filter(**at), FOR_ADDRESS, WINDOW))
        asked.append((named, wrong.filter(**named), FOR_NAME, WINDOW))
    shut = [
        Shut(where, until)
        for where, tries, most, span in asked
        if (until := _newest(tries, most, span))
    ]
    if not shut:
        return None
    # Named by the narrowest, which stands first; open when all of them are.
    return Shut(shut[0].where, max(door.until for door in shut))


def _newest(tries, most: int, span: timedelta) -> datetime | None:
    """When fewer than `most` of these tries will be younger than a span of time."""
    return _shut_until(
        list(tries.order_by("-at").values_list("at", flat=True)[:most]), most, span
    )


def _shut_until(newest: list, most: int, span: timedelta) -> datetime | None:
    """The same of their times, the newest first."""
    return newest[most - 1] + span if len(newest) >= most else None


def _since_right(wrong, here: dict, now):
    """Those there after the last right one."""
    right = SignInTry.objects.filter(**here, right=True, at__gt=now - WINDOW)
    last = right.aggregate(last=Max("at"))["last"]
    wrong = wrong.filter(**here)
    return wrong.filter(at__gt=last) if last else wrong


def shut_names(names: Iterable[str], now) -> dict[str, datetime]:
    """Return until when somebody has to wait at some place, by name, of those who have
    to: one statement."""
    lately = Q(at__gt=now - WINDOW) | Q(at__gt=now - DAY, tried=Tried.CODE)
    tries = SignInTry.objects.filter(
        lately, name__in=names, refused=False, lifted=False
    )
    here, named, today = defaultdict(list), defaultdict(list), defaultdict(list)
    columns = ("name", "tried", "device", "address", "right", "at")
    for name, tried, device, address, right, at in tries.order_by("at").values_list(
        *columns
    ):
        place = (name, tried, device or address)
        if right:
            here[place].clear()
            continue
        if at > now - WINDOW:
            here[place].insert(0, at)
            if not device:
                named[name, tried].insert(0, at)
        if tried == Tried.CODE:
            today[name, device].insert(0, at)
    ruled = (
        (here, FOR_NAME_AT_ADDRESS, WINDOW),
        (named, FOR_NAME, WINDOW),
        (today, CODES_A_DAY, DAY),
    )
    shut: dict[str, datetime] = {}
    for counted, most, span in ruled:
        for (name, *_where), newest in counted.items():
            if until := _shut_until(newest, most, span):
                shut[name] = max(until, shut.get(name, until))
    return shut


def shut_addresses() -> list[str]:
    """Return the addresses at which nobody is let in just now: one statement."""
    wrong = wrong_tries(timezone.now() - WINDOW).filter(device="")
    counted = wrong.values("address").annotate(n=Count("pk")).order_by("address")
    return [row["address"] for row in counted if row["n"] >= FOR_ADDRESS]


def too_many_pins(person: Person, now) -> datetime | None:
    """Until when no PIN of a person is looked at, on no tablet; None if one is."""
    return shut_pins([person], now).get(person.pk)


def shut_pins(people: list[Person], now) -> dict[int, datetime]:
    """Return until when no PIN is looked at, by key of those of whom none is: one
    statement."""
    tries = PinTry.objects.filter(person__in=people, at__gt=now - DAY, lifted=False)
    lately, today = defaultdict(list), defaultdict(list)
    for who, at, right in tries.order_by("at").values_list("person", "at", "right"):
        if right:
            lately[who].clear()
            continue
        today[who].insert(0, at)
        if at > now - WINDOW:
            lately[who].insert(0, at)
    shut: dict[int, datetime] = {}
    for counted, most, span in ((lately, PINS, WINDOW), (today, PINS_A_DAY, DAY)):
        for who, newest in counted.items():
            if until := _shut_until(newest, most, span):
                shut[who] = max(until, shut.get(who, until))
    return shut
