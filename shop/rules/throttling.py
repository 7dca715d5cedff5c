"""How many wrong ones are too many, where, and for whom.

One name is shut to one address only: whoever guesses from elsewhere does not shut its
owner out; all addresses together are slowed far later. A browser in which a person was
right before counts for itself: nothing that is tried anywhere else shuts it.
"""

from datetime import timedelta

from django.db.models import Count, Max
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


def too_many(*, name: str, address: str, device: str, tried: str, now) -> dict:
    """Return what is shut, as the columns of tries that name it; {} if nothing is."""
    wrong = wrong_tries(now - WINDOW)
    here = {"name": name, "device": device, "tried": tried}
    here |= {} if device else {"address": address}
    if _since_right(wrong.filter(**here), here, now).count() >= FOR_NAME_AT_ADDRESS:
        return here
    named = {"name": name, "device": device, "tried": tried}
    today = wrong_tries(now - DAY).filter(**named)
    if tried == Tried.CODE and today.count() >= CODES_A_DAY:
        return named
    if device:
        return {}
    anywhere = wrong.filter(device="")
    if anywhere.filter(address=address).count() >= FOR_ADDRESS:
        return {"address": address, "device": ""}
    return named if anywhere.filter(**named).count() >= FOR_NAME else {}


def _since_right(wrong, here: dict, now):
    """Those after the last right one there."""
    right = SignInTry.objects.filter(**here, right=True, at__gt=now - WINDOW)
    last = right.aggregate(last=Max("at"))["last"]
    return wrong.filter(at__gt=last) if last else wrong


def shut_addresses() -> list[str]:
    """Return the addresses at which nobody is let in just now: one statement."""
    wrong = wrong_tries(timezone.now() - WINDOW).filter(device="")
    counted = wrong.values("address").annotate(n=Count("pk")).order_by("address")
    return [row["address"] for row in counted if row["n"] >= FOR_ADDRESS]


def too_many_pins(person: Person, now) -> bool:
    """Whether no PIN of a person is looked at just now, on no tablet."""
    tries = PinTry.objects.filter(person=person)
    wrong = tries.filter(right=False, lifted=False)
    lately = wrong.filter(at__gt=now - WINDOW)
    if last := tries.filter(right=True).aggregate(last=Max("at"))["last"]:
        lately = lately.filter(at__gt=last)
    today = wrong.filter(at__gt=now - DAY)
    return lately.count() >= PINS or today.count() >= PINS_A_DAY


def shut_pins(people: list[Person]) -> set[int]:
    """Return the keys of those whose PIN is not looked at just now: one statement."""
    now = timezone.now()
    tries = PinTry.objects.filter(person__in=people, at__gt=now - DAY, lifted=False)
    lately, today = {}, {}
    for who, at, right in tries.order_by("at").values_list("person", "at", "right"):
        today[who] = today.get(who, 0) + (not right)
        if right:
            lately[who] = 0
        elif at > now - WINDOW:
            lately[who] = lately.get(who, 0) + 1
    return {
        who for who in today if lately.get(who, 0) >= PINS or today[who] >= PINS_A_DAY
    }
