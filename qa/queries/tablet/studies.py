"""Gauge studies under way, for a tablet: whose turn is where and which turns were
read; never what was read."""

from django.urls import reverse

from qa.models import GaugeRules, GaugeStudy, StudyPerson, StudyValue
from qa.rules import gauge_studies as rules
from qa.rules import gauges
from shop.models import Person

# A study stays under way for days; older ones are read at the desk.
MOST = 40


def studies_to_carry() -> list[dict]:
    """Those of which a turn is left, newest first: three statements."""
    newest = GaugeStudy.objects.select_related("instrument", "joint").order_by(
        "-number"
    )
    carried = list(newest[:MOST])
    read: dict[int, set[int]] = {gauge_study.pk: set() for gauge_study in carried}
    rows = StudyValue.objects.filter(study__in=carried)
    for study, turn in rows.values_list("study", "turn"):
        read[study].add(turn)
    left = [
        gauge_study
        for gauge_study in carried
        if len(read[gauge_study.pk]) < len(gauge_study.order)
    ]
    members = StudyPerson.objects.filter(study__in=left).select_related("person")
    people = {member.person_id: member.person for member in members}
    return [_told(gauge_study, read[gauge_study.pk], people) for gauge_study in left]


def turns_read(study: GaugeStudy) -> list[int]:
    """The turns that were read by now, in order."""
    rows = study.values.order_by("turn").values_list("turn", flat=True)
    return list(rows.distinct())


def _told(study: GaugeStudy, read: set[int], people: dict[int, Person]) -> dict:
    turns: dict[int, list] = {}
    for number, (person, place, _repeat) in enumerate(study.order):
        turns.setdefault(person, []).append([number, place, number in read])
    names = rules.names_of([people[key] for key in turns])
    objected = gauges.objections(gauges.standing_now(study.instrument), GaugeRules())
    doubts = [f"({why.rstrip('.')})" for why, _refused in objected]
    return {
        "uuid": str(study.entry_id),
        "label": study.label,
        "what": " ".join([f"{study.what}, {study.instrument}", *doubts]),
        "url": reverse("gauge_study", args=[study.number]),
        "people": [
            {"username": people[key].username, "name": names[key], "turns": own}
            for key, own in turns.items()
        ],
    }
