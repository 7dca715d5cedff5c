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


def began(kind: str) -> str:
    return str(DRILLED if kind == "hole" else PUT_IN)
