"""What to do to a mold, neighbors together, and what is left, in words."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from qa.numeric.tool.estimate import Advice, ToolReport, ToolValue
from qa.numeric.tool.least_squares import Why
from qa.wording import lengths
from qa.wording.tools import ADVICE, KINDS, NOTHING, some_of
from shop.numeric.units import to_nm

OF_PLUG = "of the plug"
LEAVE_ALL = "Leave the mold as it is."
LEAVE_SOME = (
    "Leave the mold as it is in {left}. Of {untold} nothing can be told: that is no "
    "word for leaving it."
)
LEAVE_REST = "Leave the rest as it is."
LEAVE_OTHERS = (
    "Leave {left} as it is. Of {untold} nothing can be told: that is no word for "
    "leaving it."
)
UNTOLD_REST = "Of {untold} nothing can be told: that is no word for leaving it."
UNTOLD_ALL = "Cannot tell yet."


@dataclass(frozen=True)
class Values:
    """Values of a record, as a report has them."""

    gap: list[ToolValue]
    flush: list[ToolValue]

    @property
    def values(self) -> list[ToolValue]:
        return self.gap + self.flush


def advice_lines(
    report: ToolReport | Values,
    labels: Sequence[str],
    unit: str = "mm",
    of_plug: Collection[tuple[str, str]] = (),
) -> list[str]:
    """What to do, neighbors together: "Cut line in at 10 to 12: by 0.95 to 1.10 mm".
    of_plug: labels and kinds that are the plug's, which is said."""
    lines = []
    for kind in KINDS:
        values = getattr(report, kind)
        plugs = [(label, kind) in of_plug for label in labels]
        for rows in _runs(values, plugs):
            done = [values[row] for row in rows]
            sizes = sorted(to_nm(abs(value.correction_mm)) for value in done)
            words = ADVICE[done[0].advice]
            at = _stretch([labels[row] for row in rows])
            least, most = (lengths.number(size, unit) for size in (sizes[0], sizes[-1]))
            by = most if least == most else f"{least} to {most}"
            whose = f", {OF_PLUG}" if plugs[rows[0]] else ""
            lines.append(
                f"{words[:1].upper()}{words[1:]} at {at}: by {by} {unit}{whose}"
            )
    return lines


def rest_words(report: ToolReport | Values, labels: Sequence[str]) -> str:
    """What is left, and of what nothing can be told, beside `advice_lines`; "" where
    something is to be done everywhere."""
    left = _places(report, labels, {Advice.LEAVE})
    untold = _places(report, labels, {Advice.CANNOT_TELL})
    does = any(value.advice not in NOTHING for value in report.values)
    if not untold:
        return (LEAVE_REST if does else LEAVE_ALL) if left else ""
    if not left:
        return UNTOLD_REST.format(untold=untold) if does else UNTOLD_ALL
    words = LEAVE_OTHERS if does else LEAVE_SOME
    return words.format(left=left, untold=untold)


def _places(
    report: ToolReport | Values, labels: Sequence[str], advice: set[Advice]
) -> str:
    """Where this is the advice: "gap at 1, 2 or flushness at any station". What has no
    limits is no part of what could be told."""
    places = []
    for kind, name in KINDS.items():
        values = zip(labels, getattr(report, kind), strict=True)
        where = [
            label
            for label, value in values
            if value.advice in advice and value.why != Why.NO_LIMITS
        ]
        if where:
            places.append(f"{name} at {some_of(where, len(labels))}")
    return " and ".join(places)


def _runs(values: Sequence[ToolValue], plugs: Sequence[bool]) -> list[list[int]]:
    """Rows of neighbors with one advice to do something to one thing."""
    runs: list[list[int]] = []
    for row, value in enumerate(values):
        if value.advice in NOTHING:
            continue
        before = runs[-1][-1] if runs else None
        if before == row - 1 and (values[before].advice, plugs[before]) == (
            value.advice,
            plugs[row],
        ):
            runs[-1].append(row)
        else:
            runs.append([row])
    return runs


def _stretch(labels: Sequence[str]) -> str:
    return labels[0] if len(labels) == 1 else f"{labels[0]} to {labels[-1]}"
