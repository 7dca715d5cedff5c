"""Left and right: what is mirrored, side by side.

Designs and tools pair by their mirror, joints by theirs; the stations of two mirrored
joints pair by their labels. What the newest check of each hand says stands side by
side, airframe by airframe.
"""

from dataclasses import dataclass, field

from django.core.paginator import Page
from django.db.models import F, Q

from qa.models import Check, CurrentReading, FitUp, Joint, Kind, Station
from qa.wording import lengths
from shop.models import Airframe, PartDesign, Tool
from shop.queries.mirrored_designs import HandsPage, both_hands
from shop.queries.paging import page_of, search
from shop.wording import states

# Airframes of a joint pair that are compared on one page, the newest.
AIRFRAMES = 4


@dataclass(frozen=True)
class PairRow:
    """Two that mirror each other, the left one first."""

    left: object
    right: object


def _pair(row) -> PairRow:
    """The left hand first; joints have no hand: the one with the lower number."""
    hand = getattr(row, "hand", "left")
    return PairRow(row.mirror, row) if hand == "right" else PairRow(row, row.mirror)


def designs(*, q: str = "", page=1) -> Page:
    """Return pairs of mirrored designs, each once."""
    rows = PartDesign.objects.filter(mirror__isnull=False).filter(
        Q(hand="left") | Q(mirror__mirror=None)
    )
    rows = search(rows.select_related("mirror"), q, "number", "name", "mirror__number")
    return page_of(rows, page, _pair)


def tools() -> list[PairRow]:
    """Return pairs of mirrored tools, each once; the newest 60."""
    rows = Tool.objects.filter(mirror__isnull=False).filter(
        Q(pk__lt=F("mirror")) | ~Q(mirror__mirror=F("pk")) | Q(mirror__mirror=None)
    )
    return [_pair(row) for row in rows.select_related("mirror").order_by("-pk")[:60]]


def joints() -> list[PairRow]:
    """Return pairs of mirrored joints, each once; the newest 60."""
    rows = Joint.objects.filter(mirror__isnull=False).filter(
        Q(pk__lt=F("mirror")) | Q(mirror__mirror=None)
    )
    rows = rows.select_related("mirror", "type").order_by("-pk")[:60]
    return [_pair(row) for row in rows]


@dataclass(frozen=True)
class Line:
    """One station of both hands. Texts without unit; the difference is left minus
    right, "" where one is missing."""

    label: str
    gap_left: str
    gap_left_state: str
    gap_right: str
    gap_right_state: str
    gap_apart: str
    flush_left: str
    flush_left_state: str
    flush_right: str
    flush_right_state: str
    flush_apart: str


@dataclass(frozen=True)
class OnAirframe:
    """The newest checks of both hands on one airframe, and the worst differences."""

    airframe: Airframe
    left: Check | None
    right: Check | None
    lines: list[Line]
    worst: dict[str, str]


@dataclass(frozen=True)
class JointPair:
    left: Joint
    right: Joint
    unit: str
    airframes: list[OnAirframe] = field(default_factory=list)


def compare(pairs: list[PairRow], unit: str) -> list[JointPair]:
    """Return both hands of each pair of joints side by side: four statements."""
    keys = [joint.pk for pair in pairs for joint in (pair.left, pair.right)]
    newest = _newest_checks(keys)
    readings: dict[tuple, dict] = {}
    rows = CurrentReading.objects.filter(fit_check__in=[c.pk for c in newest.values()])
    for row in rows.select_related("reading", "station"):
        values = readings.setdefault(row.fit_check_id, {})
        values[row.station.label, row.kind] = row.reading
    revisions = {check.fit_up.revision_id for check in newest.values()}
    revisions |= {
        joint.current_id for pair in pairs for joint in (pair.left, pair.right)
    }
    labels: dict[int, list[str]] = {}
    for station in Station.objects.filter(revision__in=revisions).order_by("order"):
        labels.setdefault(station.revision_id, []).append(station.label)
    return [_joint_pair(pair, newest, readings, labels, unit) for pair in pairs]


def _newest_checks(joints: list[int]) -> dict[tuple[int, int], Check]:
    """The newest check with readings by (joint, airframe): one statement."""
    rows = (
        Check.objects.filter(fit_up__joint__in=joints, current__isnull=False)
        .distinct()
        .select_related("fit_up__airframe", "fit_up__part", "state")
        .order_by("number")
    )
    return {(row.fit_up.joint_id, row.fit_up.airframe_id): row for row in rows}


