"""Rounds in which what holds a part was set: what was predicted, and what came."""

import math
from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from qa.models import AppliedMove, Joint, MoveKind
from qa.numeric.plan.adjusters import AdjusterError, Rig
from qa.numeric.plan.setting_spread import Came, SetRound, came, told_apart
from qa.rules import adjusters, history, rigs
from qa.rules.history import History, Seam
from qa.rules.staleness import JointState, states
from qa.rules.station_places import places_of
from qa.rules.trim_rounds import CUT_NM, Round, rounds_of
from shop.models import Airframe, Position
from shop.numeric.units import to_mm, to_nm

MOST_AIRFRAMES = 5  # the newest: how hands set does not change by the airframe
LITTLE = 0.01  # mm; so little is straight


@dataclass
class SetDone:
    """What hands set at once, and what was measured after it, joint by joint.

    `why` it tells nothing of the settings: "moved" otherwise too, set "twice", its
    effect "unpredicted", what holds it was stated "anew", or errors are "mixed" in what
    was measured; "" where it does.
    """

    airframe: Airframe
    words: str
    changes_nm: dict[str, int]
    why: str = ""
    measured: list[tuple[JointState, Round]] = field(default_factory=list)

    @property
    def apart_nm(self) -> list[int]:
        """Measured less predicted of every reading that stands by itself."""
        every = [station for _, round_ in self.measured for station in round_.stations]
        both = [
            nm
            for station in every
            for nm in (station.gap_apart_nm, station.flush_apart_nm)
        ]
        return [nm for nm in both if nm is not None]


@dataclass
class StationCame:
    """One station over every round with a prediction, nm measured less predicted."""

    label: str
    gaps: list[int] = field(default_factory=list)
    flushes: list[int] = field(default_factory=list)


@dataclass(frozen=True)
class Story:
    """Settings oldest first; adjusters as `came` tells; stations by joint."""

    done: list[SetDone]
    came: tuple[Came, ...]
    stations: list[tuple[Joint, list[StationCame]]]


def of_position(position: Position) -> Story:
    """What came after the settings of the part in a position, on the airframes where
    it was set last. A constant number of statements an airframe."""
    done: list[SetDone] = []
    set_rounds: list[SetRound] = []
    stations: dict[Joint, dict[str, StationCame]] = {}
    wanted = Airframe.objects.filter(settings__position=position)
    joints = list(
        Joint.objects.filter(position=position, current__isnull=False)
        .select_related("position", "surround", "current", "type")
        .order_by("number")
    )
    for airframe in wanted.distinct().order_by("-pk")[:MOST_AIRFRAMES]:
        rows = history.load(airframe, joints)
        by_joint = {
            key: (state, rounds_of(rows, state)) for key, state in states(rows).items()
        }
        for state, rounds in by_joint.values():
            _count(stations.setdefault(state.joint, {}), rounds)
        events = _events(airframe, rows, by_joint)
        effects = _Effects(adjusters.present(airframe, position), rows)
        for done_set in events:
            set_rounds += _told(done_set, rows, effects)
        done += events
    known = [
        (
            joint,
            [
                came_there
                for came_there in by_label.values()
                if came_there.gaps or came_there.flushes
            ],
        )
        for joint, by_label in stations.items()
    ]
    return Story(done, came(set_rounds), [pair for pair in known if pair[1]])


def _count(by_label: dict[str, StationCame], rounds: list[Round]) -> None:
    for measured in (station for round_ in rounds for station in round_.stations):
        row = by_label.setdefault(measured.label, StationCame(measured.label))
        if measured.gap_apart_nm is not None:
            row.gaps.append(measured.gap_apart_nm)
        if measured.flush_apart_nm is not None:
            row.flushes.append(measured.flush_apart_nm)


def _events(airframe, rows: History, by_joint) -> list[SetDone]:
    """Settings with something measured after them; those of several joints are one."""
    events: dict[tuple, SetDone] = {}
    for state, rounds in by_joint.values():
        for done_round in rounds:
            moves = done_round.epoch.moves
            sets = [move for move in moves if move.kind == MoveKind.SET]
            if not sets:
                continue
            key = tuple(move.entry_id for move in sets)
            if key not in events:
                why = _why_not(moves, sets)
                words = "; ".join(move.words for move in sets)
                events[key] = SetDone(airframe, words, _changes(sets), why)
            events[key].measured.append((state, done_round))
    return sorted(events.values(), key=lambda event: event.measured[0][1].epoch.began)


def _why_not(moves: list[AppliedMove], sets: list[AppliedMove]) -> str:
    if len(moves) > len(sets):
        return "moved"
    if not all(move.changes for move in sets):
        return "unpredicted"
    return "twice" if len(sets) > 1 else ""


def _changes(sets: list[AppliedMove]) -> dict[str, int]:
    changes: dict[str, int] = defaultdict(int)
    for move in sets:
        for amount in move.amounts:
            changes[amount["name"]] += to_nm(float(amount["amount"]))
    return {name: nm for name, nm in changes.items() if nm}


class _Effects:
    """What 1 mm at each adjuster does along a seam: (n, k) of gaps and of flushes."""

    def __init__(self, present, rows: History):
        self.names = [adjuster.name for adjuster in present]
        self.rig = None
        every = [seam.places for seam in rows.seams.values() if seam.stations]
        if not present or not every:
            return
        places = np.vstack(every)
        rho = math.sqrt(((places - places.mean(axis=0)) ** 2).sum(axis=1).mean())
        try:
            self.rig = Rig(rigs.numeric_of(present), rho)
        except (AdjusterError, rigs.CannotBeSet):
            return

    def knows(self, names) -> bool:
        return self.rig is not None and set(names) <= set(self.names)

    def of(self, seam: Seam, names) -> tuple[np.ndarray, np.ndarray]:
        places, gaps, faces = places_of(seam.stations)
        columns = []
        for name in names:
            changes = np.zeros(len(self.names))
            changes[self.names.index(name)] = LITTLE
            columns.append(self.rig.displaced(changes, places)[0] / LITTLE)
        moved = np.array(columns)
        return (
            -np.einsum("kij,ij->ik", moved, gaps),
            np.einsum("kij,ij->ik", moved, faces),
        )


def _told(done_set: SetDone, rows: History, effects: _Effects) -> list[SetRound]:
    """What an event tells of its adjusters, [] where it does not (and `why`)."""
    names = tuple(done_set.changes_nm)
    if not done_set.why and not effects.knows(names):
        done_set.why = "anew"
    if done_set.why:
        return []
    effect, apart = [], []
    for _state, round_ in done_set.measured:
        seam = rows.seams[round_.epoch.fit_up.revision_id]
        gaps, flushes = effects.of(seam, names)
        for station in round_.stations:
            row = seam.rows[station.label]
            cut = station.taken_nm > CUT_NM  # its gap tells of the cut as well
            for does, nm in (
                (gaps[row], None if cut else station.gap_apart_nm),
                (flushes[row], station.flush_apart_nm),
            ):
                if nm is not None:
                    effect.append(does)
                    apart.append(to_mm(nm))
    set_round = SetRound(
        names, np.array(effect).reshape(-1, len(names)), np.array(apart)
    )
    if not told_apart(set_round):
        done_set.why = "mixed"
        return []
    return [set_round]
