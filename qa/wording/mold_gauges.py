"""What a mold is told by: gauges that may be off, gauges that were found off."""

from collections.abc import Iterable, Sequence
from datetime import date

from qa.wording import lengths
from qa.wording.tools import KINDS, some_of

ONE_GAUGE = (
    "All or most of {kinds}{places} was read with {code}. Its zero may be off by up to "
    "{most} ({how}): what of that no seating takes out is told with the mold, so that "
    "the mold and its plug are named only for what is beyond it."
)
BY_BUDGET = "by its budget, twice what its readings have in common"
BY_ALL = "twice its uncertainty, since no budget tells what its readings have in common"
NOT_KNOWN = (
    "All or most of {kinds}{places} was read with {code}, of which no uncertainty is "
    "on record: what its zero is off is told with the mold, and with its plug."
)
DOUBT = "{why}. It read {parts}: {what}."
AGAIN = "read them again with another gauge before you go by this"
GOOD = "a calibration that finds it good clears this"
OVERDUE = "The calibration of {code} was due {due}, before this was read"
SENT_OVERDUE = (
    "The calibration of {code} was due {due}, before this came in (by the clock of the "
    "tablet it was read in date)"
)


def sentences(gauges: Iterable[Sequence], unit: str) -> list[str]:
    """gauges: (kind, code, nm that its zero may be off, whether by its budget, labels
    of the places of which it read all or most; none, or left out, where that is all)
    of each."""
    kinds: dict[tuple, list[str]] = {}
    for kind, code, nm, by_budget, *where in gauges:
        own = code, nm, by_budget, tuple(*where)
        kinds.setdefault(own, []).append(KINDS[kind])
    lines = []
    for (code, nm, by_budget, labels), names in kinds.items():
        places = f" at {some_of(labels, 0)}" if labels else ""
        words = {"kinds": " and ".join(names), "places": places, "code": code}
        if nm is None:
            lines.append(NOT_KNOWN.format(**words))
            continue
        how = BY_BUDGET if by_budget else BY_ALL
        most = lengths.length(nm, unit)
        lines.append(ONE_GAUGE.format(**words, most=most, how=how))
    return lines


def overdue(code: str, due: date, *, in_date: bool) -> str:
    """That a gauge was used when its calibration was due."""
    return (SENT_OVERDUE if in_date else OVERDUE).format(code=code, due=due)


def doubt(why: str, what: str, parts: Sequence[str]) -> str:
    """what: what to do; parts: serials of those that a gauge in doubt read."""
    return DOUBT.format(why=why, what=what, parts=some_of(parts, 0))
