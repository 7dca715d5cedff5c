"""Gauge studies: planned, measured turn by turn, and taken into the uncertainty."""

from django.utils.translation import gettext as _

from qa.actions.gauges import save_budget
from qa.models import GaugeBudget, GaugeStudy, Instrument, StudyPerson, StudyValue
from qa.rules import gauge_studies as rules
from qa.rules import gauges
from qa.rules.measuring_days import used_from
from shop import roles
from shop.actions.locks import hold_row
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Person
from shop.numeric.units import LengthError, parse_typed

MOST_TURNS = 2_000


def plan_study(
    *,
    by,
    instrument: Instrument,
    what: str,
    places: list[str],
    people: list[Person],
    repeats: int,
    tolerance_nm: int | None = None,
    joint=None,
    note: str = "",
) -> GaugeStudy:
    """Plan who measures what how often; the order is shuffled here, once."""
    roles.require(by, "define instruments")
    _check_plan(places, people, repeats)
    if refused := gauges.refusal(instrument):
        raise Refused(refused, field="instrument")
    content = {
        "instrument": str(instrument.uuid),
        "what": what,
        "places": places,
        "people": [person.username for person in people],
        "repeats": repeats,
        "tolerance_nm": tolerance_nm,
        "joint": joint and str(joint.uuid),
        "note": note,
    }
    with perform("gauge_study/1", by=by, said=content) as act:
        study = GaugeStudy(
            number=next_number("study"),
            instrument=instrument,
            joint=joint,
            what=what,
            places=places,
            repeats=repeats,
            order=rules.shuffled(
                [person.pk for person in people], places, repeats, act.id
            ),
            tolerance_nm=tolerance_nm,
            note=note,
        )
        study.full_clean(exclude=["entry"])
        act.record(study)
        for person in people:
            act.record(StudyPerson(study=study, person=person))
        act.result = {"study": study.label}
    return study


def _check_plan(places, people, repeats: int) -> None:
    if len(places) != len(set(places)):
        raise Refused(_("Each place has a name of its own."), field="places")
    if len(places) < 2:
        raise Refused(_("One place does not tell how places differ."), field="places")
    if len(people) < 2:
        raise Refused(_("One person does not tell what people add."), field="people")
    if repeats < 2:
        raise Refused(_("Measure everything twice at least."), field="repeats")
    if len(places) * len(people) * repeats > MOST_TURNS:
        raise Refused(
            _("That is more than %(most)d values.") % {"most": MOST_TURNS},
            field="repeats",
        )


def record_value(
    *, by, study: GaugeStudy, turn: int, value: str, unit: str, reason: str = "",
    supersedes: StudyValue | None = None, **envelope,
) -> StudyValue:  # fmt: skip
    """Keep what was read at a turn of the order. supersedes: the value that it
    replaces, with a reason."""
    roles.require(by, "measure")
    if refused := gauges.refusal(study.instrument, envelope.get("made_at", "")):
        raise Refused(refused, field="value")
    if not 0 <= turn < len(study.order):
        raise Refused(_("The study has no such turn."), field="value")
    try:
        nm = parse_typed(value, unit)
    except LengthError as error:
        raise Refused(f"{error}.", field="value") from None
    reach = study.instrument.range_low_nm, study.instrument.range_high_nm
    gauges.hold_to_range([nm], reach, "value")
    if supersedes and not reason.strip():
        raise Refused(_("Say why this replaces the value before."), field="reason")
    envelope.setdefault(
        "said",
        {
            "study": str(study.entry_id),
            "turn": turn,
            "value": value,
            "unit": unit,
            "supersedes": supersedes and str(supersedes.entry_id),
            "reason": reason,
        },
    )
    with perform("study_value/1", by=by, **envelope) as act:
        hold_row(GaugeStudy, study.pk)
        standing = study.values.filter(turn=turn).order_by("-pk").first()
        if (standing and standing.pk) != (supersedes and supersedes.pk):
            raise Refused(_("This turn was read already."), code="done", field="value")
        row = act.record(
            StudyValue(
                study=study,
                turn=turn,
                value=value.strip(),
                unit=unit,
                value_nm=nm,
                used_from=used_from(envelope.get("made_at", ""), act.now),
                supersedes=supersedes,
                reason=reason,
            )
        )
        act.result = {"study": study.label, "turn": turn}
    return row


def use_study(*, by, study: GaugeStudy, smaller: bool = False) -> GaugeBudget:
    """Judge by what a study found: its repeatability and what people add go into the
    uncertainty of its instrument, and what its last certificate states.

    smaller: it may become less than was stated without a calibration in it.
    """
    roles.require(by, "define instruments")
    people = [member.person for member in study.members.select_related("person")]
    finding = rules.state_of(study).says(rules.names_of(people))
    if why := rules.not_used(finding):
        raise Refused(why, code="conflict")
    study.instrument.refresh_from_db()
    budget = rules.budget_by(study, finding)
    return save_budget(
        by=by,
        instrument=study.instrument,
        rows=budget.rows,
        smaller=smaller,
        note=_("repeatability and operator by %(label)s") % {"label": study.label},
    )
