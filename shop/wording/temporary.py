"""Words of acts on temporary items: a hole is filled where others are taken out."""

from django.utils.translation import gettext_lazy as _

ACTS = {
    "take_out": _("Take out"),
    "miss": _("Cannot be found"),
    "find": _("Found, and out"),
    "release": _("Release without it"),
}
FILL = _("Fill")
DONE = {
    "take_out": _("taken out"),
    "miss": _("cannot be found"),
    "find": _("found, and out"),
    "release": _("released without it"),
}
FILLED = _("filled")
DRILLED, PUT_IN = _("drilled"), _("put in")


def act(verb: str, kind: str) -> str:
    """The button of an act."""
    return str(FILL if (verb, kind) == ("take_out", "hole") else ACTS[verb])


def done(verb: str, kind: str) -> str:
    """What was done."""
    return str(FILLED if (verb, kind) == ("take_out", "hole") else DONE[verb])


def came(load) -> str:
    """Why it is listed where a part sits now: it may have come with that."""
    return _("came with %(part)s, was put in at %(airframe)s, %(bay)s") % {
        "part": _part(load),
        "airframe": load.item.airframe.serial,
        "bay": load.item.bay.path,
    }


def went(load) -> str:
    """Where else to look for it."""
    return _("%(part)s sits at %(airframe)s, %(bay)s now") % {
        "part": _part(load),
        "airframe": load.placement.airframe.serial,
        "bay": load.placement.position.path,
    }


def _part(load) -> str:
    """The serial that sits, and in it the one that it was put in at."""
    if load.part.pk == load.placement.part_id:
        return load.part.serial
    within = {"part": load.part.serial, "whole": load.placement.part.serial}
    return _("%(whole)s (with %(part)s)") % within


def began(kind: str) -> str:
    return str(DRILLED if kind == "hole" else PUT_IN)
