"""Gauge studies of the demo: one that is told, one under way."""

from qa.actions import gauge_studies
from qa.models import Instrument
from qa.rules import gauge_studies as rules
from shop.demo.times import mm
from shop.numeric.units import format_length, to_nm

PLACES = {"mm": 2, "in": 4}


def load(crew) -> None:
    emil = crew["emil"]
    people = [crew[name] for name in ("bea", "tomas", "lena")]
    places = [str(n) for n in range(1, 11)]
    common = {"by": emil, "people": people, "repeats": 3, "places": places}
    done = gauge_studies.plan_study(
        **common,
        instrument=Instrument.objects.get(code="TG-1"),
        what="gap of J-101 on MG2-001",
        tolerance_nm=mm("1.5").amount,
    )
    _read(done, crew["bea"], [person.pk for person in people], 90)
    begun = gauge_studies.plan_study(
        **common,
        instrument=Instrument.objects.get(code="SG-1"),
        what="step of J-101 on MG2-001",
        note="hinged and latched, the door stays shut",
    )
    _read(begun, crew["bea"], [person.pk for person in people], 17, "in")


def _read(study, by, people: list[int], count: int, unit: str = "mm") -> None:
    for turn in rules.state_of(study).turns[:count]:
        place, who = int(turn.place), people.index(turn.person)
        wave = (7 * place + 5 * who + 11 * turn.repeat + place * who) % 9 - 4
        value = 1.75 + 0.15 * ((3 * place) % 7 - 3) + 0.03 * who + 0.02 * wave
        replaced = None
        if turn.number == 0:
            turn_read = {"by": by, "study": study, "turn": 0, "unit": unit}
            replaced = gauge_studies.record_value(**turn_read, value="17.5")
        gauge_studies.record_value(
            by=by,
            study=study,
            turn=turn.number,
            value=format_length(to_nm(value), unit, PLACES[unit]),
            unit=unit,
            supersedes=replaced,
            reason="the point was forgotten" if replaced else "",
        )
