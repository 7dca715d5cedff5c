"""Acts on nonconformances in words: over a form, on its button, whose they are."""

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class ActWords:
    """An act: the heading of its form and the link to it, its button, who does it."""

    heading: str
    button: str
    who: str


ACTS: dict[str, ActWords] = {
    "contain": ActWords(
        _("Contain"), _("Record the containment"), _("It is contained by")
    ),
    "dispose": ActWords(
        _("Decide what is done"),
        _("Record the disposition"),
        _("A disposition is decided by"),
    ),
    "work": ActWords(
        _("Work done"), _("Record the work"), _("The work is recorded by")
    ),
    "verify": ActWords(
        _("Verify"),
        _("Record the verification"),
        _("It is verified, by somebody who did not do the work, by"),
    ),
    "close": ActWords(_("Close"), _("Close the item"), _("It is closed by")),
    "explain": ActWords(
        _("State the cause"), _("Record the cause"), _("The cause is stated by")
    ),
    "assign": ActWords(_("Hand on"), _("Record"), _("It is handed on by")),
    "remark": ActWords(
        _("Add a remark"), _("Add the remark"), _("Remarks are added by")
    ),
    "reopen": ActWords(_("Open again"), _("Open again"), _("It is opened again by")),
}
# What is sent with the one big button: it moves the item on.
MOVES_ON = ("contain", "dispose", "work", "verify", "close")
UNKNOWN_CLASS = _("no part named: counts as primary structure")
