"""What taking a study into the uncertainty changes, told before it is done."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.models import GaugeBudget, GaugeStudy
from qa.numeric.measuring.gauge import Study
from qa.queries.instruments import BudgetLine, budget_lines, judged_by
from qa.rules.gauge_studies import StudyBudget, budget_by
from qa.wording import lengths
from shop.numeric.units import to_nm

FINE = {"mm": 3, "in": 5}


@dataclass(frozen=True)
class BudgetChange:
    """Before and after as sentences. consent: what has to be ticked, or ""."""

    before: str
    after: str
    judged: str
    calibration: str
    consent: str
    lines: list[BudgetLine]


def budget_change(study: GaugeStudy, study_result: Study, unit: str) -> BudgetChange:
    """Three statements."""
    budget = budget_by(study, study_result)
    becomes = lengths.length(to_nm(budget.becomes.u), unit, FINE[unit])
    return BudgetChange(
        before=_before(budget, unit),
        after=_("Then: standard uncertainty %(u)s, of these lines:") % {"u": becomes},
        judged=judged_by(budget.becomes, unit),
        calibration=_calibration(budget),
        consent=_("It becomes smaller although nothing says how far off the gauge "
                  "itself is; what is judged by it is judged more leniently. That is "
                  "meant.") if budget.unfounded else "",
        lines=budget_lines(budget.rows, unit),
    )  # fmt: skip


def _before(budget: StudyBudget, unit: str) -> str:
    if budget.was_nm is None:
        return _("Until now: not known.")
    values = {"u": lengths.length(budget.was_nm, unit, FINE[unit])}
    if budget.before is None:
        sentence = _("Until now: standard uncertainty %(u)s, stated as a whole, with "
                     "no lines.")  # fmt: skip
        return sentence % values
    values |= {"lines": _names(budget.before), "day": _day(budget.before)}
    sentence = _("Until now: judged by %(u)s, of %(lines)s (%(day)s).")
    return sentence % values


def _names(budget: GaugeBudget) -> str:
    return ", ".join(row["name"] for row in budget.rows)


def _day(row) -> str:
    return f"{row.entry.received_at:%Y-%m-%d}"


def _calibration(budget: StudyBudget) -> str:
    if budget.certificate:
        named = budget.certificate
        values = {"by": named.laboratory, "day": named.done_on}
        sentence = _("Calibration by the certificate of %(by)s, %(day)s.")
        return sentence % values
    if budget.calibrated:
        return _("Calibration as it was stated before.")
    return _("Calibration is not among them: no certificate on record states an "
             "uncertainty.")  # fmt: skip
