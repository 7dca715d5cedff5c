"""What the first fits of a mold's parts read, brought back to as pulled.

A part comes from a mold when it was pulled from it, or bonded or cut from parts of one
pull of it. Of a part in an opening the first fit-up with readings counts, with all of
its checks: whatever changes an edge or a seat opens the next fit-up, so that they saw
the same, and a check that was broken off goes on in the next. What had been cut off
either edge before is taken back off the gap by the place of the cut, and what was read
on finished edges is brought to bare ones. Openings are airframes, or the surrounds of
one where it had several.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from qa.models import (
    Check,
    CurrentReading,
    Finish,
    FitUp,
    Joint,
    Kind,
    Station,
)
from qa.rules import cuts_before, gauge_zeros, requirements
from qa.rules.cuts_before import Cuts
from qa.rules.gauge_zeros import GaugeZero
from qa.rules.history import Seam
from shop.models import (
    Airframe,
    Lineage,
    Origin,
    Part,
    PartDesign,
    Pull,
    PullState,
    Tool,
)

SAME_PLACE_MM = 1.0
FOLLOWS = (Origin.BONDED, Origin.CUT)


@dataclass(frozen=True)
class FirstFit:
    """A part in an opening for the first time. `nm` by (row of the station, kind), as
    pulled; `unlike` counts readings at stations that are elsewhere by now: perhaps all.
    """

    part: Part
    pull: Pull
    airframe: Airframe
    fit_up: FitUp
    check: Check
    opening: str
    nm: dict[tuple[int, str], int]
    cut_nm: dict[int, int]
    unlike: int = 0
    # The check that read each place, and the zeros of instruments by check.
    by: dict[tuple[int, str], Check] = field(default_factory=dict)
    zeros: dict[int, GaugeZero] = field(default_factory=dict)

    @property
    def pulls(self) -> tuple[Pull, ...]:
        return (self.pull,)

    @property
    def checks(self) -> list[Check]:
        return list({check.pk: check for check in self.by.values()}.values())

    @property
    def when(self) -> datetime:
        return self.check.entry.received_at


@dataclass
class MoldFits:
    """All first fits of the parts of one design from one mold at one joint, in the
    order of the pulls. `seam` has the stations that the joint has now."""

    tool: Tool
    design: PartDesign
    joint: Joint
    seam: Seam
    fits: list[FirstFit] = field(default_factory=list)

    @property
    def key(self) -> tuple[int, int, int]:
        return self.tool.pk, self.joint.pk, self.design.pk

    @property
    def parts(self) -> list[Part]:
        return list({fit.part.pk: fit.part for fit in self.fits if fit.nm}.values())

    @property
    def openings(self) -> list[str]:
        return list(dict.fromkeys(fit.opening for fit in self.fits if fit.nm))


@dataclass
class _Rows:
    """What was loaded, by what it hangs on."""

    pulls: dict[int, dict[int, Pull]]
    fit_ups: list[FitUp]
    cuts: Cuts | None = None
    checks: dict[int, list[Check]] = field(default_factory=dict)
    readings: dict[int, list[CurrentReading]] = field(default_factory=dict)
    seams: dict[int, Seam] = field(default_factory=dict)
    zeros: dict[int, GaugeZero] = field(default_factory=dict)
    joints: dict[int, Joint] = field(default_factory=dict)


def load(tools: list[Tool]) -> dict[tuple[int, int, int], MoldFits]:
    """Return the first fits of molds by (mold, joint, design), in 9 statements."""
    rows = _Rows(_pulls_of(tools), [])
    parts = {part for own in rows.pulls.values() for part in own}
    fit_ups = FitUp.objects.filter(part__in=parts).select_related(
        "part__design", "surround_part", "airframe", "revision", "entry"
    )
    rows.fit_ups = list(fit_ups.order_by("entry__pk"))
    _load_joints(rows)
    _load_readings(rows)
    rows.cuts = cuts_before.load(rows.fit_ups, rows.joints, rows.seams)
    by_key: dict[tuple[int, int, int], MoldFits] = {}
    for tool in tools:
        pulls = rows.pulls.get(tool.pk, {})
        for fit in _first_fits(rows, pulls):
            joint = rows.joints[fit.fit_up.joint_id]
            key = tool.pk, joint.pk, fit.part.design_id
            if key not in by_key:
                seam = rows.seams[joint.current_id]
                by_key[key] = MoldFits(tool, fit.part.design, joint, seam)
            by_key[key].fits.append(fit)
    for fits in by_key.values():
        fits.fits.sort(key=lambda fit: (fit.pull.number, fit.fit_up.entry.pk))
    return by_key


def _pulls_of(tools: list[Tool]) -> dict[int, dict[int, Pull]]:
    """The pull that each part came from, by mold: two statements. A part that came from
    several pulls of one mold tells nothing of it."""
    pulls: dict[int, dict[int, set[Pull]]] = defaultdict(lambda: defaultdict(set))
    direct = Lineage.objects.filter(kind=Origin.PULLED, pull__tool__in=tools)
    for edge in direct.exclude(pull__state=PullState.VOID).select_related("pull"):
        pulls[edge.pull.tool_id][edge.part_id].add(edge.pull)
    sources = {part for own in pulls.values() for part in own}
    made = Lineage.objects.filter(kind__in=FOLLOWS, source__in=sources)
    for edge in list(made):
        for own in pulls.values():
            if edge.source_id in own:
                own[edge.part_id] |= own[edge.source_id]
    return {
        tool: {part: next(iter(own)) for part, own in parts.items() if len(own) == 1}
        for tool, parts in pulls.items()
    }


def _load_joints(rows: _Rows) -> None:
    """Joints with their newest revision, and the stations of every revision in use."""
    keys = {fit_up.joint_id for fit_up in rows.fit_ups}
    joints = Joint.objects.filter(pk__in=keys).exclude(current=None)
    joints = joints.select_related("current", "position", "surround", "type", "mirror")
    rows.joints = {joint.pk: joint for joint in joints}
    rows.fit_ups = [fit_up for fit_up in rows.fit_ups if fit_up.joint_id in rows.joints]
    revisions = {joint.current_id: joint.current for joint in rows.joints.values()}
    revisions |= {fit_up.revision_id: fit_up.revision for fit_up in rows.fit_ups}
    for station in Station.objects.filter(revision__in=revisions).order_by("order"):
        revision = station.revision = revisions[station.revision_id]
        revision.joint = rows.joints[revision.joint_id]
        seam = rows.seams.setdefault(revision.pk, Seam(revision, []))
        seam.stations.append(station)


def _load_readings(rows: _Rows) -> None:
    own = {fit_up.pk: fit_up for fit_up in rows.fit_ups}
    checks = Check.objects.filter(fit_up__in=own, state__void=False)
    for check in checks.select_related("state", "entry", "instrument").order_by("pk"):
        check.fit_up = own[check.fit_up_id]
        rows.checks.setdefault(check.fit_up_id, []).append(check)
    every = [check for own_checks in rows.checks.values() for check in own_checks]
    rows.zeros = gauge_zeros.zeros_of({check.pk: check for check in every})
    values = CurrentReading.objects.filter(
        fit_check__fit_up__in=own, clash=False, reading__value_nm__isnull=False
    )
    for value in values.select_related("reading"):
        rows.readings.setdefault(value.fit_check_id, []).append(value)


def _first_fits(rows: _Rows, pulls: dict[int, Pull]):
    """The first fit-up with readings of each part in each opening."""
    openings = _openings(rows.fit_ups)
    seen = set()
    for fit_up in rows.fit_ups:
        if fit_up.part_id not in pulls:
            continue
        key = fit_up.part_id, fit_up.joint_id, openings[fit_up.pk]
        if key in seen:
            continue
        fit = _as_pulled(rows, fit_up, pulls[fit_up.part_id], openings[fit_up.pk])
        if fit:
            if fit.nm:
                seen.add(key)
            yield fit


def _openings(fit_ups: list[FitUp]) -> dict[int, str]:
    """What each fit-up's opening is called: its airframe, with the surround's serial
    where that airframe had more than one."""
    several: dict[tuple[int, int], set[int]] = defaultdict(set)
    for fit_up in fit_ups:
        if fit_up.surround_part_id:
            several[fit_up.joint_id, fit_up.airframe_id].add(fit_up.surround_part_id)
    names = {}
    for fit_up in fit_ups:
        name = fit_up.airframe.serial
        if (
            len(several[fit_up.joint_id, fit_up.airframe_id]) > 1
            and fit_up.surround_part
        ):
            name = f"{name} {fit_up.surround_part.serial}"
        names[fit_up.pk] = name
    return names


def _as_pulled(rows: _Rows, fit_up: FitUp, pull: Pull, opening: str) -> FirstFit | None:
    """What a fit-up read as pulled, None where nothing was read."""
    joint = rows.joints[fit_up.joint_id]
    seam = rows.seams[joint.current_id]
    own = rows.seams[fit_up.revision_id]
    read = [
        check for check in rows.checks.get(fit_up.pk, []) if check.pk in rows.readings
    ]
    if not read:
        return None
    # A cut opens the next fit-up: all checks of this one saw the same edges.
    lost = rows.cuts.lost_nm(fit_up, read[0], seam)
    values = [(check, value) for check in read for value in rows.readings[check.pk]]
    pulled, unlike = brought_back(values, own, seam, lost)
    return FirstFit(
        part=fit_up.part,
        pull=pull,
        airframe=fit_up.airframe,
        fit_up=fit_up,
        check=read[0],
        opening=opening,
        nm={place: value.nm for place, value in pulled.items()},
        cut_nm={row: depth for row, depth in enumerate(lost) if depth},
        unlike=unlike,
        by={place: value.check for place, value in pulled.items()},
        zeros=rows.zeros,
    )


@dataclass(frozen=True)
class AsPulled:
    """What was read at a place, brought back, the verdict of what was read, and the
    check that read it."""

    nm: int
    verdict: str
    check: Check


def brought_back(
    values: Iterable[tuple[Check, CurrentReading]],
    own: Seam,
    seam: Seam,
    lost: Sequence[int],
) -> tuple[dict[tuple[int, str], AsPulled], int]:
    """(what one fit-up read, on bare edges and with what they lost taken off the gap
    again, by row of the seam as it is now and kind; how many readings were elsewhere).

    Of a place that was read in two checks the first counts. own: the stations that it
    was read at; lost: nm, by row of the seam.
    """
    labels = {station.pk: station.label for station in own.stations}
    kept = places_kept(own, seam)
    as_pulled: dict[tuple[int, str], AsPulled] = {}
    unlike = 0
    for check, value in values:
        row = kept.get(labels[value.station_id])
        if row is None:
            unlike += 1
            continue
        shift = to_bare_nm(seam.stations[row], value.kind, check.finish)
        gone = lost[row] if value.kind == Kind.GAP else 0
        nm = value.reading.value_nm + shift - gone
        as_pulled.setdefault(
            (row, value.kind), AsPulled(nm, value.reading.verdict, check)
        )
    return as_pulled, unlike


def places_kept(own: Seam, seam: Seam) -> dict[str, int]:
    """Rows of the seam as it is now, by the labels of another revision, of stations
    that are still where they were."""
    kept = {}
    for label, row in own.rows.items():
        now = seam.rows.get(label)
        if now is not None:
            apart = own.places[row] - seam.places[now]
            if float((apart**2).sum()) <= SAME_PLACE_MM**2:
                kept[label] = now
    return kept


def to_bare_nm(station: Station, kind: str, finish: str) -> int:
    """What a reading would be more before the finish was put on."""
    if finish == Finish.BARE:
        return 0
    sides = [
        requirements.requirement(station, kind, worn) for worn in (Finish.BARE, finish)
    ]
    for bare, now in zip(*(side.limits for side in sides), strict=True):
        if bare is not None:
            return bare - now
    return 0
