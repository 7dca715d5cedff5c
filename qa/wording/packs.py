"""Words of the record of a pack: its tables, their rows and their facts."""

from string import Formatter

THE_PACK = "The pack"
# Each table of the record, as the pages head it, and what a row of it is called: by
# that it is the same in a later issue. "{0}" is the first of a row that is a list.
TABLES = {
    "": (THE_PACK, "the pack"),
    "still_stands": ("What still stands", "stands: {what}, {kind}"),
    "genealogy.parts": ("Identity and genealogy", "part {serial_number}"),
    "genealogy.materials": ("Materials", "lot {material} {lot}"),
    "joints": ("Joints", "{joint}"),
    "holes": ("Holes", "{pattern} on {serial_number}"),
    "other_characteristics": ("Other characteristics", "{0}"),
    "nonconformances": ("Nonconformances", "{label}"),
    "temporary_items": ("Temporary items, in and out", "{number}"),
    "instruments": ("Measuring instruments", "instrument {code}"),
    "photos": ("Photos", "photo {sha256:.12}"),
    "weights.weighings": ("Weights", "weight {serial}, {stage}, {day}"),
    "weights.never_weighed": ("Weights", "never weighed: {0}"),
    "weights.airframe": ("Weights", "airframe, {0}"),
    "cures": ("Cure traces", "cure {pull}"),
    "signatures": ("Signatures", "signature {what}, {by}, {at}"),
    "characteristics": ("Every characteristic", "{number}"),
}
# What was remarked on a line by a name that no line has now.
EARLIER_FORM = "Lines of the older form, remarked on"
# Facts that are not called as the data name them.
FACTS = {
    "at": "when",
    "checks": "measured in",
    # What the recipe of a cure asked, and what came of it, met or not.
    "complaints": "asked and found",
    "due": "calibration due",
    "fit_up": "fit-up",
    "inside": "still in",
    "map_as_drawn": "drawing of the map (digest, without the values)",
    "of": "name",
    "profile_as_drawn": "drawing of the profile (digest, without the values)",
    "sha256": "SHA-256",
    "state_word": "state",
    "u": "standard uncertainty",
    "used": "used in",
}
# Codes that pages show as a sign beside the word: told where the word alone is not.
SIGN_OF = {"state": ("verdict", "state_word")}


def table_words(table: str) -> tuple[str, str]:
    """(heading, what a row is called) of a table; one that has no words yet goes by its
    own name, each row by all that it says."""
    plain = table.replace("_", " ").replace(".", ", ")
    return TABLES.get(table, (plain.capitalize(), ""))


def row_words(table: str, row: dict) -> str:
    name = table_words(table)[1]
    if not name:
        return ", ".join(str(value) for value in row.values())
    return name.format(*row.values(), **row)


def named_by(table: str) -> set[str]:
    """The facts of a row that its name says whole."""
    parsed = Formatter().parse(table_words(table)[1])
    return {fact for _text, fact, shortened, _how in parsed if fact and not shortened}


def fact_words(fact: str) -> str:
    """What a fact is called; "" for the only one of a row."""
    if fact.isdigit():
        return ""
    return FACTS.get(fact, fact.replace("_", " "))


NOT_TOLD = "not told at all"
KINDS = {bool: "yes or no", int: "a number", str: "a text", list: "a list"}


def kind_words(value) -> str:
    """What a value is, beside how it reads."""
    if value is None:
        return "nothing stated"
    kind = KINDS.get(type(value), "parts with names")
    return kind if value or value == 0 else f"{kind}, empty"
