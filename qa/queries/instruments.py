"""Instruments for lists."""

from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import (
    Calibration,
    GaugeBudget,
    Instrument,
)
from qa.numeric.measuring.budget import Combined
from qa.rules import gauges
from qa.rules.gauge_budgets import combined, judged_nm
from qa.rules.measured_off import MeasuredOff, measured_while_off
from qa.wording import lengths
from shop.numeric.units import MILLI, to_nm
from shop.queries.paging import search


def instruments(*, words="") -> QuerySet[Instrument]:
    return search(Instrument.objects.order_by("code"), words, "code", "name", "kind")


@dataclass(frozen=True)
class InstrumentRow:
    pk: int
    code: str
    name: str
    kind: str
    uncertainty: str
    base: str
    due: date | None
    overdue: bool
    found_off: bool
    state: str
    state_label: str


def instrument_row(instrument: Instrument) -> InstrumentRow:
    base = ""
    if instrument.foot_1_nm is not None and instrument.foot_2_nm is not None:
        base = lengths.length(abs(instrument.foot_2_nm - instrument.foot_1_nm), "mm", 1)
    return InstrumentRow(
        pk=instrument.pk,
        code=instrument.code,
        name=instrument.name,
        kind=instrument.kind,
        uncertainty=lengths.length(instrument.u_nm, "mm", 3)
        if instrument.u_nm
        else "not known",
        base=base,
        due=instrument.due,
        overdue=bool(instrument.due and instrument.due < timezone.localdate()),
        found_off=instrument.found_off_on is not None,
        state=instrument.status,
        state_label=instrument.get_status_display(),
    )


@dataclass(frozen=True)
class BudgetLine:
    name: str
    value: str
    share: str


@dataclass(frozen=True)
class InstrumentPage:
    """Everything on record of an instrument; lengths as texts."""

    instrument: Instrument
    uncertainty: str
    resolution: str
    reach: str
    base: str
    doubts: list[str]
    calibrations: list[Calibration]
    budget: GaugeBudget | None
    lines: list[BudgetLine]
    expanded: str
    judged: str
    off: MeasuredOff
    unit: str

    def error_of(self, calibration: Calibration) -> str:
        return (
            ""
            if calibration.error_nm is None
            else _fine(calibration.error_nm, self.unit)
        )

    @property
    def history(self) -> list[tuple[Calibration, str]]:
        return [
            (calibration, self.error_of(calibration))
            for calibration in self.calibrations
        ]


def instrument_page(instrument: Instrument, unit: str) -> InstrumentPage:
    """A constant number of statements."""
    calibrations = list(instrument.calibrations.select_related("entry__by"))
    newest = instrument.budgets.select_related("entry__by").first()
    objected = gauges.objections(gauges.standing_now(instrument), gauges.rules_now())
    ends = (instrument.range_low_nm, instrument.range_high_nm)
    row = instrument_row(instrument)
    return InstrumentPage(
        instrument=instrument,
        uncertainty=_fine(instrument.u_nm, unit) if instrument.u_nm else "",
        resolution=_fine(instrument.resolution_nm, unit)
        if instrument.resolution_nm
        else "",
        reach="" if ends == (None, None) else lengths.limits(*ends, unit),
        base=row.base,
        doubts=[why for why, _refused in objected],
        calibrations=calibrations,
        budget=newest,
        lines=budget_lines(newest.rows, unit) if newest else [],
        expanded=_expanded(newest, unit) if newest else "",
        judged=_judged(newest, unit) if newest else "",
        off=measured_while_off(instrument),
        unit=unit,
    )


def _fine(nm: int, unit: str) -> str:
    return lengths.length(nm, unit, {"mm": 3, "in": 5}[unit])


def budget_lines(rows: list[dict], unit: str) -> list[BudgetLine]:
    """Lines as stated, each with its part in u squared."""
    combination = combined(rows)
    return [
        BudgetLine(row["name"], _fine(row["value_nm"], unit), f"{share:.0%}")
        for row, share in zip(rows, combination.shares, strict=True)
    ]


def _judged(budget: GaugeBudget, unit: str) -> str:
    """ "" for one of before verdicts went by its degrees of freedom."""
    return judged_by(combined(budget.rows), unit) if budget.judged_nm else ""


def judged_by(combination: Combined, unit: str) -> str:
    """What verdicts judge by, and the factor of a guard; "" where it is u itself."""
    if combination.df is None or judged_nm(combination) == to_nm(combination.u):
        return ""
    sentence = _(
        "Its standard uncertainty of %(u)s has %(df).1f effective degrees of freedom: "
        "a guard of 95 %% at a limit is k = %(k).2f of it (Student's t), not 1.64. "
        "Verdicts judge by %(judged)s: 1.64 times that is the same guard."
    )
    return sentence % {
        "u": _fine(to_nm(combination.u), unit),
        "df": combination.df,
        "k": combination.guard_k,
        "judged": _fine(judged_nm(combination), unit),
    }


def _expanded(budget: GaugeBudget, unit: str) -> str:
    sentence = f"{_fine(budget.expanded_nm, unit)}, k = {budget.k_e3 / MILLI:.2f}"
    combination = combined(budget.rows)
    if combination.df is None:
        return sentence
    sentence += f" of {combination.k_df} degrees of freedom"
    return f"{sentence} ({combination.df:.1f} effective)"
