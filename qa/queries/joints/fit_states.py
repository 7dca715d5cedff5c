"""A joint on an airframe as it is now, and every round that led here."""

from dataclasses import dataclass, field, replace
from datetime import datetime

from qa.drawing.joint_map import JointMap
from qa.models import Check, FitPlan, Joint, Kind, Side
from qa.numeric.geometry import outline
from qa.queries.checks.unconfirmed import found_off
from qa.queries.joints import drawings
from qa.queries.plans.plan_records import asked_words
from qa.queries.plans.plan_texts import run_words
from qa.rules import history, requirements, staleness
from qa.rules import trim_rounds as rounds
from qa.rules.epochs import Epoch
from qa.rules.plan_records import plan_now
from qa.rules.staleness import JointState
from qa.wording import lengths
from qa.wording.findings import span
from shop.models import Airframe
from shop.numeric.units import MM2_PER_IN2, to_nm
from shop.wording import states
from shop.wording.states import fails as failing


@dataclass(frozen=True)
class StationNow:
    """One station: what stands, or that it is stale and why. Texts without unit."""

    label: str
    gap: str
    gap_state: str
    flush: str
    flush_state: str
    gap_at_20: str
    since: str
    carried: bool
    stale: bool
    why: str
    first: int | None
    lost: str
    left: str


@dataclass(frozen=True)
class RoundRow:
    """One round in the table of rounds."""

    number: int
    began_at: datetime
    words: str
    measured: int
    conforms: int
    does_not_conform: int
    not_proven: int
    carried: int
    worst: str
    ratio: str
    shown: bool


@dataclass(frozen=True)
class RoundLine:
    """One station of the round that is shown: predicted against measured."""

    label: str
    taken: str
    lost: str
    gap_before: str
    gap_predicted: str
    gap: str
    gap_apart: str
    flush_predicted: str
    flush: str
    flush_apart: str
    carried: bool


@dataclass(frozen=True)
class JointNow:
    """Everything the page shows. `newest` is the check to plan by, None when nothing
    was measured since the part last changed."""

    state: JointState
    unit: str
    map: JointMap
    stations: list[StationNow]
    first: list[str]
    proposed: tuple[str, ...]
    witness_words: str
    why: str
    bar: str
    off: str
    rounds: list[RoundRow]
    lines: list[RoundLine]
    shown: int | None
    newest: Check | None
    shortfall: str
    counts: dict
    lost_area: str
    others: list[str]
    plan: FitPlan | None = None
    # Instruments of what stands that were found off since.
    doubts: list[str] = field(default_factory=list)

    @property
    def plan_words(self) -> str:
        """What the plan that stands asks for."""
        return asked_words(self.plan, self.unit) if self.plan else ""

    @property
    def at_20(self) -> bool:
        return any(station.gap_at_20 for station in self.stations)

    @property
    def compared(self) -> bool:
        """Whether the round that is shown has anything to compare with."""
        return any(line.gap_before or line.taken for line in self.lines)

    @property
    def all_current(self) -> bool:
        return not any(station.stale for station in self.stations)


def joint_now(
    joint: Joint, airframe: Airframe, unit: str, shown: int | None = None
) -> JointNow | None:
    """Return the state of a joint on an airframe, None before its first fit-up; in a
    constant number of statements, whatever the number of rounds."""
    part_id = staleness.part_fitted(joint, airframe)
    if part_id is None:
        return None
    rows = history.load(airframe, history.joints_of_part(airframe, part_id))
    state = staleness.states(rows)[joint.pk]
    state.revision.joint = state.joint
    done = rounds.rounds_of(rows, state)
    numbers = [done_round.number for done_round in done]
    shown = shown if shown in numbers else (numbers[-1] if numbers else None)
    lost = {
        side: rows.lost(joint, part, side, state.seam)
        for side, part in (
            (Side.PART, state.fit_up.part_id),
            (Side.SURROUND, state.fit_up.surround_part_id),
        )
    }
    stations = [
        _station(state, row, lost, unit) for row in range(len(state.seam.stations))
    ]
    checks = [check for check in state.now.checks if state.now.measured]
    return JointNow(
        state=state,
        unit=unit,
        map=_map(state, stations, unit),
        stations=stations,
        first=state.to_measure,
        proposed=state.proposed if state.now.stale else (),
        witness_words=_witness_words(state, unit),
        why=state.now.reasons,
        bar=_barred(state.now) if state.now.bar and state.now.stale else "",
        off=state.off,
        rounds=[
            _round(round_, unit, round_.number == shown) for round_ in reversed(done)
        ],
        lines=_lines(done, shown, unit),
        shown=shown,
        newest=checks[-1] if checks else None,
        shortfall=rounds.shortfall_text(done),
        counts=_counts(stations),
        lost_area=_lost_area(state, lost, unit),
        others=[other.number for other in rows.joints if other.pk != joint.pk],
        plan=plan_now(airframe, part_id),
        doubts=found_off(value.check for value in state.now.values.values()),
    )


