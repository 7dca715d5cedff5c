"""What is told of the openings that parts were tried in, in the words of a builder."""

from collections.abc import Sequence

from qa.numeric.tool.estimate import Advice, ToolReport
from qa.numeric.tool.openings import OpeningValue
from qa.wording import lengths
from qa.wording.tools import ADVICE, KINDS
from shop.numeric.units import to_nm

# What an opening does, by kind and by the way that it differs from the mean of all.
OPENING_DOES = {
    ("gap", 1): "open",
    ("gap", -1): "tight",
    ("flush", 1): "proud",
    ("flush", -1): "low",
}
OPENING_ALIKE = "alike"


def opening_word(value: OpeningValue, kind: str) -> str:
    """What an opening does at a place: "tight", "alike", or nothing that holds."""
    if value.low_mm is None:
        return ADVICE[Advice.CANNOT_TELL]
    return OPENING_DOES.get((kind, value.way), OPENING_ALIKE)


def opening_lines(
    report: ToolReport, labels: Sequence[str], unit: str = "mm"
) -> list[str]:
    """What each opening does beyond its bounds, "L1: gap tight at 9 by 0.31 mm", or
    that nothing does, of what can be told."""
    values = [v for place in report.apart.each for v in (*place.gap, *place.flush)]
    bounded = sum(value.low_mm is not None for value in values)
    if not bounded:
        return ["cannot be told"]
    lines = []
    for place in report.apart.each:
        effects = [
            f"{KINDS[kind]} {opening_word(value, kind)} at {label} by "
            f"{lengths.number(to_nm(abs(value.opening_mm)), unit)} {unit}"
            for kind in KINDS
            for label, value in zip(labels, getattr(place, kind), strict=True)
            if value.way
        ]
        if effects:
            lines.append(f"{place.name}: {', '.join(effects)}")
    of = "" if bounded == len(values) else f" ({bounded} of {len(values)} can be told)"
    return lines or [f"nothing beyond its bounds{of}"]
