"""What is offered and what became of it, in words."""

from django.utils.translation import gettext_lazy as _

# What a joint whole lacks, by the codes of qa.rules.offering.
SHORT = {
    "off": _("a side is not in place now"),
    "revision": _("the joint has a newer revision than the one it was measured by"),
    "condition": _("not measured in the condition of acceptance"),
    "unfinished": _("a check is not finished"),
    "late": _("readings came in late and wait for a decision"),
    "suspect": _("a serial is on hold or suspect"),
    "range": _("read outside what the instrument reads"),
    "instrument": _(
        "measured with an instrument that was found off since, or was lost or damaged"
    ),
}
OUTCOMES = {
    "accepted": _("Accept"),
    "with_remarks": _("Accept with remarks"),
    "rejected": _("Reject, with a reason at a line"),
}
WHOLE = _("the joint whole")