def _station(state: JointState, row: int, lost, unit: str) -> StationNow:
    station, label = state.seam.stations[row], state.seam.stations[row].label
    texts, states, why, since, carried, stale = {}, {}, "", "", False, False
    at_20 = None
    for kind in Kind.values:
        value = state.now.values.get((label, kind))
        old = state.now.stale.get((label, kind))
        finish = _finish(state)
        wanted = requirements.requirement(station, kind, finish)
        if value:
            reading = value.reading
            texts[kind] = lengths.on_map(
                reading.value_nm,
                unit,
                signed=kind == Kind.FLUSH,
                beyond=reading.deviation_nm,
            )
            states[kind] = drawings.state_of(reading, wanted)
            since = f"{value.check.label}, fit-up {value.fit_up.number}"
            carried |= value.carried
            if kind == Kind.GAP:
                value.check.fit_up = value.fit_up
                at_20 = requirements.gap_at_20_nm(value.check, reading.value_nm)
        elif old:
            # A stale value is never shown as if it were present.
            texts[kind], states[kind], stale, why = "", "stale", True, old.why
        else:
            texts[kind] = ""
            states[kind] = "" if wanted.empty else "not_measured"
    order = state.to_measure
    gone = sum(float(depths[row]) for depths in lost.values())
    side = requirements.side_to_cut(station, None)
    left = requirements.left_to_cut_mm(station, side, lost, row)
    return StationNow(
        label=label,
        gap=texts[Kind.GAP],
        gap_state=states[Kind.GAP],
        flush=texts[Kind.FLUSH],
        flush_state=states[Kind.FLUSH],
        gap_at_20=lengths.on_map(at_20, unit),
        since=since,
        carried=carried,
        stale=stale,
        why=why,
        first=order.index(label) + 1 if label in order else None,
        lost=lengths.on_map(to_nm(gone), unit) if gone > 1e-6 else "",
        left="" if left is None else lengths.on_map(to_nm(left), unit),
    )


def _finish(state: JointState) -> str:
    for epoch in reversed(state.epochs):
        if epoch.checks:
            return epoch.checks[-1].finish
    return "finished"


def _map(state: JointState, stations: list[StationNow], unit: str) -> JointMap:
    drawn = drawings.map_of(
        state.revision,
        state.seam.stations,
        unit=unit,
        title=f"{state.joint.number} {state.joint.name} on {state.airframe.serial}",
    )
    first = stations and next((s.label for s in stations if s.first == 1), "")
    return replace(
        drawn,
        stations=tuple(
            replace(
                station,
                gap_text=now.gap,
                flush_text=now.flush,
                gap_state=now.gap_state,
                flush_state=now.flush_state,
                active=now.label == first,
            )
            for station, now in zip(drawn.stations, stations, strict=True)
        ),
    )


def _counts(stations: list[StationNow]) -> dict:
    states = [
        s for station in stations for s in (station.gap_state, station.flush_state) if s
    ]
    not_conforming = sum(map(failing, states))
    return {
        "conforms": states.count("conforms"),
        "does_not_conform": not_conforming,
        "not_proven": states.count("not_proven"),
        "stale": states.count("stale"),
        "not_measured": states.count("not_measured") + states.count("skipped"),
    }


