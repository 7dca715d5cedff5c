"""Units, each conversion spelled once, and lengths of record: whole nanometers beside
the text as typed.

1 in = 25.4 mm exactly (international inch, 1959), so 1 in = 25,400,000 nm. Six decimals
of a millimeter and five of an inch are whole numbers of nanometers: nothing is rounded
on the way in, and a value that lies on a limit compares as on the limit.
"""

import re
from fractions import Fraction

NM_PER_MM = 1_000_000
NM_PER_UM = 1_000
NM_PER_IN = 25_400_000
MM_PER_IN = 25.4
MM_PER_M = 1_000
IN_PER_FT = 12
M_PER_FT = 0.3048
M_S_PER_KT = 1852 / 3600
UM_PER_MM = 1_000
MM2_PER_IN2 = 645.16
MM2_PER_M2 = 1_000_000
POINTS_PER_IN = 72  # of a printer
MG_PER_G = 1_000
MG_PER_KG = 1_000_000
KG_M3_PER_G_CM3 = 1_000
S_PER_MIN = 60
S_PER_H = 3_600
MIN_PER_H = 60
MIN_PER_DAY = 1_440
S_PER_DAY = 86_400
ZERO_C_IN_F = 32
F_PER_K = 1.8
BYTES_PER_MB = 1_000_000
CENTS = 100  # of one of any money
PERCENT = 100  # of one
BP_PER_PERCENT = 100
PERMILLE_PER_PERCENT = 10
PER_KG_PER_PERCENT = 10  # hardener: g to 1 kg of resin for each part to 100
PPM = 1_000_000  # of one
PPM_PER_PERCENT = 10_000
BP = 10_000  # of one
# What is kept in whole parts of its unit, named by how fine it is kept.
MILLI = 1_000  # °C, K/min, degrees, turns
MICRO = 1_000_000
E9 = 1_000_000_000  # directions
NM_PER = {"mm": NM_PER_MM, "in": NM_PER_IN}
# What is measured, in its unit of record (mg, nm, m°C, Pa) for each unit that may be
# typed. Exact by definition: 1 lb = 453.59237 g, 1 in = 25.4 mm, 1 mbar = 100 Pa; inch
# of mercury by its conventional value, 3386.389 Pa.
PER_UNIT = {
    "mass": {
        "g": Fraction(MG_PER_G),
        "kg": Fraction(MG_PER_KG),
        "lb": Fraction(45_359_237, 100),
        "oz": Fraction(45_359_237, 1600),
    },
    "length": {
        "mm": Fraction(NM_PER_MM),
        "in": Fraction(NM_PER_IN),
        "µm": Fraction(NM_PER_UM),
        "um": Fraction(NM_PER_UM),
        "cm": Fraction(10 * NM_PER_MM),
        "m": Fraction(MM_PER_M * NM_PER_MM),
        "ft": Fraction(12 * NM_PER_IN),
    },
    "temperature": {"c": Fraction(MILLI), "f": Fraction(5000, 9)},
    "pressure": {
        "kPa": Fraction(1000),
        "mbar": Fraction(100),
        "Pa": Fraction(1),
        "inHg": Fraction(3_386_389, 1000),
    },
}
DECIMALS = {"mm": 6, "in": 5}
LONGEST_NM = 100 * MM_PER_M * NM_PER_MM  # a slip of the decimal point, not a part

_NUMBER = re.compile(r"([+-]?)([0-9]*)(?:\.([0-9]*))?")
FRACTION = re.compile(
    r"([+\-−]?)(?:(\d{1,6})[\s-]+)?(\d{1,6})/(\d{1,6})\s*([^\d\s.,]*)"
)


class LengthError(ValueError):
    """A text that is no length; the message says why, for the person who typed it."""


def to_mm(nm):
    """Millimeters of nanometers, of one length or of an array."""
    return nm / NM_PER_MM


def to_nm(mm: float) -> int:
    """The nearest whole nanometers, halves to even."""
    return round(mm * NM_PER_MM)


