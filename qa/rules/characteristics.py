"""A characteristic beside gap and flushness: what is typed, exact, and its verdict.

Lengths in nm, weights in mg, counts in pieces, ratios in millionths: judged by the same
acceptance as a reading, weights and ratios as exact fractions.
"""

import math
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from qa.models import Characteristic, CharacteristicRevision, Quality, Rule, Verdict
from qa.numeric.verdict import acceptance, ratio
from shop.ledger import Refused
from shop.numeric.units import PER_UNIT, PPM_PER_PERCENT, LengthError, parse_length

MASSES = ("g", "kg", "lb", "oz")
AREAS = ("mm²", "cm²", "in²")
LENGTHS = ("mm", "in")
UNITS = {
    Quality.DIMENSION: LENGTHS,
    Quality.CLEARANCE: LENGTHS,
    Quality.COUNT: ("",),
    Quality.ATTRIBUTE: ("",),
    Quality.RATIO: AREAS,
    Quality.WEIGHT: MASSES,
}
MEASURED = (Quality.DIMENSION, Quality.CLEARANCE)
# What cannot be uncertain is not judged with a guard band.
CERTAIN = (Quality.COUNT, Quality.ATTRIBUTE)
LONGEST = 24
LARGEST = 10**15


@dataclass(frozen=True)
class Found:
    """What was typed of one characteristic; `under` the lower area of a ratio."""

    value: str
    unit: str = ""
    under: str = ""
    u: str = ""
    u_under: str = ""


def limit_of(quality: str, text: str, unit: str, field: str) -> int | None:
    """A limit as typed; None where none was typed. Limits of a ratio are percent, those
    of a weight are drawn in to the whole mg: as typed it is judged. Refused beside its
    field."""
    if not text.strip():
        return None
    if quality == Quality.RATIO:
        exact = _decimal(text, field) * PPM_PER_PERCENT
        if exact.denominator != 1:
            raise Refused("Percent, with four decimals at most.", field=field)
        return _whole(exact, field)
    exact = _exact(quality, text, unit, field)
    return math.ceil(exact) if field == "low" else math.floor(exact)


def _exact(quality: str, text: str, unit: str, field: str) -> Fraction:
    """What was typed, in the unit of its quality: a fraction of a mg of a weight."""
    if quality in MEASURED:
        try:
            return Fraction(parse_length(text, unit, comma=True))
        except LengthError as why:
            raise Refused(f"{why}.", field=field) from None
    number = _decimal(text, field)
    if quality == Quality.WEIGHT:
        return _not_too_large(number * PER_UNIT["mass"][unit], field)
    return Fraction(_whole(number, field))


def _whole(number: Fraction, field: str) -> int:
    if number.denominator != 1:
        raise Refused("Write a whole number.", field=field)
    return int(_not_too_large(number, field))


def _not_too_large(number: Fraction, field: str) -> Fraction:
    if abs(number) > LARGEST:
        raise Refused("That is too large.", field=field)
    return number


def _decimal(text: str, field: str) -> Fraction:
    """A plain decimal number, comma or point, exact."""
    plain = text.strip().replace(",", ".").replace("−", "-")
    known = set(plain) <= set("0123456789.-") and len(plain) <= LONGEST
    try:
        if not known:
            raise InvalidOperation
        return Fraction(Decimal(plain))
    except InvalidOperation:
        raise Refused("Write a plain number: 12.5.", field=field) from None


def require_unit(quality: str, unit: str) -> None:
    if unit not in UNITS[quality]:
        known = ", ".join(UNITS[quality]) or "none"
        raise Refused(f"Choose the unit: {known}.", field="unit")


@dataclass(frozen=True)
class Outcome:
    """What a result comes to; all in the exact unit of its quality."""

    exact: int | None
    u: int | None
    verdict: str
    guard: int | None = None
    deviation: int | None = None
    probability: float | None = None


