"""Everything that happened to the joints of a part on one airframe, loaded at once.

The number of statements is constant, whatever the number of joints, fit-ups, checks and
readings. What goes stale and what was predicted is worked out from these rows.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from qa.models import (
    AppliedMove,
    Check,
    CurrentReading,
    FitUp,
    Joint,
    JointRevision,
    Reading,
    Side,
    Station,
    TrimCut,
)
from qa.numeric.geometry import cut_line
from qa.rules import touches as touched
from qa.rules.station_places import along_seam, places_of
from qa.rules.touches import Touches
from shop.models import Airframe
from shop.models.prepared_statements import Prepared, Slots
from shop.numeric.units import to_mm

FIT_UP = (
    "entry__by",
    "part__design",
    "surround_part__design",
    "revision",
    "joint__position",
    "joint__surround",
)
OF_FIT_UPS = {
    "fit_up__airframe__in": Slots("airframes"),
    "fit_up__joint__in": Slots("joints"),
}
FIT_UPS = Prepared(
    lambda: (
        FitUp.objects.filter(airframe__in=Slots("airframes"), joint__in=Slots("joints"))
        .select_related(*FIT_UP)
        .order_by("number")
    )
)
CHECKS = Prepared(
    lambda: (
        Check.objects.filter(**OF_FIT_UPS)
        .select_related("entry__by", "instrument", "state")
        .order_by("number")
    )
)
MOVES = Prepared(
    lambda: (
        AppliedMove.objects.filter(**OF_FIT_UPS).select_related("entry").order_by("pk")
    )
)
STAND = Prepared(
    lambda: (
        CurrentReading.objects.filter(
            **{f"fit_check__{name}": slot for name, slot in OF_FIT_UPS.items()}
        )
        .select_related("reading")
        .order_by("pk")
    )
)
CUTS = Prepared(
    lambda: (
        TrimCut.objects.filter(
            part__in=Slots("parts"), fit_up__joint__in=Slots("joints")
        )
        .select_related("fit_up")
        .order_by("pk")
    )
)
STATIONS = Prepared(
    lambda: (
        Station.objects.filter(revision__in=Slots("revisions"))
        .select_related("revision")
        .order_by("revision_id", "order")
    )
)


@dataclass
class Seam:
    """The stations of one revision, in order, and where they lie along the seam."""

    revision: JointRevision
    stations: list[Station]

    @cached_property
    def along(self) -> tuple[list[float], float]:
        return along_seam(self.stations, self.revision.closed)

    @property
    def s(self) -> list[float]:
        """Position of each station along the seam, mm."""
        return self.along[0]

    @property
    def length(self) -> float:
        return self.along[1]

    @cached_property
    def rows(self) -> dict[str, int]:
        return {station.label: row for row, station in enumerate(self.stations)}

    @cached_property
    def places(self) -> np.ndarray:
        return places_of(self.stations)[0]

    def depths(self, cuts: list[tuple[float, float]], of: "Seam") -> np.ndarray:
        """Depth (n,) mm at each station of a cut recorded along the seam `of`."""
        revision = of.revision
        if revision.pk == self.revision.pk:
            at = self.s
        else:
            at = cut_line.positions_on(
                self.places, of.places, of.s, of.length, revision.closed
            )
        return cut_line.depth_along(cuts, at, of.length, revision.closed)

    def cut_at(self, depths) -> set[str]:
        """Labels of the stations at which something came off."""
        pairs = zip(self.stations, depths, strict=True)
        return {station.label for station, depth in pairs if depth > 1e-6}


@dataclass
class History:
    """Rows by what they hang on. `fit_ups` by joint, oldest first."""

    airframe: Airframe
    joints: list[Joint]
    fit_ups: dict[int, list[FitUp]] = field(default_factory=dict)
    seams: dict[int, Seam] = field(default_factory=dict)
    checks: dict[int, list[Check]] = field(default_factory=dict)
    # (station label, reading, whether another one clashes with it)
    readings: dict[int, list[tuple[str, Reading, bool]]] = field(default_factory=dict)
    cuts: dict[tuple[int, str], list[TrimCut]] = field(default_factory=dict)
    moves: dict[int, list[AppliedMove]] = field(default_factory=dict)
    cut_before: dict[tuple[int, str, int], list[TrimCut]] = field(default_factory=dict)
    touches: Touches = field(default_factory=Touches)

    def cut_in(self, fit_up: FitUp, seam: Seam) -> dict[str, np.ndarray]:
        """Depth (n,) mm at each station taken off in a fit-up, by side."""
        return {
            side: seam.depths(
                [
                    (to_mm(c.s_nm), to_mm(c.depth_nm))
                    for c in self.cuts[fit_up.pk, side]
                ],
                self.seams[fit_up.revision_id],
            )
            for side in Side.values
            if (fit_up.pk, side) in self.cuts
        }

    def cut_at_all(self, fit_up: FitUp) -> bool:
        return any((fit_up.pk, side) in self.cuts for side in Side.values)

    def cut_elsewhere(self, after: FitUp, seam: Seam) -> frozenset[str]:
        """Labels cut on another airframe in the fit-up before this one of there."""
        cut = set()
        for cuts in self.cut_before.values():
            fit_up = cuts[0].fit_up
            there = (fit_up.airframe_id, fit_up.joint_id, fit_up.number + 1)
            if there == (after.airframe_id, after.joint_id, after.number):
                pairs = [(to_mm(c.s_nm), to_mm(c.depth_nm)) for c in cuts]
                cut |= seam.cut_at(seam.depths(pairs, self.seams[fit_up.revision_id]))
        return frozenset(cut)

    def lost(self, joint: Joint, part_id: int | None, side: str, seam: Seam):
        """Depth (n,) mm that a serial has lost on one side of a joint, ever."""
        total = np.zeros(len(seam.stations))
        for (of, where, _), cuts in self.cut_before.items():
            if where == side and of == joint.pk and cuts[0].part_id == part_id:
                revision = cuts[0].fit_up.revision_id
                pairs = [(to_mm(c.s_nm), to_mm(c.depth_nm)) for c in cuts]
                total += seam.depths(pairs, self.seams[revision])
        return total


def joints_of_part(airframe: Airframe, part_id: int) -> list[Joint]:
    """The joints of an airframe at which a serial was ever fitted."""
    rows = Joint.objects.filter(
        fit_ups__airframe=airframe, fit_ups__part_id=part_id
    ).select_related("position", "surround", "current", "type")
    return list(rows.distinct().order_by("number"))


def load(airframe: Airframe, joints: list[Joint]) -> History:
    """Return the history of joints on an airframe, in 12 statements."""
    return load_all({airframe: joints})[airframe]


def load_all(wanted: dict[Airframe, list[Joint]]) -> dict[Airframe, History]:
    """The same of several airframes, in as many statements. What hangs on keys of rows
    (seams, checks, readings, moves, touches) is one for all of them."""
    joints = {joint.pk: joint for own in wanted.values() for joint in own}
    fit_ups = _fit_ups(wanted, joints)
    every = [row for own in fit_ups.values() for rows in own.values() for row in rows]
    if not every:
        return {airframe: History(airframe, own) for airframe, own in wanted.items()}
    here = _here(wanted, joints)
    cuts = list(CUTS.rows(parts=_parts(every), joints=here["joints"]))
    seams = _seams(every, cuts, joints)
    shared = {
        "seams": seams,
        "checks": _grouped(CHECKS.rows(**here), "fit_up_id"),
        "moves": _grouped(MOVES.rows(**here), "fit_up_id"),
        "readings": _readings(here, seams),
    }
    by_key = {fit_up.pk: fit_up for fit_up in every}
    for key, rows in shared["checks"].items():
        for check in rows if key in by_key else ():
            check.fit_up = by_key[key]
    shared["touches"] = touched.load(every, list(joints.values()))
    histories = {}
    for airframe, own in wanted.items():
        history = History(airframe, own, fit_ups[airframe], **shared)
        _take_cuts(history, cuts)
        histories[airframe] = history
    return histories


def _here(wanted, joints: dict[int, Joint]) -> dict[str, list[int]]:
    return {"airframes": [airframe.pk for airframe in wanted], "joints": list(joints)}


def _fit_ups(wanted: dict[Airframe, list[Joint]], joints: dict[int, Joint]) -> dict:
    """{airframe: {joint: its fit-ups, oldest first}} of the joints wanted there."""
    airframes = {airframe.pk: airframe for airframe in wanted}
    own = {
        airframe: {joint.pk: [] for joint in rows} for airframe, rows in wanted.items()
    }
    for fit_up in FIT_UPS.rows(**_here(wanted, joints)):
        airframe = fit_up.airframe = airframes[fit_up.airframe_id]
        if fit_up.joint_id in own[airframe]:
            own[airframe][fit_up.joint_id].append(fit_up)
    return {
        airframe: {key: rows for key, rows in groups.items() if rows}
        for airframe, groups in own.items()
    }


def _parts(fit_ups: Iterable[FitUp]) -> set[int]:
    pairs = ((fit_up.part_id, fit_up.surround_part_id) for fit_up in fit_ups)
    return {part for pair in pairs for part in pair} - {None}


def _take_cuts(history: History, cuts: list[TrimCut]) -> None:
    """Those at its joints of the serials that were fitted there, also those made on
    another airframe."""
    joints = {joint.pk for joint in history.joints}
    parts = _parts(row for rows in history.fit_ups.values() for row in rows)
    for cut in cuts:
        fit_up = cut.fit_up
        if cut.part_id not in parts or fit_up.joint_id not in joints:
            continue
        key = (fit_up.joint_id, cut.side, fit_up.pk)
        history.cut_before.setdefault(key, []).append(cut)
        if fit_up.airframe_id == history.airframe.pk:
            history.cuts.setdefault((fit_up.pk, cut.side), []).append(cut)


def _seams(fit_ups, cuts, joints: dict[int, Joint]) -> dict[int, Seam]:
    """The seam of every revision that was fitted or cut, by its key."""
    revisions = {row.revision_id: row.revision for row in fit_ups}
    elsewhere = {cut.fit_up.revision_id for cut in cuts} - set(revisions)
    seams: dict[int, Seam] = {}
    for station in STATIONS.rows(revisions=[*revisions, *elsewhere]):
        revision = revisions.setdefault(station.revision_id, station.revision)
        revision.joint = joints[revision.joint_id]
        station.revision = revision
        seam = seams.setdefault(revision.pk, Seam(revision, []))
        seam.stations.append(station)
    for row in fit_ups:
        row.revision = revisions[row.revision_id]
        row.joint = joints[row.joint_id]
    return seams


def _readings(here: dict, seams: dict[int, Seam]) -> dict:
    labels = {s.pk: s.label for seam in seams.values() for s in seam.stations}
    readings = defaultdict(list)
    for stands in STAND.rows(**here):
        # Of a joint that is not wanted on that airframe nothing was loaded.
        if stands.station_id in labels:
            row = labels[stands.station_id], stands.reading, stands.clash
            readings[stands.fit_check_id].append(row)
    return dict(readings)


def _grouped(rows, key: str) -> dict:
    groups = defaultdict(list)
    for row in rows:
        groups[getattr(row, key)].append(row)
    return dict(groups)
