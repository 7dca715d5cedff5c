"""What the fits of a mold have in common by the instrument that read them.

Where one instrument read all or most of a kind, what its zero is off is the same at
nearly every place of every part, and passes for the mold's, or for what molds of one
plug share. How far it may be off is told by its budget, twice what is common there;
where none tells what is common, it may be all of its uncertainty.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from qa.models import Kind
from qa.rules.mold_fits import FirstFit
from shop.numeric.units import to_mm

K = 2  # about 95 %


@dataclass(frozen=True)
class OneGauge:
    """The instrument that read more than half of a kind, and how far it may be off
    alike; None where nothing is known of its uncertainty. `budget`: whether that is by
    its budget."""

    kind: str
    code: str
    most_nm: int | None
    budget: bool

    @property
    def kept(self) -> list:
        return [str(self.kind), self.code, self.most_nm, self.budget]


def one_gauges(fits: Iterable[FirstFit]) -> tuple[OneGauge, ...]:
    """By kind; none where no one read most of it, or where it is not on record which.
    What others read of it hardly moves the mean, so its zero is not halved by them."""
    fits, found = list(fits), []
    for kind in Kind.values:
        by = [(fit, c) for fit in fits for (_r, of), c in fit.by.items() if of == kind]
        share = Counter(check.instrument_id for _fit, check in by)
        most_read, times = next(iter(share.most_common(1)), (None, 0))
        if most_read is None or 2 * times <= len(by):
            continue
        read = {
            check.pk: (check, fit.zeros.get(check.pk))
            for fit, check in by
            if check.instrument_id == most_read
        }
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
    by_kind = {gauge.kind: to_mm(gauge.most_nm or 0) for gauge in gauges}
    gap, flush = (by_kind.get(kind, 0.0) for kind in (Kind.GAP, Kind.FLUSH))
    return gap, flush


def from_record(content: dict) -> tuple[OneGauge, ...]:
    return tuple(OneGauge(*kept) for kept in content.get("gauges", ()))
