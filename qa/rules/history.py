"""Everything that happened to the joints of a part on one airframe, loaded at once.

The number of statements is constant, whatever the number of joints, fit-ups, checks and
readings. What goes stale and what was predicted is worked out from these rows.
"""

from collections import defaultdict
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
from shop.models.prepared import Prepared, Slot, Slots
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
    "fit_up__airframe": Slot("airframe"),
    "fit_up__joint__in": Slots("joints"),
}
FIT_UPS = Prepared(
    lambda: (
        FitUp.objects.filter(airframe=Slot("airframe"), joint__in=Slots("joints"))
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
    history = History(airframe, joints)
    here = {"airframe": airframe.pk, "joints": [joint.pk for joint in joints]}
    groups = defaultdict(list)
    parts = set()
    for fit_up in FIT_UPS.rows(**here):
        fit_up.airframe = airframe
        groups[fit_up.joint_id].append(fit_up)
        parts.update({fit_up.part_id, fit_up.surround_part_id} - {None})
    history.fit_ups = dict(groups)
    _load_cuts(history, parts)
    _load_seams(history)
    if not parts:
        return history
    history.checks = _grouped(CHECKS.rows(**here), "fit_up_id")
    history.moves = _grouped(MOVES.rows(**here), "fit_up_id")
    labels = {s.pk: s.label for seam in history.seams.values() for s in seam.stations}
    for stands in STAND.rows(**here):
        row = labels[stands.station_id], stands.reading, stands.clash
        history.readings.setdefault(stands.fit_check_id, []).append(row)
    own = [row for rows in history.fit_ups.values() for row in rows]
    for fit_up in own:
        for check in history.checks.get(fit_up.pk, ()):
            check.fit_up = fit_up
    history.touches = touched.load(own, joints)
    return history


def _load_cuts(history: History, parts: set[int]) -> None:
    """Cuts of these serials at these joints, also those made on another airframe."""
    joints = [joint.pk for joint in history.joints]
    for cut in CUTS.rows(parts=parts, joints=joints) if parts else ():
        fit_up = cut.fit_up
        key = (fit_up.joint_id, cut.side, fit_up.pk)
        history.cut_before.setdefault(key, []).append(cut)
        if fit_up.airframe_id == history.airframe.pk:
            history.cuts.setdefault((fit_up.pk, cut.side), []).append(cut)


def _load_seams(history: History) -> None:
    revisions = {
        row.revision_id: row.revision
        for rows in history.fit_ups.values()
        for row in rows
    }
    elsewhere = {
        cuts[0].fit_up.revision_id for cuts in history.cut_before.values()
    } - set(revisions)
    joints = {joint.pk: joint for joint in history.joints}
    wanted = [*revisions, *elsewhere]
    for station in STATIONS.rows(revisions=wanted) if wanted else ():
        revision = revisions.setdefault(station.revision_id, station.revision)
        revision.joint = joints[revision.joint_id]
        station.revision = revision
        seam = history.seams.setdefault(revision.pk, Seam(revision, []))
        seam.stations.append(station)
    for rows in history.fit_ups.values():
        for row in rows:
            row.revision = revisions[row.revision_id]
            row.joint = joints[row.joint_id]


def _grouped(rows, key: str) -> dict:
    groups = defaultdict(list)
    for row in rows:
        groups[getattr(row, key)].append(row)
    return dict(groups)
