"""What the readings of a plan have in common: the zeros of the instruments.

Of the budget of an instrument its calibration, the temperature and the base it stands
on are off alike at every reading of a kind; resolution, repeatability and operator are
each reading's own.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from qa.models import Check, GaugeBudget, Kind
from qa.rules.gauge_budgets import standard
from qa.rules.staleness import Value
from shop.numeric.units import to_mm, to_nm

COMMON = ("expanded", "half_width")
MOST = 0.99  # of an uncertainty: no reading is without an error of its own


@dataclass(frozen=True)
class GaugeZero:
    """An instrument that readings of a plan were made with, and what of its standard
    uncertainty they share; None where no budget tells it. A record keeps no key."""

    key: int | None
    code: str
    common_nm: int | None


def zeros_of(by_key: dict[int, Check]) -> dict[int, GaugeZero]:
    """The zero of the instrument of each check that had one, by the check's key. It is
    of the budget that the check was begun by; one statement."""
    checks = [check for check in by_key.values() if check.instrument_id]
    budgets = (
        GaugeBudget.objects.filter(
            instrument__in={check.instrument_id for check in checks}
        )
        .select_related("entry")
        .order_by("pk")
    )
    stated: dict[int, list[GaugeBudget]] = {}
    for budget in budgets:
        stated.setdefault(budget.instrument_id, []).append(budget)
    zeros = {}
    for check in checks:
        own = stated.get(check.instrument_id, [])
        before = [b for b in own if b.entry.pk < check.entry.pk]
        held = before[-1] if before and before[-1].judges_nm == check.u_nm else None
        common = _common_nm(held) if held else None
        zeros[check.pk] = GaugeZero(check.instrument_id, check.instrument.code, common)
    return zeros


def _common_nm(budget: GaugeBudget) -> int:
    parts = [standard(row) for row in budget.rows if row["kind"] in COMMON]
    return to_nm(math.hypot(*parts))


def told_apart(zeros: Iterable[GaugeZero]) -> list[GaugeZero]:
    """Each instrument once, with the greatest part in common that is told of it."""
    apart: dict[int, GaugeZero] = {}
    for zero in zeros:
        known = apart.setdefault(zero.key, zero)
        if (zero.common_nm or 0) > (known.common_nm or 0):
            apart[zero.key] = zero
    return sorted(apart.values(), key=lambda zero: zero.code)


def common_mm(zeros: Iterable[GaugeZero], u_nm: int) -> float:
    """The part in common that a plan counts with: the greatest, but less than the
    uncertainty of a reading."""
    most = max((zero.common_nm or 0 for zero in zeros), default=0)
    return to_mm(min(most, math.floor(MOST * u_nm)))


def numbers(
    values: dict[tuple[str, str], Value],
    labels: Sequence[str],
    zeros: dict[int, GaugeZero],
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Which zero the gap, and the flushness, of each station have in common with other
    readings: the key of the instrument, -1 where nothing is told of it."""

    def of(label: str, kind: str) -> int:
        value = values.get((label, kind))
        zero = value and zeros.get(value.check.pk)
        return zero.key if zero and zero.common_nm else -1

    gaps, flushes = (
        tuple(of(label, kind) for label in labels) for kind in (Kind.GAP, Kind.FLUSH)
    )
    return gaps, flushes
