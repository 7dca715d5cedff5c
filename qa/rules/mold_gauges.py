"""What the fits of a mold have in common by the instrument that read them.

Where one instrument read all of a kind, what its zero is off is the same at every place
of every part, and passes for the mold's, or for what molds of one plug share. How far
it may be off is told by its budget, twice what is common there; where none tells what
is common, it may be all of its uncertainty.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from qa.models import Kind
from qa.rules.mold_fits import FirstFit
from shop.numeric.units import to_mm

K = 2  # about 95 %


@dataclass(frozen=True)
class OneGauge:
    """The instrument that read all of a kind, and how far it may be off alike; None
    where nothing is known of its uncertainty. `budget`: whether that is by its budget.
    """

    kind: str
    code: str
    most_nm: int | None
    budget: bool

    @property
    def kept(self) -> list:
        return [str(self.kind), self.code, self.most_nm, self.budget]


def one_gauges(fits: Iterable[FirstFit]) -> tuple[OneGauge, ...]:
    """By kind; none where several read it, or where it is not on record which."""
    found = []
    for kind in Kind.values:
        read = {
            check.pk: (check, fit.zeros.get(check.pk))
            for fit in fits
            for (_row, of), check in fit.by.items()
            if of == kind
        }
        names = {check.instrument_id for check, _zero in read.values()}
        if len(names) != 1 or None in names:
            continue
        code = next(iter(read.values()))[1].code
        by_budget = all(zero.common_nm is not None for _check, zero in read.values())
        most = [
            check.u_nm if zero.common_nm is None else zero.common_nm
            for check, zero in read.values()
        ]
        known = None if None in most else K * max(most)
        found.append(OneGauge(kind, code, known, by_budget))
    return tuple(found)


def alike_mm(gauges: Iterable[OneGauge]) -> tuple[float, float]:
    """How far gaps, and flushnesses, may be off alike."""
    by_kind = {one.kind: to_mm(one.most_nm or 0) for one in gauges}
    gap, flush = (by_kind.get(kind, 0.0) for kind in (Kind.GAP, Kind.FLUSH))
    return gap, flush


def from_record(content: dict) -> tuple[OneGauge, ...]:
    return tuple(OneGauge(*one) for one in content.get("gauges", ()))