def _joint_pair(pair: PairRow, newest, readings, labels, unit) -> JointPair:
    hands = (pair.left.pk, pair.right.pk)
    airframes: dict[int, Airframe] = {}
    for (joint, key), check in newest.items():
        if joint in hands:
            airframes[key] = check.fit_up.airframe
    # Where both hands were measured comes first.
    order = sorted(
        airframes, key=lambda key: (all((hand, key) in newest for hand in hands), key)
    )
    frames = [airframes[key] for key in order[::-1][:AIRFRAMES]]
    rows = [
        _on_airframe(
            frame,
            newest.get((pair.left.pk, frame.pk)),
            newest.get((pair.right.pk, frame.pk)),
            readings,
            labels,
            unit,
        )
        for frame in frames
    ]
    return JointPair(pair.left, pair.right, unit, rows)


def _on_airframe(frame, left, right, readings, labels, unit) -> OnAirframe:
    both = [
        (check, readings.get(check.pk, {}) if check else {}) for check in (left, right)
    ]
    order = dict.fromkeys(
        label
        for check, _read in both
        if check
        for label in labels.get(check.fit_up.revision_id, [])
    )
    lines, worst = [], {}
    for label in order:
        line = {"label": label}
        for kind in Kind.values:
            values = []
            for hand, (check, read) in zip(("left", "right"), both, strict=True):
                reading = read.get((label, kind)) if check else None
                value = reading.value_nm if reading else None
                signed = kind == Kind.FLUSH
                values.append(value)
                line[f"{kind}_{hand}"] = lengths.on_map(value, unit, signed=signed)
                line[f"{kind}_{hand}_state"] = _state(reading)
            line[f"{kind}_apart"] = ""
            if None not in values:
                apart = values[0] - values[1]
                line[f"{kind}_apart"] = lengths.on_map(apart, unit, signed=True)
                if abs(apart) > abs(worst.get(kind, (0, ""))[0]):
                    worst[kind] = (apart, label)
        lines.append(Line(**line))
    furthest = {
        kind: f"{lengths.on_map(nm, unit, signed=True)} {unit} at {label}"
        for kind, (nm, label) in worst.items()
    }
    return OnAirframe(frame, left, right, lines, furthest)


def _state(reading) -> str:
    """The state a reading is marked with, as on a map."""
    if reading is None or reading.value_nm is None:
        return ""
    return states.key_of(reading.verdict, reading.deviation_nm)


@dataclass(frozen=True)
class DesignPair:
    sides: HandsPage
    joints: list[JointPair]


def design_pair(design: PartDesign, unit: str) -> DesignPair:
    """Return a design and its mirror: parts, weights, pulls, and how they fit.

    A constant number of statements. The joints are those where a part of either
    design was fitted, with the joint that mirrors them.
    """
    shown = both_hands(design)
    left = _fitted(shown.left.design)
    right = _fitted(shown.right.design)
    return DesignPair(shown, compare(_paired(left, right), unit))


def _fitted(design: PartDesign) -> list[Joint]:
    fitted = FitUp.objects.filter(part__design=design).values("joint")
    rows = Joint.objects.filter(pk__in=fitted).exclude(current=None)
    return list(rows.select_related("mirror").order_by("number"))


def _paired(left: list[Joint], right: list[Joint]) -> list[PairRow]:
    """By the mirror of the joint; where none is on record, by the same stations."""
    pairs = [PairRow(joint, joint.mirror) for joint in left if joint.mirror_id]
    taken = {joint.mirror_id for joint in left}
    pairs += [
        PairRow(joint.mirror, joint)
        for joint in right
        if joint.mirror_id and joint.pk not in taken
    ]
    rest = [joint for joint in right if not joint.mirror_id]
    labels = _labels([*left, *rest])
    for joint in left:
        other = next(
            (
                other
                for other in rest
                if not joint.mirror_id
                and other.type_id == joint.type_id
                and other.pk != joint.pk
                and labels.get(other.current_id) == labels.get(joint.current_id)
            ),
            None,
        )
        if other:
            rest.remove(other)
            pairs.append(PairRow(joint, other))
    return pairs


def _labels(joints: list[Joint]) -> dict[int, set[str]]:
    """The names of the stations by current revision: one statement."""
    labels: dict[int, set[str]] = {}
    rows = Station.objects.filter(revision__in=[joint.current_id for joint in joints])
    for revision, label in rows.values_list("revision", "label"):
        labels.setdefault(revision, set()).add(label)
    return labels


def joint_pair(joint: Joint, unit: str) -> JointPair:
    """Return a joint and its mirror side by side."""
    return compare([_pair(joint)], unit)[0]
