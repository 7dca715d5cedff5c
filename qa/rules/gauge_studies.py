"""Gauge studies: the order of turns, whose is next, and what a whole study says."""

import random
from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.models import Calibration, GaugeBudget, GaugeStudy, StudyValue
from qa.numeric.measuring.budget import Combined
from qa.numeric.measuring.gauge import Study, gauge_study
from qa.rules.gauge_budgets import combined, unfounded
from shop.models import Person
from shop.numeric.units import to_mm, to_nm

TRIES = 200


def shuffled(people: list[int], places: list[str], repeats: int, seed) -> list[list]:
    """[person, place, repeat] of every turn: each person's own in a random order, no
    place twice in a row where that can be had."""
    source = random.Random(f"{seed}")  # noqa: S311 -- an order, no secret
    order = []
    for person in people:
        turns = [[person, place, n] for place in places for n in range(1, repeats + 1)]
        for _try in range(TRIES):
            source.shuffle(turns)
            pairs = zip(turns, turns[1:], strict=False)
            if all(turn[1] != two[1] for turn, two in pairs):
                break
        order += turns
    return order


@dataclass(frozen=True)
class Turn:
    """One value to be read: its number in the order, by whom, and where."""

    number: int
    person: int
    place: str
    repeat: int


@dataclass
class StudyState:
    """A study with the values that stand, by turn."""

    study: GaugeStudy
    turns: list[Turn]
    values: dict[int, StudyValue]

    @property
    def complete(self) -> bool:
        return len(self.values) == len(self.turns)

    def of(self, person: int) -> list[Turn]:
        return [turn for turn in self.turns if turn.person == person]

    def next_of(self, person: int) -> Turn | None:
        """The first turn of a person that was not read yet."""
        open_ones = (t for t in self.of(person) if t.number not in self.values)
        return next(open_ones, None)

    def read_by(self, person: int) -> int:
        return sum(turn.number in self.values for turn in self.of(person))

    def says(self, names: dict[int, str]) -> Study | None:
        """What the study says, in mm; None before it is complete: values stay hidden
        from who still measures."""
        if not self.complete:
            return None
        width = self.study.tolerance_nm
        return gauge_study(
            [turn.place for turn in self.turns],
            [names[turn.person] for turn in self.turns],
            [to_mm(self.values[turn.number].value_nm) for turn in self.turns],
            tolerance=None if width is None else to_mm(width),
        )


def state_of(study: GaugeStudy) -> StudyState:
    """One statement."""
    values = {}
    for value in study.values.select_related("entry").order_by("pk"):
        values[value.turn] = value
    turns = [Turn(number, *row) for number, row in enumerate(study.order)]
    return StudyState(study, turns, values)


def not_used(result: Study | None) -> str:
    """Why nobody judges by what a study found; "" where it can be."""
    if result is None or result.sd is None:
        return _("The study says nothing yet.")
    if not result.sd["gauge"]:
        return _("No spread was seen: the steps of the gauge hide it. Read finer.")
    return ""


@dataclass(frozen=True)
class StudyBudget:
    """What the uncertainty of an instrument becomes by a study: the lines of its
    budget, and what is judged by before (None: not known), nm, and then.

    before: the budget that was in force; None where the value was typed without one.
    certificate: what its calibration line is from, where that comes in by this.
    """

    rows: list[dict]
    was_nm: int | None
    becomes: Combined
    before: GaugeBudget | None
    certificate: Calibration | None

    @property
    def calibrated(self) -> bool:
        return any(row["name"] == "calibration" for row in self.rows)

    @property
    def unfounded(self) -> bool:
        return unfounded(self.rows, self.was_nm)


def budget_by(study: GaugeStudy, result: Study) -> StudyBudget:
    """What a study found in place of repeatability and operator, the last certificate
    that states an uncertainty as calibration, the others as they were stated last."""
    gauge = study.instrument
    newest = gauge.budgets.select_related("entry").first()
    certificate = _certificate_since(gauge, newest)
    rows = _lines_by(study, result, newest)
    if certificate:
        line = {"value_nm": certificate.expanded_nm, "k_e3": certificate.k_e3}
        rows = [row for row in rows if row["name"] != "calibration"]
        rows.append({"name": "calibration", "kind": "expanded", **line})
    in_force = newest if newest and newest.judges_nm == gauge.u_nm else None
    becomes = combined(rows)
    return StudyBudget(rows, gauge.u_nm, becomes, in_force, certificate)


def _certificate_since(gauge, newest: GaugeBudget | None) -> Calibration | None:
    """The last certificate that states an uncertainty, unless a calibration line was
    stated after it came."""
    stated = gauge.calibrations.filter(expanded_nm__gt=0).select_related("entry")
    last = stated.first()
    if last is None or newest is None:
        return last
    named = any(row["name"] == "calibration" for row in newest.rows)
    if named and newest.entry.received_at >= last.entry.received_at:
        return None
    return last


def _lines_by(
    study: GaugeStudy, result: Study, newest: GaugeBudget | None
) -> list[dict]:
    studied = ("repeatability", "operator")
    rows = [row for row in newest.rows if row["name"] not in studied] if newest else []
    resolution = study.instrument.resolution_nm
    if not newest and resolution:
        rows.append(
            {"name": "resolution", "kind": "resolution", "value_nm": resolution}
        )
    degrees = {row.source: row.df for row in result.anova}
    repeats = degrees["repeatability"]
    if result.pooled:
        repeats += degrees["part_x_person"]
    lines = (
        ("repeatability", "repeats", result.sd["repeatability"], repeats),
        ("operator", "sd", result.sd["reproducibility"], degrees["person"]),
    )
    for name, kind, sd, df in lines:
        if to_nm(sd):
            rows.append({"name": name, "kind": kind, "value_nm": to_nm(sd), "df": df})
    return rows


def names_of(people: list[Person]) -> dict[int, str]:
    """Names by key, each another."""
    names: dict[int, str] = {}
    for person in people:
        name = person.name
        if name in names.values():
            name = f"{name} ({person.username})"
        names[person.pk] = name
    return names
