"""Joints for the pages that start from one."""

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Case, Count, F, Q, QuerySet, Value, When

from qa.drawing.joint_map import JointMap
from qa.models import (
    Check,
    FitUp,
    Instrument,
    Joint,
    JointRevision,
    Rule,
    Station,
    TrimSide,
)
from qa.queries.joints import drawings
from qa.wording import lengths
from shop.models import Airframe, Part, Placement, Position
from shop.queries.paging import count_of, search

MOST_CHOICES = 60


@dataclass(frozen=True)
class Choice:
    """A joint on an airframe that can be checked."""

    airframe: Airframe
    joint: Joint
    checks: int


@dataclass(frozen=True)
class Choices:
    """The first that can be checked; `more`: there are others beside them."""

    rows: list[Choice]
    more: bool


def joints_to_check(airframe: Airframe | None, joint: Joint | None) -> Choices:
    """Return the joints of the airframes that they apply to, or of those asked for: of
    many airframes the newest."""
    airframes = Airframe.objects.select_related("type").order_by("-pk")
    joints = Joint.objects.exclude(current=None).select_related("position")
    if airframe:
        airframes = airframes.filter(pk=airframe.pk)
        joints = joints.filter(type=airframe.type_id)
    if joint:
        joints = joints.filter(pk=joint.pk)
        airframes = airframes.filter(
            type=joint.type_id,
            line_number__gte=joint.first_line,
            line_number__lte=joint.last_line or F("line_number"),
        )
    newest = list(airframes[: MOST_CHOICES + 1])
    by_type: dict = {}
    types = {frame.type_id for frame in newest[:MOST_CHOICES]}
    for joint_row in joints.filter(type__in=types):
        by_type.setdefault(joint_row.type_id, []).append(joint_row)
    # The newest first, to be cut; then in the order of a list.
    choices = [
        (frame, joint_row)
        for frame in newest[:MOST_CHOICES]
        for joint_row in by_type.get(frame.type_id, [])
        if joint_row.first_line
        <= frame.line_number
        <= (joint_row.last_line or frame.line_number)
    ]
    kept = sorted(
        choices[:MOST_CHOICES],
        key=lambda pair: (pair[0].type_id, pair[0].line_number),
    )
    counted = _checks_so_far(kept)
    rows = [
        Choice(frame, joint_row, counted.get((frame.pk, joint_row.pk), 0))
        for frame, joint_row in kept
    ]
    return Choices(rows, max(len(choices), len(newest)) > MOST_CHOICES)


def _checks_so_far(pairs: list[tuple[Airframe, Joint]]) -> dict[tuple[int, int], int]:
    rows = Check.objects.filter(
        fit_up__airframe__in={frame.pk for frame, _joint in pairs},
        fit_up__joint__in={joint.pk for _frame, joint in pairs},
    ).order_by()
    here = ("fit_up__airframe", "fit_up__joint")
    counted = rows.values_list(*here).annotate(checks=Count("pk"))
    return {(frame, joint): checks for frame, joint, checks in counted}


def parts_that_fit(airframe: Airframe, position: Position):
    """Return the serials to choose from: those of a design that sat or was fitted here
    before, then loose ones of other designs (`other_design`), which want a reason.

    What sits at another place is none: nobody fits the fuselage into its own opening.
    Where nothing sat yet, no design is another one.
    """
    designs = designs_by_position([position.pk]).get(position.pk, set())
    sits = Placement.objects.filter(removed_at__isnull=True)
    here = sits.filter(position=position, airframe=airframe)
    loose = ~Q(pk__in=sits.values("part"))
    fits = Q(pk__in=here.values("part")) | (Q(design__in=designs) if designs else loose)
    return (
        Part.objects.filter(fits | loose)
        .exclude(state="scrapped")
        .annotate(other_design=Case(When(fits, then=Value(0)), default=Value(1)))
        .select_related("design")
        .order_by("other_design", "serial")
    )


def designs_by_position(positions: Collection[int]) -> dict[int, set[int]]:
    """Return the designs that ever sat or were fitted at each of some positions, in two
    statements."""
    sat = Placement.objects.order_by().filter(position__in=positions)
    fitted = FitUp.objects.order_by().filter(joint__position__in=positions)
    designs: dict[int, set[int]] = {}
    for rows, at in ((sat, "position"), (fitted, "joint__position")):
        for place, design in rows.values_list(at, "part__design").distinct():
            designs.setdefault(place, set()).add(design)
    return designs


def condition_to_start_with(airframe: Airframe, joint: Joint, last: FitUp | None):
    """Return what the form starts with: what sits there, as it was held last."""
    placed = dict(
        Placement.objects.filter(
            airframe=airframe,
            position__in=[joint.position_id, joint.surround_id],
            removed_at__isnull=True,
        ).values_list("position_id", "part_id")
    )
    start = {
        "part": placed.get(joint.position_id),
        "surround_part": placed.get(joint.surround_id),
        "finish": "bare",
        "refit": "same" if last else "first",
    }
    instruments = Instrument.objects.filter(status="in_use").values_list(
        "pk", flat=True
    )
    if len(instruments) == 1:
        start["instrument"] = instruments[0]
    if last:
        start["part"] = last.part_id
        start["surround_part"] = last.surround_part_id
        start["held"] = sorted({item["kind"] for item in last.held})
        start["held_note"] = "; ".join(
            item["where"] for item in last.held if item["where"]
        )
    return start


@dataclass(frozen=True)
class JointRow:
    """A joint in a list."""

    pk: int
    number: str
    name: str
    type: str
    position: str
    surround: str
    revision: int
    stations: int
    rule: str


