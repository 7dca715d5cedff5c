"""Rounds of fitting: what was predicted, what was measured, what came off."""

from dataclasses import dataclass, field

from qa.models import Kind, Side
from qa.numeric.plan import bite
from qa.numeric.plan.bite import Shortfall
from qa.rules.history import History
from qa.rules.staleness import Epoch, JointState
from shop.numeric.units import NM_PER_MM, NM_PER_UM, to_mm, to_nm

RECENT = 4  # rounds that the next bite learns from
CUT_NM = NM_PER_UM


@dataclass(frozen=True)
class StationRound:
    """One station in one round, nm; None where it was not measured.

    `taken_nm` came off in this round, `lost_nm` in all until then, both sides together.
    """

    label: str
    taken_nm: int
    lost_nm: int
    gap_before_nm: int | None
    gap_predicted_nm: int | None
    gap_nm: int | None
    flush_before_nm: int | None
    flush_predicted_nm: int | None
    flush_nm: int | None
    carried: bool

    @property
    def gap_apart_nm(self) -> int | None:
        """Measured less predicted."""
        if None in (self.gap_nm, self.gap_predicted_nm) or self.carried:
            return None
        return self.gap_nm - self.gap_predicted_nm

    @property
    def flush_apart_nm(self) -> int | None:
        if None in (self.flush_nm, self.flush_predicted_nm) or self.carried:
            return None
        return self.flush_nm - self.flush_predicted_nm


@dataclass
class Round:
    """From one measured state to the next. `words` say what was done in between."""

    epoch: Epoch
    words: tuple[str, ...]
    stations: list[StationRound]
    cuts: list[bite.Round] = field(default_factory=list)

    @property
    def number(self) -> int:
        return self.epoch.fit_up.number

    @property
    def taken(self) -> list[StationRound]:
        return [station for station in self.stations if station.taken_nm > CUT_NM]

    @property
    def ratio(self) -> float | None:
        """Measured over predicted removal in this round."""
        lesson = bite.learned(self.cuts)
        return lesson.ratio if lesson else None

    @property
    def worst(self) -> StationRound | None:
        """The station whose gap ended furthest from what was predicted."""
        known = [
            station for station in self.stations if station.gap_apart_nm is not None
        ]
        return max(known, key=lambda station: abs(station.gap_apart_nm), default=None)


def rounds_of(rows: History, state: JointState) -> list[Round]:
    """Every epoch with something measured, oldest first."""
    rounds, lost = [], {}
    for epoch in state.epochs:
        if epoch.swapped:
            lost = {}
        seam = rows.seams[epoch.fit_up.revision_id]
        taken, moved, done_words = _done(rows, epoch, seam)
        if not epoch.measured:
            continue
        for label, depth in taken.items():
            lost[label] = lost.get(label, 0) + depth
        stations = [
            _station(epoch, label, taken.get(label, 0), lost.get(label, 0), moved)
            for label in seam.rows
        ]
        done = Round(epoch, done_words, stations)
        done.cuts = [
            bite.Round(
                predicted=to_mm(station.taken_nm),
                measured=to_mm(station.taken_nm + station.gap_apart_nm),
            )
            for station in done.taken
            if station.gap_apart_nm is not None
        ]
        rounds.append(done)
    return rounds


def expected(rows: History, state: JointState) -> dict[tuple[str, str], int]:
    """What each field should read now, nm: what stood before, and what the cuts and
    moves since should have done to it. Only where something was done."""
    epoch = state.now
    seam = rows.seams[epoch.fit_up.revision_id]
    taken, moved, _words = _done(rows, epoch, seam)
    readings = {}
    for label in seam.rows:
        cut = taken.get(label, 0)
        if cut <= CUT_NM and label not in moved:
            continue
        station = _station(epoch, label, cut, cut, moved)
        readings[label, Kind.GAP] = station.gap_predicted_nm
        readings[label, Kind.FLUSH] = station.flush_predicted_nm
    return {key: nm for key, nm in readings.items() if nm is not None}


def shortfall(rounds: list[Round]) -> Shortfall | None:
    """What the last few rounds with a cut say about the next."""
    cut = [round_ for round_ in rounds if round_.cuts][-RECENT:]
    return bite.learned([each for round_ in cut for each in round_.cuts])


def shortfall_text(rounds: list[Round]) -> str:
    """The same in words, "" unless it lasts."""
    learned = shortfall(rounds)
    if learned is None or not learned.lasting:
        return ""
    count = len([done for done in rounds if done.cuts][-RECENT:])
    over = "the last round" if count == 1 else f"the last {count} rounds"
    why = (
        "the part springs back, or the tool leaves material"
        if learned.ratio < 1
        else "more comes off than is planned"
    )
    return (
        f"Measured change was {learned.ratio:.2f} of what was predicted over {over} "
        f"({learned.count} cuts; {why}). The next bite takes it into account."
    )


def _done(rows: History, epoch: Epoch, seam):
    """What was cut {label: nm} and moved {label: [gap, flush]} on the way here."""
    taken: dict[str, int] = {}
    moved: dict[str, list[int]] = {}
    words = []
    for fit_up in epoch.left:
        for side, depths in rows.cut_in(fit_up, seam).items():
            deepest = max(depths, default=0.0)
            count = int((depths * NM_PER_MM > CUT_NM).sum())
            whose = "the part" if side == Side.PART else "the surround"
            places = "station" if count == 1 else "stations"
            words.append(f"{deepest:.2f} mm at most off {whose}, {count} {places}")
            for label, row in seam.rows.items():
                taken[label] = taken.get(label, 0) + to_nm(float(depths[row]))
    for move in epoch.moves:
        words.append(move.words)
        for label, change in move.changes.items():
            before = moved.get(label, [0, 0])
            moved[label] = [a + b for a, b in zip(before, change, strict=True)]
    return taken, moved, tuple(words or [epoch.why])


def _station(epoch: Epoch, label, taken, lost, moved) -> StationRound:
    values = {}
    change = dict(zip(Kind.values, moved.get(label, [0, 0]), strict=True))
    change[Kind.GAP] += taken
    carried = False
    for kind in Kind.values:
        before, now = epoch.before.get((label, kind)), epoch.values.get((label, kind))
        known = before is not None and bool(epoch.left or epoch.moves)
        values[f"{kind}_before_nm"] = before.reading.value_nm if before else None
        values[f"{kind}_predicted_nm"] = (
            before.reading.value_nm + change[kind] if known else None
        )
        values[f"{kind}_nm"] = now.reading.value_nm if now else None
        carried |= bool(now and now.carried)
    return StationRound(label, taken, lost, carried=carried, **values)
