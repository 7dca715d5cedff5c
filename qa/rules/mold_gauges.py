"""What the fits of a mold have in common by the instruments that read them.

Where one instrument read all or most of a kind at a place, what its zero is off is the
same of nearly every part there, and passes for the mold's, or for what molds of one
plug share. How far it may be off is told by its budget, twice what is common there;
where none tells what is common, it may be all of its uncertainty.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from qa.models import Check, Kind
from qa.numeric.tool.estimate import Alike
from qa.rules.mold_fits import FirstFit
from shop.numeric.units import to_mm

K = 2  # about 95 %


@dataclass(frozen=True)
class OneGauge:
    """An instrument that read more than half of a kind at the places of some rows, and
    how far it may be off alike; None where nothing is known of its uncertainty.
    `budget`: whether that is by its budget; `everywhere`: whether those are all the
    places that were read."""

    kind: str
    code: str
    most_nm: int | None
    budget: bool
    rows: frozenset[int]
    everywhere: bool

    @property
    def alike(self) -> Alike:
        return Alike(self.kind, self.rows, to_mm(self.most_nm or 0))

    def kept(self, labels: Sequence[str]) -> list:
        """As a record keeps it; no places where it is all of them."""
        places = [] if self.everywhere else [labels[row] for row in sorted(self.rows)]
        return [str(self.kind), self.code, self.most_nm, self.budget, places]


def one_gauges(fits: Iterable[FirstFit]) -> tuple[OneGauge, ...]:
    """By kind; none of a place of which no one read most, or where it is not on record
    which. What others read of it hardly moves the mean, so its zero is not halved by
    them; where each read as much, zeros are one of what parts differ by."""
    fits, gauges = list(fits), []
    for kind in Kind.values:
        at: dict[int, list[tuple[FirstFit, Check]]] = {}
        for fit in fits:
            for (row, of), check in fit.by.items():
                if of == kind:
                    at.setdefault(row, []).append((fit, check))
        rows: dict[int, set[int]] = {}
        for row, by in at.items():
            share = Counter(check.instrument_id for _fit, check in by)
            most_read, times = share.most_common(1)[0]
            if most_read is not None and 2 * times > len(by):
                rows.setdefault(most_read, set()).add(row)
        for most_read, own in rows.items():
            read = {
                check.pk: (check, fit.zeros.get(check.pk))
                for row in own
                for fit, check in at[row]
                if check.instrument_id == most_read
            }
            every = len(own) == len(at)
            gauges.append(OneGauge(kind, *_may_be_off(read), frozenset(own), every))
    return tuple(gauges)


def _may_be_off(read: dict) -> tuple[str, int | None, bool]:
    """(code, nm that its zero may be off by any of these checks, whether by budgets)
    of an instrument. read: (check, its zero) by check."""
    code = next(iter(read.values()))[0].instrument.code
    by_budget = all(zero.common_nm is not None for _check, zero in read.values())
    each = (
        check.u_nm if zero.common_nm is None else zero.common_nm
        for check, zero in read.values()
    )
    known = [nm for nm in each if nm is not None]
    return code, K * max(known) if known else None, by_budget
