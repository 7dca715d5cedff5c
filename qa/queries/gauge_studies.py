"""Gauge studies for their list and their pages; nothing of the values before all are
read."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, QuerySet
from django.utils.translation import gettext as _

from qa.drawing import bounds_chart, study_plot, svg
from qa.drawing.bounds_chart import Bar, BoundsSheet
from qa.drawing.scene import Scene
from qa.drawing.study_plot import PersonValues, StudySheet
from qa.models import GaugeRules, GaugeStudy, Instrument
from qa.numeric.measuring.gauge import Study
from qa.numeric.measuring.gauge_advice import advice
from qa.queries.study_budgets import BudgetChange, budget_change
from qa.rules import gauge_studies as rules
from qa.rules import gauges
from qa.rules.gauge_doubts import StudyDoubt, off_words, study_doubts
from qa.rules.gauge_due import overdue, overdue_words
from qa.rules.gauge_studies import StudyState
from qa.wording import lengths
from qa.wording.measuring import remark, remarks
from shop.models import Person
from shop.numeric.units import MM_PER_IN, to_mm, to_nm

PARTS = {
    "repeatability": "repeatability",
    "reproducibility": "reproducibility",
    "person": "between people",
    "part_x_person": "people differ by place",
    "gauge": "gauge in all",
    "part": "places",
    "total": "total",
}
DRAWN = ("repeatability", "reproducibility", "gauge", "part")
FINER = {"mm": 4, "in": 5}


def studies() -> QuerySet[GaugeStudy]:
    rows = GaugeStudy.objects.select_related("instrument", "entry__by")
    rows = rows.annotate(turns_read=Count("values__turn", distinct=True))
    return rows.order_by("-number")


@dataclass(frozen=True)
class StudyRow:
    study: GaugeStudy
    turns: int
    read: int

    @property
    def state(self) -> str:
        if self.read == self.turns:
            return "done"
        return "in_progress" if self.read else "not_started"


def study_row(gauge_study: GaugeStudy) -> StudyRow:
    return StudyRow(gauge_study, len(gauge_study.order), gauge_study.turns_read)


@dataclass(frozen=True)
class Member:
    person: Person
    read: int
    turns: int

    @property
    def done(self) -> bool:
        return self.read == self.turns


@dataclass(frozen=True)
class AnovaRow:
    name: str
    df: int
    ss: str
    ms: str
    f: str
    p: str


@dataclass(frozen=True)
class PartRow:
    name: str
    sd: str
    bounds: str
    by_ranges: str


@dataclass(frozen=True)
class Finding:
    """What a whole study says, as texts; `problem` where it says nothing, `not_used`
    why nobody can judge by it."""

    problem: str
    not_used: str
    anova: list[AnovaRow]
    parts: list[PartRow]
    shares: list[tuple[str, str]]
    advice: list[str]
    values: Scene | None
    spread: Scene | None
    head: list[str]
    table: list[tuple[str, list[str]]]

    @property
    def values_svg(self) -> str:
        return svg.render(self.values, prefix="values") if self.values else ""

    @property
    def spread_svg(self) -> str:
        return svg.render(self.spread, prefix="spread") if self.spread else ""


@dataclass(frozen=True)
class StudyPage:
    study: GaugeStudy
    unit: str
    members: list[Member]
    tolerance: str
    finding: Finding | None
    change: BudgetChange | None
    doubt: str
    refused: bool
    read_at: datetime | None

    @property
    def title(self) -> str:
        return f"{self.study.label}, {self.study.instrument.code}"


def study_page(study: GaugeStudy, unit: str) -> StudyPage:
    """A constant number of statements."""
    people = [member.person for member in study.members.select_related("person")]
    state = rules.state_of(study)
    names = rules.names_of(people)
    members = [
        Member(person, state.read_by(person.pk), len(state.of(person.pk)))
        for person in people
    ]
    result = state.says(names)
    width = study.tolerance_nm
    return StudyPage(
        study=study,
        unit=unit,
        members=members,
        tolerance="" if width is None else lengths.length(width, unit),
        finding=_finding(state, result, names, unit) if result else None,
        change=None if rules.not_used(result) else budget_change(study, result, unit),
        doubt=_doubt(state),
        refused=not state.complete and bool(gauges.refusal(study.instrument)),
        read_at=max(
            (value.entry.received_at for value in state.values.values()), default=None
        ),
    )


def _doubt(state: StudyState) -> str:
    """That its gauge is in doubt, or was when values of it were read, and how many: it
    stays so when the gauge is in use again."""
    values, gauge = list(state.values.values()), state.study.instrument
    doubts = [] if state.complete else instrument_doubts(gauge)
    doubts += [_of(doubt, len(values)) for doubt in study_doubts(values)]
    late: dict[str, int] = {}
    for late_value in overdue(values).values():
        words = overdue_words(gauge.code, late_value)
        late[words] = late.get(words, 0) + 1
    return " ".join(
        doubts + [_holds_for(words, n, len(values)) for words, n in late.items()]
    )


def _of(doubt: StudyDoubt, of: int) -> str:
    words = off_words(doubt.by)
    if doubt.good:
        good = _("it was found good on %(day)s (%(by)s) since: what it read holds")
        values = {"day": doubt.good.done_on, "by": doubt.good.laboratory}
        words = f"{words}; {good % values}"
    return _holds_for(words, len(doubt.values), of)


def _holds_for(words: str, count: int, of: int) -> str:
    sentence = _("%(words)s. That holds for %(count)s of %(all)s values here.")
    values = {"words": f"{words[:1].upper()}{words[1:]}", "count": count, "all": of}
    return sentence % values


def instrument_doubts(instrument: Instrument) -> list[str]:
    """Why it is in doubt now, in sentences; no statement."""
    standing = gauges.standing_now(instrument)
    return [why for why, _refused in gauges.objections(standing, GaugeRules())]


def _finding(state: StudyState, result: Study, names, unit: str) -> Finding:
    cells = _cells(state, names)
    table = [
        (
            place,
            [", ".join(_text(v, unit) for v in cells[name][place]) for name in cells],
        )
        for place in state.study.places
    ]
    not_used = rules.not_used(result)
    values = {"head": list(cells), "table": table, "not_used": not_used}
    if result.sd is None:
        problem = str(remark(result.why))
        nothing = {"anova": [], "parts": [], "shares": [], "advice": []}
        drawn = {"values": None, "spread": None}
        return Finding(problem=problem, **nothing, **drawn, **values)
    return Finding(
        problem="",
        anova=[_anova(row) for row in result.anova],
        parts=[_part(result, name, unit) for name in PARTS],
        shares=_shares(result),
        advice=[
            str(remark(code)) for code in advice(result) if code.code != "good_for"
        ] + _good_for(result, unit) + [f"{note}." for note in remarks(result.notes)],
        values=_values_scene(state, cells, unit),
        spread=_spread_scene(state, result, unit),
        **values,
    )  # fmt: skip


def _cells(state: StudyState, names) -> dict[str, dict[str, list[int]]]:
    """nm by person and place, in the order of the repeats."""
    cells = {
        name: {place: [] for place in state.study.places} for name in names.values()
    }
    for turn in sorted(state.turns, key=lambda turn: turn.repeat):
        nm = state.values[turn.number].value_nm
        cells[names[turn.person]][turn.place].append(nm)
    return cells


def _text(nm: int, unit: str) -> str:
    return lengths.number(nm, unit, {"mm": 3, "in": 4}[unit])


def _mm(value: float | None, unit: str) -> str:
    return "" if value is None else lengths.mm(value, unit, FINER[unit])


def _good_for(study: Study, unit: str) -> list[str]:
    """The limits that it is good for, in the reader's unit."""
    for code in advice(study):
        if code.code == "good_for":
            values = {
                name: mm if unit == "mm" else mm / MM_PER_IN
                for name, mm in code.values.items()
            }
            words = remark(type(code)(code.code, values)) or ""
            sentence = {"unit": unit, "words": f"{words[:1].lower()}{words[1:]}"}
            return [_("In %(unit)s: %(words)s") % sentence]
    return []


