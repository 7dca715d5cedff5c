"""The things that can be pointed at: by a label's code, a photo, a hold, the chain.

A code is the letter of the kind and the key in base 32: P1A is the part with the key
42. The digits are Crockford's, without I, L, O and U, so that a code read aloud or
typed from a greasy label is not mistaken. qa adds its own kinds when it starts
(`register`), so that one scan road leads everywhere.
"""

from dataclasses import dataclass
from operator import attrgetter

from django.apps import apps
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Kind:
    """A kind of thing: how it is coded, found, and where its page is."""

    name: str
    letter: str
    model: str
    url: str
    word: str
    related: tuple[str, ...] = ()
    # What its page is found by; a kind without a page (url "") shows its chain.
    by: str = "pk"
    # Attributes that a label and a search say beside its name ("design.name").
    says: tuple[str, ...] = ("name",)

    def rows(self):
        return apps.get_model(self.model).objects.select_related(*self.related)

    def code(self, key: int) -> str:
        return self.letter + in_base_32(key)

    def address(self, row) -> str:
        if not self.url:
            return reverse("chain", args=[self.name, row.pk])
        return reverse(self.url, args=[getattr(row, self.by)])

    def words(self, row) -> list[str]:
        """What is said beside the name of a thing, without what is empty."""
        texts = (attrgetter(name)(row) for name in self.says)
        return [str(text) for text in texts if text not in (None, "")]


DIGITS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
# What a person writes for a digit that looks like it.
MISTAKEN = str.maketrans("ILO", "110")
LONGEST = 13  # digits of 2^63 in base 32


def in_base_32(number: int) -> str:
    """Write a number of 0 or more in base 32, without leading zeros."""
    text = ""
    while True:
        number, digit = divmod(number, 32)
        text = DIGITS[digit] + text
        if not number:
            return text


def from_base_32(text: str) -> int | None:
    """Read a number in base 32, in either case; None when it is none."""
    text = text.upper().translate(MISTAKEN)
    if not 0 < len(text) <= LONGEST or not set(text) <= set(DIGITS):
        return None
    number = 0
    for digit in text:
        number = number * 32 + DIGITS.index(digit)
    return number if number < 2**63 else None


KINDS: dict[str, Kind] = {}


def register(kind: Kind) -> None:
    """Make a kind known; a letter stands for one kind, for labels last for years."""
    taken = {other.letter: other.name for other in KINDS.values()}
    if taken.get(kind.letter, kind.name) != kind.name:
        raise ValueError(f"{kind.letter} stands for {taken[kind.letter]} already")
    KINDS[kind.name] = kind


for identifier in (
    Kind(
        *("part", "P", "shop.Part", "part", _("part"), ("design",)),
        says=("design", "design.name"),
    ),
    Kind("tool", "T", "shop.Tool", "tool", _("tool")),
    Kind(
        *("pull", "U", "shop.Pull", "pull", _("pull"), ("tool", "laminate")),
        says=("tool.name", "laminate"),
    ),
    Kind(
        *("lot", "L", "shop.Lot", "lot", _("lot"), ("material",)),
        says=("material.name",),
    ),
    Kind("airframe", "A", "shop.Airframe", "airframe", _("airframe"), ("type",)),
    Kind("machine", "M", "shop.Machine", "machine", _("machine"), says=("note",)),
    Kind(
        *("milling", "G", "shop.MillingSetup", "milling", _("milling set-up")),
        ("machine", "tool"),
        says=("tool", "tool.name"),
    ),
    Kind(
        *("step", "S", "shop.StepDone", "step_done", _("step"), ("step", "tool")),
        says=("tool", "tool.name"),
    ),
    Kind("laminate", "N", "shop.Laminate", "laminate", _("laminate")),
    Kind(
        *("coat", "R", "shop.ReleaseCoat", "", _("release coat"), ("tool", "product")),
        says=("tool", "tool.name"),
    ),
    Kind(
        *("cure", "H", "shop.CureTrace", "trace", _("cure"), ("pull__tool",)),
        says=("pull",),
    ),
):
    register(identifier)


def kind_of_letter(letter: str) -> Kind | None:
    return next((k for k in KINDS.values() if k.letter == letter.upper()), None)


def find(code: str):
    """Return (kind, row) of a code; None when nothing has it."""
    kind = kind_of_letter(code[:1])
    key = from_base_32(code[1:])
    row = kind.rows().filter(pk=key).first() if kind and key is not None else None
    return (kind, row) if row else None


def kind_of(row) -> Kind:
    """Return the kind of a row; StopIteration when it is no thing of its own."""
    label = row._meta.label
    return next(kind for kind in KINDS.values() if kind.model == label)


def address_of(row) -> str:
    return kind_of(row).address(row)
