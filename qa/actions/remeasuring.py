"""The joints to measure again, kept up to date by every act that may change them.

Today asks for them at every look, and to find them among all joints of all airframes
takes as long as the shop is old. What touches a joint is `rules.touches`; here the
joints that an act may have touched are found, and looked at anew.
"""

from collections.abc import Iterator, Sequence
from itertools import islice

from django.db import DEFAULT_DB_ALIAS, connection
from django.db.models import Q

from qa.models import FitUp, Joint, MeasureAgain, Reading, TrimCut
from qa.rules.remeasure import changed, measured_values, newest_measured
from shop.ledger.projections import Family
from shop.models import Confirmation, Fact, Hold, Part, PartState, PlacementAct, Suspect
from shop.models.prepared_statements import Prepared, Slot, Slots

ADVISORY = 7_110_003  # PostgreSQL: one act at a time looks at what it touched
CHUNK = 500
FIRST = Prepared(
    lambda: (
        measured_values()
        .filter(fit_check=Slot("check"))
        .order_by("pk")
        .values_list("pk")[:1]
    )
)
SAT = Prepared(
    lambda: (
        PlacementAct.objects.filter(part__in=Slots("parts"))
        .order_by()
        .values_list("airframe", "position")
        .distinct()
    )
)
BESIDE = Prepared(
    lambda: (
        Joint.objects.filter(
            Q(position__in=Slots("positions")) | Q(surround__in=Slots("positions"))
        )
        .order_by()
        .values_list("pk")
    )
)


def _fit_ups(*columns, **where) -> Prepared:
    return Prepared(
        lambda: FitUp.objects.filter(**where).order_by().values_list(*columns)
    )


THERE = {"airframe__in": Slots("airframes"), "joint__in": Slots("joints")}
AS_PART = _fit_ups("joint", "airframe", part__in=Slots("parts"))
AS_SURROUND = _fit_ups("joint", "airframe", surround_part__in=Slots("parts"))
BESIDE_IT = _fit_ups("joint", "airframe", **THERE)
KEYS = _fit_ups("joint", "airframe", "pk", **THERE)
NEWEST = Prepared(lambda: newest_measured().filter(pk__in=Slots("keys")).order_by("pk"))
DOUBTED = {
    model: Prepared(
        lambda model=model, part=part, where=where: (
            model.objects.filter(pk__in=Slots("keys"), **where)
            .order_by()
            .values_list(part)
        )
    )
    for model, part, where in (
        (Hold, "subject_id", {"subject_kind": "part"}),
        (Suspect, "part", {}),
        (Part, "pk", {"state": PartState.SCRAPPED}),
    )
}
WAITING = Prepared(lambda: MeasureAgain.objects.filter(pk__in=Slots("keys")))


def follow(facts: Sequence[Fact], kept: dict) -> None:
    """Bring the projection up to the facts of an act, and to the kept rows it set."""
    parts, places, joints = _doubted(kept), set(), set()
    for fact in facts:
        if isinstance(fact, Reading):
            # A joint is measured since its check began, from the first value of it on.
            if fact.value_nm is not None and _is_first(fact):
                fit_up = fact.fit_check.fit_up
                joints.add((fit_up.joint_id, fit_up.airframe_id))
        elif isinstance(fact, PlacementAct):
            parts.add(fact.part_id)
            places.add((fact.airframe_id, fact.position_id))
        elif isinstance(fact, FitUp):
            parts |= {fact.part_id, fact.surround_part_id} - {None}
            joints.add((fact.joint_id, fact.airframe_id))
        elif isinstance(fact, TrimCut):
            parts.add(fact.part_id)
        elif isinstance(fact, Confirmation):
            joints |= _resting_on(fact)
    if parts or joints:
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ADVISORY])
        _look_again(joints | _fitted(parts, places))


def _is_first(reading: Reading) -> bool:
    if reading.is_first is not None:
        return reading.is_first
    return FIRST.first(check=reading.fit_check_id) == (reading.pk,)


def _resting_on(content: Confirmation) -> set[tuple[int, int]]:
    """(joint, airframe) of what was read by an act that somebody confirmed or disowned,
    or in a check begun by it."""
    act = content.of_id
    rows = Reading.objects.filter(Q(entry=act) | Q(fit_check__entry=act)).order_by()
    return set(
        rows.values_list("fit_check__fit_up__joint", "fit_check__fit_up__airframe")
    )


def _doubted(kept: dict) -> set[int]:
    """The serials that were held, became suspect or were scrapped."""
    parts = set()
    for model, doubted in DOUBTED.items():
        if keys := kept.get(model):
            parts |= {part for (part,) in doubted.rows(keys=keys)}
    return parts


def _fitted(parts: set[int], places: set) -> set[tuple[int, int]]:
    """(joint, airframe) where a serial was fitted, or sat beside the joint, or whose
    place is one of these."""
    pairs = set()
    if parts:
        places = places | set(SAT.rows(parts=parts))
        pairs |= {*AS_PART.rows(parts=parts), *AS_SURROUND.rows(parts=parts)}
    if places:
        beside = BESIDE.rows(positions={position for _airframe, position in places})
        if beside:
            airframes = {airframe for airframe, _position in places}
            joints = [joint for (joint,) in beside]
            pairs |= set(BESIDE_IT.rows(airframes=airframes, joints=joints))
    return pairs


def _look_again(joints: set[tuple[int, int]]) -> None:
    if not joints:
        return
    there = KEYS.rows(
        joints={joint for joint, _airframe in joints},
        airframes={airframe for _joint, airframe in joints},
    )
    keys = [key for joint, airframe, key in there if (joint, airframe) in joints]
    for start in range(0, len(keys), CHUNK):
        _set(keys[start : start + CHUNK])


def _set(keys: list[int]) -> None:
    """Let the rows of these fit-ups say what the facts say now."""
    wanted = {row.pk: row for row in _rows(NEWEST.rows(keys=keys))}
    for row in WAITING.rows(keys=keys):
        waiting = wanted.pop(row.pk, None)
        if waiting is None:
            row.delete()
        elif waiting.at != row.at:
            waiting.save(update_fields=["at"])
    MeasureAgain.objects.bulk_create(wanted.values())


def _rows(newest) -> list[MeasureAgain]:
    changes = changed(newest)
    return [
        MeasureAgain(fit_up_id=waiting.fit_up.pk, at=waiting.at) for waiting in changes
    ]


def joints() -> Iterator[MeasureAgain]:
    rows = newest_measured().order_by("pk").iterator(CHUNK)
    while some := list(islice(rows, CHUNK)):
        yield from _rows(some)


FAMILY = Family({MeasureAgain: ("fit_up_id",)}, joints)


def fill_after_migrate(sender, using=DEFAULT_DB_ALIAS, plan=(), **_told) -> None:
    """Fill the table that records of an earlier release did not have. A copy that is
    made of the records has it copied."""
    if using != DEFAULT_DB_ALIAS or sender.name != "qa":
        return
    done = {migration.name for migration, backwards in plan if not backwards}
    if "0017_measure_again" in done:
        MeasureAgain.objects.bulk_create(joints(), batch_size=CHUNK)