def parse_length(text: str, unit: str, *, comma: bool = False) -> int:
    """Whole nanometers from a typed number of millimeters ("mm") or inches ("in").

    `comma` also takes a decimal comma. A leading sign (the typographic minus too) and
    spaces around are fine. Raises LengthError on an empty text, an exponent, a word, a
    second separator, more decimals than the unit carries, or more than 100 m.
    """
    per = _nm_per(unit)
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if comma:
        if plain.count(",") + plain.count(".") > 1:
            raise LengthError(f"{text!r} has more than one decimal separator")
        plain = plain.replace(",", ".")
    match = _NUMBER.fullmatch(plain)
    if not match or not (match[2] or match[3]):
        raise LengthError(_why_not(text, plain, comma))
    sign, whole, part = match[1], match[2], match[3] or ""
    if len(part) > DECIMALS[unit]:
        raise LengthError(f"{text!r} has more than {DECIMALS[unit]} decimals of {unit}")
    if len(whole.lstrip("0")) > 6:
        raise LengthError(f"{text!r} {unit} is more than 100 m")
    scaled = int((whole or "0") + part) * per
    nm = scaled // 10 ** len(part)
    if nm > LONGEST_NM:
        raise LengthError(f"{text!r} {unit} is more than 100 m")
    return -nm if sign == "-" else nm


def parse_typed(text: str, unit: str) -> int:
    """Whole nanometers of what is typed at the desk: a number in `unit`, with a decimal
    comma too, or a fraction of an inch. Raises LengthError."""
    if "/" in text:
        return fraction_nm(text, unit)
    return parse_length(text, unit, comma=True)


def fraction_nm(text: str, unit: str) -> int:
    """Whole nanometers of a fraction of an inch, "1/4 in" or "1 1/2".

    `unit` is what it is in where none is typed. 1 in = 25.4 mm exactly, so 64ths are
    whole nanometers; what is not is refused, never rounded. Raises LengthError.
    """
    match = FRACTION.fullmatch(text.strip())
    if match is None or not int(match[4]):
        raise LengthError("Write a fraction like this: 1/4 in or 1 1/2 in")
    sign, whole, over, under, named = match.groups()
    if (named or unit).lower() != "in":
        raise LengthError("A fraction is of an inch: write 1/4 in")
    nm = (int(whole or 0) + Fraction(int(over), int(under))) * NM_PER["in"]
    if nm.denominator != 1:
        raise LengthError(
            "This fraction of an inch is no whole nanometer: write it with decimals"
        )
    if nm > LONGEST_NM:
        raise LengthError(f"{text!r} is more than 100 m")
    return -int(nm) if sign in ("-", "−") else int(nm)


def format_length(nm: int, unit: str, places: int | None = None) -> str:
    """Text of a length in `unit`.

    Without `places` the shortest text that reads back as the same length (inches: to
    the five decimals that they carry). With `places` that many decimals, halves to even
    (ISO 80000-1, rule A). Never "-0".
    """
    per = _nm_per(unit)
    decimals = DECIMALS[unit] if places is None else places
    if decimals < 0:
        raise ValueError("places must not be negative")
    whole, rest = divmod(abs(nm) * 10**decimals, per)
    if 2 * rest > per or (2 * rest == per and whole % 2):
        whole += 1
    digits = str(whole).rjust(decimals + 1, "0")
    text = digits if decimals == 0 else f"{digits[:-decimals]}.{digits[-decimals:]}"
    if places is None:
        text = text.rstrip("0").rstrip(".")
    return f"-{text}" if nm < 0 and whole else text


def _nm_per(unit: str) -> int:
    if unit not in NM_PER:
        raise LengthError(f"unit {unit!r} is not known; use mm or in")
    return NM_PER[unit]


def _why_not(text: str, plain: str, comma: bool) -> str:
    """The most useful thing to say about a text that is no plain decimal number."""
    if not plain:
        return "no number was given"
    if plain.count(".") > 1:
        return f"{text!r} has more than one decimal point"
    if re.fullmatch(r"[+-]?[0-9.]+[eE][+-]?[0-9]+", plain):
        return f"{text!r}: write the number out, without an exponent"
    if not comma and re.fullmatch(r"[+-]?[0-9]*,[0-9]+", plain):
        return f"{text!r}: use a decimal point, not a comma"
    return f"{text!r} is not a number"
