"""What hands do at an adjuster, in the words of the shop: "0.6 mm aft", "take one 0.5
mm shim out"."""

from collections.abc import Iterable, Mapping
from typing import Protocol

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from qa.wording.lengths import give_or_take
from shop.numeric.units import MILLI, format_length

SHIM, TURN = "shim", "turn"
QUARTERS = {0: "", 250: "¼", 500: "½", 750: "¾"}
PART_TURNS = {
    250: gettext_lazy("a quarter turn"),
    500: gettext_lazy("half a turn"),
    750: gettext_lazy("three quarters of a turn"),
}
COUNTS = (
    *("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    *("ten", "eleven", "twelve"),
)


class Settable(Protocol):
    """One direction of a place: its words, and how hands make a step. nm."""

    name: str
    point: str
    plus: str
    minus: str
    step_nm: int
    step_kind: str
    turn_e3: int | None


def length(nm: int, unit: str) -> str:
    """As short as it reads back the same: settings are whole steps."""
    return f"{format_length(abs(nm), unit)} {unit}"


def way_of(settable: Settable, change_nm: int) -> str:
    return settable.plus if change_nm > 0 else settable.minus


def change_words(
    settable: Settable, change_nm: int, unit: str, half: float | None = None
) -> str:
    """A change without its place; "stays" when there is none. Steps are whole, however
    well they are known: `half` of the 95 % interval, mm, is said beside."""
    if not change_nm:
        return _("stays")
    amount, way = length(change_nm, unit), way_of(settable, change_nm)
    known = give_or_take(half, unit)
    more = f" ({known} {unit})" if known else ""
    steps, rest = divmod(abs(change_nm), settable.step_nm)
    if not rest and settable.step_kind == SHIM:
        return _shims(steps, length(settable.step_nm, unit), change_nm > 0) + more
    if not rest and settable.step_kind == TURN:
        return f"{turns(steps * (settable.turn_e3 or 0))}, {amount} {way}{more}"
    return f"{amount} {way}{more}"


def turns(turn_e3: int) -> str:
    """Turns of a rod end as hands count them, in quarters: "1¼ turns"."""
    whole, rest = divmod(turn_e3, MILLI)
    if not whole and rest in PART_TURNS:
        return str(PART_TURNS[rest])
    if rest in QUARTERS:
        words = ngettext("%(turns)s turn", "%(turns)s turns", whole if not rest else 2)
        return words % {"turns": f"{whole}{QUARTERS[rest]}"}
    return _("%(turns)g turns") % {"turns": turn_e3 / MILLI}


def _shims(count: int, step: str, put_in: bool) -> str:
    shims = {"count": COUNTS[count] if count < len(COUNTS) else count, "step": step}
    if put_in:
        words = ngettext(
            "put %(count)s %(step)s shim in", "put %(count)s %(step)s shims in", count
        )
    else:
        words = ngettext(
            "take %(count)s %(step)s shim out",
            "take %(count)s %(step)s shims out",
            count,
        )
    return words % shims


def settings_text(
    changes: Iterable[tuple[Settable, int]],
    unit: str,
    halves: Mapping[str, float] | None = None,
) -> str:
    """All there is to do, place by place: "upper hinge: 0.6 mm aft, take one 0.5 mm
    shim out; latch: 0.2 mm in". `halves` of what is known of each, mm by name."""
    by_point: dict[str, list[str]] = {}
    for adjuster, change in changes:
        if change:
            half = halves.get(adjuster.name) if halves else None
            words = change_words(adjuster, change, unit, half)
            by_point.setdefault(adjuster.point, []).append(words)
    return "; ".join(
        f"{point}: {', '.join(texts)}" for point, texts in by_point.items()
    )


def now_words(adjuster: Settable, now_nm: int, unit: str) -> str:
    """What an adjuster is set to, from where the drawing has it."""
    if not now_nm:
        return _("as drawn")
    amount = f"{length(now_nm, unit)} {way_of(adjuster, now_nm)}"
    steps, rest = divmod(abs(now_nm), adjuster.step_nm)
    if not rest and adjuster.step_kind == TURN:
        return f"{turns(steps * (adjuster.turn_e3 or 0))}, {amount}"
    if rest or adjuster.step_kind != SHIM:
        return amount
    values = {
        "count": COUNTS[steps] if steps < len(COUNTS) else steps,
        "step": length(adjuster.step_nm, unit),
        "amount": amount,
    }
    if now_nm > 0:
        return _("%(count)s × %(step)s shim in: %(amount)s") % values
    return _("%(count)s × %(step)s shim out: %(amount)s") % values


CAME_WHY = {
    "": "",
    "too_few": gettext_lazy("told from %(least)s rounds on; there are %(count)s"),
    "unseen": gettext_lazy("less than its readings can tell"),
    "no_rest": gettext_lazy("too few readings a round to see their own scatter"),
}
ROUND_WHY = {
    "": "",
    "moved": gettext_lazy("not counted: the part was moved or shimmed as well"),
    "twice": gettext_lazy("not counted: set more than once before it was measured"),
    "unpredicted": gettext_lazy("not counted: what it should do was not recorded"),
    "anew": gettext_lazy("not counted: what holds the part was stated anew since"),
    "mixed": gettext_lazy("not counted: its readings cannot tell the settings apart"),
}


def came_why(code: str, count: int, least: int) -> str:
    """Why it is not told how well an adjuster is set, "" where it is."""
    return str(CAME_WHY[code]) % {"count": count, "least": least}


def round_why(code: str) -> str:
    """Why a round tells nothing of the settings made in it, "" where it does."""
    return str(ROUND_WHY[code])