def joints(*, type=None, words="") -> QuerySet[Joint]:
    """Return joints with everything a row shows."""
    rows = (
        Joint.objects.exclude(current=None)
        .select_related("type", "position", "surround", "current")
        .annotate(station_count=count_of(Station.objects, "revision", "current"))
        .order_by("type_id", "number")  # as an index has them; a code would be sorted
    )
    if type:
        rows = rows.filter(type=type)
    return search(rows, words, "number", "name", "position__path")


def joint_row(joint: Joint) -> JointRow:
    return JointRow(
        pk=joint.pk,
        number=joint.number,
        name=joint.name,
        type=joint.type.code,
        position=joint.position.path,
        surround=joint.surround.path,
        revision=joint.current.number,
        stations=joint.station_count,
        rule=joint.current.get_rule_display(),
    )


@dataclass(frozen=True)
class StationRow:
    """A station's requirement in a table."""

    label: str
    place: str
    gap: str
    flush: str
    edge: str
    trim: str
    notes: str


@dataclass(frozen=True)
class JointView:
    """A joint and one of its revisions, for its page and its blank sheet."""

    joint: Joint
    revision: JointRevision
    revisions: list[JointRevision]
    stations: list[StationRow]
    map: JointMap
    unit: str
    flat: bool = False
    greatest_u: str = ""

    @property
    def has_edges(self) -> bool:
        return any(row.edge for row in self.stations)

    @property
    def has_notes(self) -> bool:
        return any(row.notes for row in self.stations)

    @property
    def finish(self) -> str:
        """What finish is still to come on a bare edge, each side."""
        part, around = self.revision.finish_part_nm, self.revision.finish_surround_nm
        if not part and not around:
            return "none"
        sides = (("part", part), ("surround", around))
        return ", ".join(
            f"{side} {lengths.length(nm, self.unit)}" for side, nm in sides
        )


def joint_view(joint: Joint, revision: JointRevision, unit: str = "") -> JointView:
    """Return everything about a revision; one statement a kind of row."""
    unit = unit or revision.units
    revision.joint = joint
    return _view(
        revision,
        list(revision.stations.select_related("surround")),
        list(joint.revisions.select_related("entry__by")),
        unit,
    )


def unsaved_view(revision: JointRevision, stations: list[Station]) -> JointView:
    """Return what a revision that is not saved yet would look like. Its joint has its
    positions, its stations theirs."""
    return _view(revision, stations, [], revision.units)


def _view(revision, stations, revisions, unit) -> JointView:
    joint = revision.joint
    flat = not any(station.z_nm for station in stations)
    drawn = drawings.map_of(
        revision,
        stations,
        unit=unit,
        bare=True,
        title=f"{joint.number} {joint.name}".strip(),
    )
    return JointView(
        joint=joint,
        revision=revision,
        revisions=revisions,
        stations=[station_row(station, unit, flat) for station in stations],
        map=drawn,
        unit=unit,
        flat=flat,
        greatest_u=greatest_uncertainty(revision, stations, unit),
    )


def without_counterpart(joint: Joint, stations: list[StationRow]) -> list[str]:
    """Return the names of stations that the mirrored joint does not have, or has
    alone: the two hands map by name."""
    if not joint.mirror_id:
        return []
    there = Station.objects.filter(revision=joint.mirror.current)
    here = {station.label: None for station in stations}
    other = dict.fromkeys(there.values_list("label", flat=True))
    return [name for name in {**here, **other} if (name in here) != (name in other)]


def greatest_uncertainty(revision, stations, unit: str) -> str:
    """Return the standard uncertainty that a gauge may have for guarded acceptance,
    "" where the rule or the limits ask for none."""
    if revision.rule != Rule.GUARDED:
        return ""
    pairs = [(station.gap_min_nm, station.gap_max_nm) for station in stations]
    pairs += [(station.flush_min_nm, station.flush_max_nm) for station in stations]
    widths = [high - low for low, high in pairs if None not in (low, high)]
    if not widths:
        return ""
    # Below this many u nothing can be proven (numeric.verdict.acceptance, ISO 14253-1).
    apart = 4 if revision.edition == "1998" else 3.92
    return lengths.length(int(min(widths) / apart), unit, 3 if unit == "mm" else 5)


def station_row(station: Station, unit: str, flat: bool = False) -> StationRow:
    notes = ["corner"] if station.corner else []
    if station.radius_nm:
        notes.append(f"radius {lengths.length(station.radius_nm, unit, 0)}")
    if station.laminar:
        notes.append("laminar-critical")
    if station.land_nm is not None:
        notes.append(f"land {lengths.length(station.land_nm, unit)}")
    if station.surround:
        notes.append(f"against {station.surround.name}")
    at = (station.x_nm, station.y_nm, station.z_nm)[: 2 if flat else 3]
    return StationRow(
        label=station.label,
        place=", ".join(lengths.on_map(n, unit) for n in at),
        gap=lengths.limits(station.gap_min_nm, station.gap_max_nm, unit),
        flush=lengths.limits(station.flush_min_nm, station.flush_max_nm, unit),
        edge=station.get_edge_display() if station.edge else "",
        trim=_trim(station, unit),
        notes=", ".join(notes),
    )


def _trim(station: Station, unit: str) -> str:
    if station.trim_side == TrimSide.NONE:
        return "never"
    most = [
        f"{lengths.length(nm, unit)}"
        for nm in (station.trim_max_nm, station.trim_max_surround_nm)
        if nm is not None
    ]
    return " ".join([station.get_trim_side_display(), *(f"≤ {m}" for m in most)])


def fitted_on(joint: Joint) -> list[Airframe]:
    """Return the airframes on which a part was ever fitted at a joint."""
    rows = Airframe.objects.filter(fit_ups__joint=joint).distinct()
    return list(rows.order_by("line_number"))