def _anova(row) -> AnovaRow:
    def figure(value: float | None) -> str:
        return "" if value is None else f"{value:.4g}"

    name = row.source.replace("_x_", " x ").replace("part", "place")
    return AnovaRow(
        name, row.df, figure(row.ss), figure(row.ms), figure(row.f), figure(row.p)
    )


def _part(study: Study, name: str, unit: str) -> PartRow:
    bounds = study.intervals.get(name)
    between = ""
    if bounds:
        low, high = (lengths.number(to_nm(b), unit, FINER[unit]) for b in bounds)
        between = f"{low} to {high}"
    ranges = study.range_method.sd.get(name) if study.range_method else None
    return PartRow(PARTS[name], _mm(study.sd[name], unit), between, _mm(ranges, unit))


def _shares(study: Study) -> list[tuple[str, str]]:
    lines = []
    if study.share_of_total is not None:
        lines.append(("Share of all that varies", f"{study.share_of_total:.1%}"))
    if study.share_of_tolerance is not None:
        lines.append(("Share of the limits, 6 sd", f"{study.share_of_tolerance:.1%}"))
    lines.append(("Groups that it tells apart", str(study.distinct_categories or "–")))
    return lines


def _values_scene(state: StudyState, cells, unit: str):
    per = 1.0 if unit == "mm" else MM_PER_IN
    people = tuple(
        PersonValues(
            name,
            tuple(tuple(to_mm(nm) / per for nm in cells[name][place]) for place in own),
        )
        for name, own in cells.items()
    )
    title = f"{state.study.label}, {state.study.what}: values by place, means by person"
    return study_plot.build(StudySheet(title, unit, tuple(state.study.places), people))


def _spread_scene(state: StudyState, study: Study, unit: str):
    per = 1.0 if unit == "mm" else MM_PER_IN
    bars = []
    for name in DRAWN:
        low, high = study.intervals.get(name) or (None, None)
        numbers = (study.sd[name], low, high)
        scaled = (None if number is None else number / per for number in numbers)
        bars.append(Bar(PARTS[name], *scaled))
    title = f"{state.study.label}: standard deviations with 95 % bounds"
    words = "dot: standard deviation; bar: its 95 % bounds"
    panels = (("standard deviation", tuple(bars)),)
    return bounds_chart.build(BoundsSheet(title, unit, 0.0, panels, words))