def judged(
    characteristic: Characteristic,
    revision: CharacteristicRevision,
    measured: Found,
    u_instrument: int | None = None,
) -> Outcome:
    """Judge what was typed; u_instrument is the standard uncertainty in nm of what a
    length was measured with."""
    quality = characteristic.quality
    if quality == Quality.ATTRIBUTE:
        if measured.value not in ("yes", "no"):
            raise Refused("Say whether it is so.", field="value")
        verdict = (
            Verdict.CONFORMS if measured.value == "yes" else Verdict.DOES_NOT_CONFORM
        )
        return Outcome(None, None, verdict)
    require_unit(quality, measured.unit)
    exact, u = _value(quality, measured, u_instrument)
    low, high = _limits(quality, revision)
    if revision.rule == Rule.GUARDED and not u:
        field = "instrument" if quality in MEASURED else "u"
        raise Refused(
            "This is judged with a guard band: state the standard uncertainty.",
            field=field,
        )
    try:
        limits = acceptance.acceptance(low, high, u, revision.rule, revision.edition)
        judgment = acceptance.judge(
            exact, low, high, u, revision.rule, revision.edition
        )
    except acceptance.NarrowLimits as why:
        raise Refused(f"{why}.".capitalize(), field="u") from None
    whole = ratio.whole_beside(exact, *limits.inside)
    beyond = judgment.deviation_nm
    deviation = math.floor(beyond) if beyond < 0 else math.ceil(beyond)
    return Outcome(
        whole, u, judgment.verdict, limits.guard_nm, deviation, judgment.probability
    )


def _limits(quality: str, revision: CharacteristicRevision):
    """The limits to judge by: of a weight as they were typed, for 2 oz is no whole
    number of mg and what weighs 2 oz is on it."""
    if quality != Quality.WEIGHT:
        return revision.low, revision.high
    typed = {"low": revision.low_text, "high": revision.high_text}
    return tuple(
        _exact(quality, text, revision.unit, side) if text else getattr(revision, side)
        for side, text in typed.items()
    )


def _value(
    quality: str, measured: Found, u_nm: int | None
) -> tuple[Fraction, int | None]:
    """The exact value (a fraction for a ratio) and its standard uncertainty."""
    if quality in MEASURED:
        return _exact(quality, measured.value, measured.unit, "value"), u_nm
    if quality == Quality.RATIO:
        return _ratio(measured)
    value = _exact(quality, measured.value, measured.unit, "value")
    if value < 0:
        raise Refused("That cannot be less than nothing.", field="value")
    if quality == Quality.WEIGHT and value == 0:
        raise Refused("What was weighed weighs more than 0.", field="value")
    u = None
    if quality == Quality.WEIGHT and measured.u.strip():
        u = math.ceil(_exact(quality, measured.u, measured.unit, "u"))
        if u <= 0:
            raise Refused("An uncertainty is more than 0.", field="u")
    return value, u


def _ratio(measured: Found) -> tuple[Fraction, int | None]:
    upper, lower = _decimal(measured.value, "value"), _decimal(measured.under, "under")
    for number, field in ((upper, "value"), (lower, "under")):
        if number > LARGEST:
            raise Refused("That is too large.", field=field)
    if lower <= 0:
        raise Refused("An area is more than 0.", field="under")
    if upper < 0:
        raise Refused("An area cannot be negative.", field="value")
    exact = ratio.ratio_ppm(upper, lower)
    if exact > LARGEST:
        raise Refused("That is too large.", field="value")
    if not (measured.u.strip() or measured.u_under.strip()):
        return exact, None
    us = _decimal(measured.u or "0", "u"), _decimal(measured.u_under or "0", "u_under")
    for number, field in zip(us, ("u", "u_under"), strict=True):
        if number < 0 or number > LARGEST:
            raise Refused("An uncertainty is 0 or more.", field=field)
    u = ratio.ratio_u_ppm(upper, lower, *us)
    if u > LARGEST:
        raise Refused("That is too large.", field="u")
    return exact, u or None
