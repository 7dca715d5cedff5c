"""What stands between here and closed, in words."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from shop.wording import states

NAMED = 8
# States of a station that stand, in the order in which they are told: the worst first.
STATIONS = ("does_not_conform", "clash", "not_proven", "stale", "not_measured")
STANDING = {
    None: _("never offered for inspection"),
    "in_work": _("in work, not offered as it is now"),
    "offered": _("offered, not inspected yet"),
    "rejected": _("rejected"),
    "acceptance_void": _("its acceptance does not hold any more"),
}
# Headings of what stands, by kind.
KINDS = {
    "acceptance": _("Not accepted"),
    "stations": _("Stations"),
    "holes": _("Holes"),
    "characteristic": _("Characteristics"),
    "photo": _("Photos required and missing"),
    "instrument": _("Instruments in doubt"),
    "item": _("Open nonconformances"),
    "missing": _("Cannot be found"),
    "mock_up": _("Mock-ups still in"),
    "temporary": _("Temporary items still in"),
    "part": _("Parts"),
}
# What changed since it was closed, by the section of its content.
SECTIONS = {
    "joints": _("acceptance of"),
    "parts": _("part"),
    "empty": _("what stays empty:"),
    "holes": _("holes of"),
    "characteristics": _("characteristic"),
    "temporary": _("temporary item"),
    "items": _("nonconformance"),
}


def _few(names: list[str]) -> str:
    more = ["…"] if len(names) > NAMED else []
    return ", ".join([*names[:NAMED], *more])


def not_accepted(state: str | None) -> str:
    return str(STANDING[state])


def stations(state: str, labels: list[str]) -> str:
    """ "3 stale: 1 gap, 2 gap, 2 flush"."""
    row = states.VERDICTS.get(state) or states.TABLET[state]
    word = row.many if row.many and len(labels) > 1 else row.word
    return f"{len(labels)} {word}: {_few(labels)}"


def holes(check: str, labels: list[str]) -> str:
    sentence = ngettext(
        "hole %s does not conform", "holes %s do not conform", len(labels)
    )
    return f"{check}: {sentence % _few(labels)}"


def result(verdict: str) -> str:
    return states.word(str(verdict))


def missing(count: int) -> str:
    return ngettext("%s cannot be found", "%s cannot be found", count) % count


def inside(count: int, *, hole: bool) -> str:
    if hole:
        return ngettext("%s is open", "%s are open", count) % count
    return ngettext("%s is still in", "%s are still in", count) % count


def empty(part_number: str) -> str:
    if not part_number:
        return str(_("holds no part"))
    return _("empty: %s belongs here") % part_number


def on_surround(serial: str, state: str, *, named: bool) -> str:
    item = _("on %(serial)s, %(state)s") % {"serial": serial, "state": state}
    return (
        f"{item}: {_('it names this joint and stands in its way')}" if named else item
    )


def stays_empty(reason: str, by: str, day: str) -> str:
    values = {"reason": reason, "by": by, "day": day}
    return _("%(reason)s (%(by)s, %(day)s)") % values


def unweighed(*, estimated: bool) -> str:
    return str(_("only an estimate, not weighed") if estimated else _("not weighed"))
