"""What a mold is told by: one gauge that may be off, gauges that were found off."""

from collections.abc import Sequence

from qa.wording import lengths
from qa.wording.tools import KINDS, some_of

ONE_GAUGE = (
    "All or most of {kinds} was read with {code}. Its zero may be off by up to {most} "
    "({how}): what of that no seating takes out is told with the mold, so that the "
    "mold and its plug are named only for what is beyond it."
)
BY_BUDGET = "by its budget, twice what its readings have in common"
BY_ALL = "twice its uncertainty, since no budget tells what its readings have in common"
NOT_KNOWN = (
    "All or most of {kinds} was read with {code}, of which no uncertainty is on "
    "record: what its zero is off is told with the mold, and with its plug."
)
DOUBT = (
    "{why}. It read {parts}: read them again with another gauge before you go by this."
)


def sentences(
    gauges: Sequence[tuple[str, str, int | None, bool]], unit: str
) -> list[str]:
    """gauges: (kind, code, nm that its zero may be off, whether by its budget), of the
    kinds that one gauge read all or most of."""
    kinds: dict[tuple[str, int | None, bool], list[str]] = {}
    for kind, *rest in gauges:
        kinds.setdefault(tuple(rest), []).append(KINDS[kind])
    told = []
    for (code, nm, by_budget), names in kinds.items():
        words = {"kinds": " and ".join(names), "code": code}
        if nm is None:
            told.append(NOT_KNOWN.format(**words))
            continue
        how = BY_BUDGET if by_budget else BY_ALL
        most = lengths.length(nm, unit)
        told.append(ONE_GAUGE.format(**words, most=most, how=how))
    return told


def doubt(why: str, parts: Sequence[str]) -> str:
    """parts: serials of those that a gauge in doubt read."""
    return DOUBT.format(why=why, parts=some_of(parts, 0))
