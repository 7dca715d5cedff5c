"""Lengths and limits for people, in the reader's unit."""

import math

from django.utils.translation import gettext as _

from shop.numeric.units import DECIMALS, MM_PER_IN, NM_PER, format_length, to_nm
from shop.wording import states
from shop.wording.numbers import true_minus

DASH = "\N{EN DASH}"
# Decimals that people are shown: a step gauge tells 0.01 mm, and 0.0005 in is finer.
PLACES = {"mm": 2, "in": 4}
# On a map there is less room.
MAP_PLACES = {"mm": 2, "in": 3}
# Fewer are not told, however little is known: whole mm, thousandths of an inch.
FEWEST_PLACES = {"mm": 0, "in": 3}


def number(
    nm: int,
    unit: str = "mm",
    places: int | None = None,
    *,
    signed: bool = False,
    beyond: int | None = 0,
) -> str:
    """A length without its unit, with a typographic minus; signed: a plus above 0.

    beyond: by how many nm it lies beyond a limit (negative: below), None or 0 where it
    does not. It is never told as that limit: it gets as many decimals more as it takes.
    """
    places = PLACES[unit] if places is None else places
    places = _apart(nm, nm - (beyond or 0), unit, places)
    text = true_minus(format_length(nm, unit, places))
    return f"+{text}" if signed and nm > 0 else text


def _apart(nm: int, limit: int, unit: str, places: int) -> int:
    """So many decimals that a value and the limit that it misses do not read alike."""
    while (
        nm != limit
        and places < DECIMALS[unit]
        and format_length(nm, unit, places) == format_length(limit, unit, places)
    ):
        places += 1
    return places


def length(
    nm: int | None,
    unit: str = "mm",
    places: int | None = None,
    *,
    beyond: int | None = 0,
) -> str:
    """A length with its unit: 2 decimals of mm, 4 of inch; a dash where there is none.

    places: other decimals than these; beyond: as of `number`.
    """
    return DASH if nm is None else f"{number(nm, unit, places, beyond=beyond)} {unit}"


def mm(value: float, unit: str, places: int | None = None) -> str:
    """A length that was worked out in mm, in the reader's unit."""
    return length(to_nm(value), unit, places)


def places_known(half: float | None, unit: str, most: dict[str, int] = PLACES) -> int:
    """Decimals that are known of a length: those down to the first digit of half of its
    95 % interval, mm; as many as people are shown where nothing is known of it."""
    if not half:  # nothing is known of it, or all
        return most[unit]
    first = -math.floor(math.log10(half / (1.0 if unit == "mm" else MM_PER_IN)))
    return min(most[unit], max(FEWEST_PLACES[unit], first))


def give_or_take(half: float | None, unit: str) -> str:
    """ "± 0.2", rounded up to the digits that are known; "" where nothing is known."""
    if half is None:
        return ""
    places = places_known(half, unit)
    step = NM_PER[unit] // 10**places
    return f"± {format_length(-(-to_nm(half) // step) * step, unit, places)}"


def known(value: float, half: float | None, unit: str) -> str:
    """A length that was worked out in mm with half of its 95 % interval: "0.4 ± 0.2
    mm", in the digits that are known."""
    figure = number(to_nm(value), unit, places_known(half, unit))
    return " ".join(filter(None, (figure, give_or_take(half, unit), unit)))


def no_more(value: float, unit: str, half: float | None = None) -> str:
    """A depth that is asked for, mm, without its unit: where it must be rounded less of
    it, in the digits that are known where that is still something; "" of nothing."""
    nm = to_nm(value)
    for places in (places_known(half, unit, MAP_PLACES), MAP_PLACES[unit]):
        step = NM_PER[unit] // 10**places
        if nm >= step:
            return number((nm + 1) // step * step, unit, places)
    return number(nm, unit, MAP_PLACES[unit]) if nm else ""


def on_map(
    nm: int | None,
    unit: str,
    *,
    signed: bool = False,
    half: float | None = None,
    beyond: int | None = 0,
) -> str:
    """A value as it stands on a map: no unit, flushness with its sign, in the digits
    that are known by `half` of its interval, mm; beyond: as of `number`."""
    if nm is None:
        return ""
    text = number(nm, unit, places_known(half, unit, MAP_PLACES), beyond=beyond)
    return f"+{text}" if signed and nm > 0 and text.strip("0.") else text


def limits(low: int | None, high: int | None, unit: str = "mm") -> str:
    """Limits in nm: "1.50 to 3.00 mm", "at most 0.50 mm"."""
    texts = (None if nm is None else number(nm, unit) for nm in (low, high))
    return _between(*texts, unit)


def accepted(
    required: tuple[int | None, int | None],
    drawn_in: tuple[int | None, int | None],
    unit: str = "mm",
) -> str:
    """The limits that govern, where a guard draws them in; "" where they are those that
    are required.

    No more decimals than a reading has, and rounded inward: what lies inside of what is
    told is accepted.
    """
    if required == drawn_in:
        return ""
    low, high = drawn_in
    return _between(
        None if low is None else _inward(low, unit, up=True),
        None if high is None else _inward(high, unit, up=False),
        unit,
    )


FINEST = {"mm": 3, "in": 4}


def _inward(nm: int, unit: str, *, up: bool) -> str:
    step = NM_PER[unit] // 10 ** FINEST[unit]
    rounded = -(-nm // step) * step if up else nm // step * step
    least = PLACES[unit]
    coarse = NM_PER[unit] // 10**least
    return number(rounded, unit, least if rounded % coarse == 0 else FINEST[unit])


def _between(low: str | None, high: str | None, unit: str) -> str:
    if low is None and high is None:
        return states.word("")
    values = {"low": low, "high": high, "unit": unit}
    if low is None:
        return _("at most %(high)s %(unit)s") % values
    if high is None:
        return _("at least %(low)s %(unit)s") % values
    return _("%(low)s to %(high)s %(unit)s") % values


def facing(edge: str, flush_nm: int | None) -> str:
    """Which way a step at an "upstream" or "downstream" edge faces the flow, "" when it
    does not matter.

    Proud at the upstream edge or low at the downstream edge faces forward.
    """
    if not flush_nm or edge not in ("upstream", "downstream"):
        return ""
    forward = (flush_nm > 0) == (edge == "upstream")
    return _("forward-facing") if forward else _("aft-facing")


def not_nothing(nm: int, unit: str) -> str:
    """A length with as many decimals as show that it is not nothing."""
    text = number(nm, unit)
    if nm and not text.strip("0.\N{MINUS SIGN}"):
        text = format_length(nm, unit).replace("-", "\N{MINUS SIGN}")
    return f"{text} {unit}"
