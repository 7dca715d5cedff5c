"""The things that can be pointed at: by a label's code, a photo, a hold, the chain.

A kind has a letter for its code: P12 is the part with the key 12. qa adds its own
kinds when it starts (`register`), so that one scan road leads everywhere.
"""

from dataclasses import dataclass

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

    def rows(self):
        return apps.get_model(self.model).objects.select_related(*self.related)

    def code(self, key: int) -> str:
        return f"{self.letter}{key}"

    def address(self, row) -> str:
        return reverse(self.url, args=[row.pk])


KINDS: dict[str, Kind] = {}


def register(kind: Kind) -> None:
    """Make a kind known; a letter stands for one kind, for labels last for years."""
    taken = {other.letter: other.name for other in KINDS.values()}
    if taken.get(kind.letter, kind.name) != kind.name:
        raise ValueError(f"{kind.letter} stands for {taken[kind.letter]} already")
    KINDS[kind.name] = kind


for one in (
    Kind("part", "P", "shop.Part", "part", _("part"), ("design",)),
    Kind("tool", "T", "shop.Tool", "tool", _("tool")),
    Kind("pull", "U", "shop.Pull", "pull", _("pull"), ("tool", "laminate")),
    Kind("lot", "L", "shop.Lot", "lot", _("lot"), ("material",)),
    Kind("airframe", "A", "shop.Airframe", "airframe", _("airframe"), ("type",)),
    Kind("machine", "M", "shop.Machine", "machine", _("machine")),
    Kind(
        "milling",
        "G",
        "shop.MillingSetup",
        "milling",
        _("milling set-up"),
        ("machine", "tool"),
    ),
    Kind("step", "S", "shop.StepDone", "step_done", _("step"), ("step", "tool")),
    Kind("laminate", "N", "shop.Laminate", "laminate", _("laminate")),
):
    register(one)


def kind_of_letter(letter: str) -> Kind | None:
    return next((k for k in KINDS.values() if k.letter == letter.upper()), None)