def _witness_words(state: JointState, unit: str) -> str:
    """What the witnesses of the newest state say, in sentences."""
    witnesses, epoch = state.now.witnesses, state.now
    if not epoch.before or not epoch.measured:
        return ""
    if epoch.bar:
        return _barred(epoch)
    if witnesses.repeatability_nm is None:
        return (
            "Nothing states how well a reading repeats here, neither the joint nor the "
            "instrument: every station has to be measured again."
        )
    within = lengths.length(witnesses.repeatability_nm, unit, 3 if unit == "mm" else 4)
    if witnesses.apart:
        apart = ", ".join(
            f"{label} {kind} by {lengths.length(abs(nm), unit)}"
            for label, kind, nm in witnesses.apart[:4]
        )
        return (
            f"The part sits otherwise than before: not within {within} at {apart}. "
            "Every station has to be measured again."
        )
    sentences = []
    for kind in Kind.values:
        if not any(key[1] == kind for key in epoch.before):
            continue
        word = Kind(kind).label
        names = witnesses.by_kind.get(kind, ())
        if kind in witnesses.kinds:
            where = run_words(state.seam, set(names))
            sentences.append(
                f"Witnesses {where} repeat within {within} in {word}: uncut stations "
                f"are kept for {word}."
            )
        else:
            sentences.append(
                f"{len(names)} of 3 well-spread witnesses repeat within {within} in "
                f"{word} so far."
            )
    return " ".join(sentences)


def _barred(epoch: Epoch) -> str:
    """Why no witness speaks here."""
    return (
        f"Since it was measured before: {epoch.bar}. No witness can speak for another "
        "station across that: every station has to be measured again."
    )


def _lost_area(state: JointState, lost, unit: str) -> str:
    """What the edges have lost in all: depth times length of edge."""
    weights = outline.length_weights(state.seam.places, state.revision.closed)
    area = sum(float(weights @ depths) for depths in lost.values())
    if area < 0.5:
        return ""
    return f"{area / MM2_PER_IN2:.3f} in²" if unit == "in" else f"{area:.0f} mm²"


def _round(done_round: rounds.Round, unit: str, shown: bool) -> RoundRow:
    epoch, worst = done_round.epoch, done_round.worst
    verdicts = [value.reading.verdict for value in epoch.measured.values()]
    apart = ""
    if worst is not None:
        size = lengths.on_map(worst.gap_apart_nm, unit, signed=True)
        apart = f"{size} at {worst.label}"
    return RoundRow(
        number=done_round.number,
        began_at=epoch.began_at or epoch.fit_up.entry.received_at,
        words="; ".join(done_round.words),
        measured=len({label for label, _ in epoch.measured}),
        conforms=verdicts.count("conforms"),
        does_not_conform=verdicts.count("does_not_conform"),
        not_proven=verdicts.count("not_proven"),
        carried=len({key[0] for key, value in epoch.values.items() if value.carried}),
        worst=apart,
        ratio="" if done_round.ratio is None else f"{done_round.ratio:.2f}",
        shown=shown,
    )


def _lines(done: list[rounds.Round], shown: int | None, unit: str) -> list[RoundLine]:
    rounds_shown = [round_ for round_ in done if round_.number == shown]

    def text(nm, *, signed=False):
        return lengths.on_map(nm, unit, signed=signed)

    return [
        RoundLine(
            label=station.label,
            taken=text(station.taken_nm) if station.taken_nm > rounds.CUT_NM else "",
            lost=text(station.lost_nm) if station.lost_nm > rounds.CUT_NM else "",
            gap_before=text(station.gap_before_nm),
            gap_predicted=text(station.gap_predicted_nm),
            gap=text(station.gap_nm),
            gap_apart=text(station.gap_apart_nm, signed=True),
            flush_predicted=text(station.flush_predicted_nm, signed=True),
            flush=text(station.flush_nm, signed=True),
            flush_apart=text(station.flush_apart_nm, signed=True),
            carried=station.carried,
        )
        for station in (rounds_shown[-1].stations if rounds_shown else [])
    ]


def to_do(now: JointNow) -> list[str]:
    """What does not conform now, as work: grouped along the seam, of every check that
    stands."""
    labels_by_word: dict[str, list[str]] = {}
    for station in now.stations:
        for kind, state in (("gap", station.gap_state), ("flush", station.flush_state)):
            if failing(state):
                labels_by_word.setdefault(states.word(state, kind), []).append(
                    station.label
                )
    return [f"{word}: {span(labels)}" for word, labels in labels_by_word.items()]
