"""Neighboring failing stations as items that a builder can work on.

A run is of one kind, follows the order of the rows, wraps round on a closed seam, and
ends at any station that does not fail in that kind (one not measured, too).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What is wrong with the stations of a finding, in the order findings are told."""

    GAP_TIGHT = "gap_tight"
    GAP_WIDE = "gap_wide"
    FLUSH_PROUD = "flush_proud"
    FLUSH_LOW = "flush_low"


GAP_KINDS = (Kind.GAP_TIGHT, Kind.GAP_WIDE)
FLUSH_KINDS = (Kind.FLUSH_LOW, Kind.FLUSH_PROUD)
BELOW = (Kind.GAP_TIGHT, Kind.FLUSH_LOW)  # beyond the lower limit


@dataclass(frozen=True)
class Finding:
    """A run of failing stations: rows from 0 in the order of the run; the worst of them
    (the first when several are) and by how much it is beyond its limit, in nm,
    positive."""

    kind: Kind
    rows: tuple[int, ...]
    worst_row: int
    worst_nm: int


def group(
    gap: Sequence[int | None], flush: Sequence[int | None], *, closed: bool
) -> tuple[Finding, ...]:
    """Findings from the deviations in nm of the results that do not conform.

    One entry per row, negative below the lower limit; None for a result that does not
    fail. Each failing result is in exactly one finding. In the order of Kind, then
    along the seam. ValueError when the two differ in length or a failing result
    deviates by 0.
    """
    if len(gap) != len(flush):
        raise ValueError("gap and flushness must have one entry per row each")
    if 0 in gap or 0 in flush:
        raise ValueError("a result that does not conform lies beyond a limit")
    findings = []
    for deviations, (below, above) in ((gap, GAP_KINDS), (flush, FLUSH_KINDS)):
        for kind, sign in ((below, -1), (above, 1)):
            failing = [value is not None and value * sign > 0 for value in deviations]
            for rows in runs(failing, closed=closed):
                worst = max(rows, key=lambda row: abs(deviations[row]))
                findings.append(Finding(kind, rows, worst, abs(deviations[worst])))
    order = list(Kind)
    return tuple(
        sorted(findings, key=lambda group: (order.index(group.kind), group.rows[0]))
    )


def runs(failing: Sequence[bool], *, closed: bool) -> list[tuple[int, ...]]:
    """Rows of each unbroken run of True, in the order of where the runs start.

    On a closed seam the last row neighbors the first; a seam that fails all round is
    one run from its first row.
    """
    groups: list[list[int]] = []
    for row, fails in enumerate(failing):
        if not fails:
            continue
        if row and failing[row - 1]:
            groups[-1].append(row)
        else:
            groups.append([row])
    if closed and len(groups) > 1 and failing[0] and failing[-1]:
        groups[-1] += groups.pop(0)
    return [tuple(rows) for rows in groups]
