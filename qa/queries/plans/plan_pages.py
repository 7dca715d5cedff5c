"""A plan as its page and its papers show it."""

import math
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from qa.drawing import plan_map, profile, svg
from qa.drawing.joint_map import Layout
from qa.drawing.plan_map import PlanMap, PlanStation
from qa.drawing.profile import Profile
from qa.drawing.projection import view_from_outside
from qa.models import Check, FitPlan, Kind, Side
from qa.numeric.plan.motions import rigid_move
from qa.numeric.plan.result import FITS, Move, Plan
from qa.numeric.verdict import acceptance
from qa.queries.joints import drawings as maps
from qa.queries.plans import known_texts, move_texts, plan_texts
from qa.rules import next_moves, overtaking, requirements, trim_rounds
from qa.rules.moved import Moved, changes_at, rows_around
from qa.rules.planning import PlannedJoint, WorkedPlan
from qa.rules.station_places import places_of
from qa.wording import lengths
from qa.wording import plans as wording
from qa.wording.probabilities import percent
from shop.numeric.units import MM2_PER_IN2, to_nm
from shop.wording import states

HALF = Layout(radius=23, text=27, values="needed", strip=40)


@dataclass(frozen=True)
class PlanRow:
    """One station of a plan, as final texts in the person's unit; nm where acts need
    them. States are those a map draws."""

    check: str
    name: str
    label: str
    gap_now: str
    gap_after: str
    gap_at_20: str
    flush_now: str
    flush_after: str
    gap_state: str
    gap_state_after: str
    flush_state: str
    flush_state_after: str
    carried: bool
    side: str
    side_word: str
    trim: str
    trim_known: str
    bite: str
    bite_known: str
    bite_nm: int
    bite_half: float | None
    lost: str
    left: str
    reason: str


@dataclass(frozen=True)
class Drawing:
    """One joint of the plan, drawn before and after, and its profile."""

    name: str
    map: PlanMap
    before: str
    after: str
    profile: str


@dataclass(frozen=True)
class PlanView:
    """A plan whole. `worked.plan` is None when `problem` says why there is none."""

    worked: WorkedPlan
    unit: str
    state: str
    outcome: str
    steps: list[str]
    rows: list[PlanRow]
    drawings: list[Drawing]
    impossible: list[str]
    warnings: list[str]
    held: list[str]
    probability: str
    worst: list[tuple[str, str, str]]
    area: str
    shortfall: str
    moves: list[str]
    share: float
    at_20: bool
    known: str = ""
    shared_errors: str = ""

    @property
    def cuts(self) -> list[PlanRow]:
        return [row for row in self.rows if row.bite_nm]

    @property
    def sits_well(self) -> bool:
        return next_moves.sits_well(self.worked)

    @property
    def measured(self) -> bool:
        """False of a pre-trim, which rests on no reading of this part."""
        return bool(self.worked.plan) and self.worked.plan.measured

    @property
    def least_cut(self) -> str:
        return lengths.mm(self.worked.least_cut, self.unit)

    @property
    def waits_for_release(self) -> bool:
        return any(not done for _, _, done in self.worked.to_release())

    @property
    def record(self) -> FitPlan | None:
        return self.worked.record

    @property
    def overtaken(self) -> str:
        """What happened since, of a plan on record; "" when it holds."""
        return overtaking.in_words(self.worked.changes)

    @property
    def checks(self) -> list[Check]:
        return [joint.check for joint in self.worked.joints]


def view_of(worked: WorkedPlan, unit: str, *, degrees: bool = False) -> PlanView:
    """degrees: turns are told in degrees too, as was asked for."""
    learned = trim_rounds.shortfall_text(worked.main.rounds)
    if worked.plan is None:
        none = [[] for _ in range(6)]
        unsolved = worked, unit, "not_measured", worked.problem
        return PlanView(*unsolved, *none, "", [], "", learned, [], 1.0, at_20=False)
    plan = worked.plan
    state, sentence = plan_texts.outcome(worked)
    rows = [_row(worked, *station, unit) for station in worked.stations()]
    share = next_moves.free_share(worked)
    chance = plan.probability
    return PlanView(
        worked=worked,
        unit=unit,
        state=state,
        outcome=sentence,
        steps=plan_texts.steps(worked, unit, degrees=degrees),
        rows=rows,
        drawings=[_drawing(worked, joint, unit) for joint in worked.joints],
        impossible=plan_texts.impossible(worked, unit),
        warnings=plan_texts.warnings(worked, unit),
        held=list(map(wording.held, plan.held)),
        probability="" if chance is None else percent(chance),
        worst=list(_worst(plan)),
        area=_area(plan, unit),
        shortfall=learned,
        moves=move_texts.plan_moves(worked, unit, degrees=degrees),
        share=share,
        at_20=any(row.gap_at_20 for row in rows),
        known=known_texts.known_words(worked),
        shared_errors=known_texts.shared_errors(worked, unit),
    )


def _worst(plan: Plan):
    """Yield (word, before, after) of deviations by moving alone. A part that fits goes
    by the plan's own move: of parts planned together that is one beside their cuts."""
    for word, kind, fit in (
        ("gap", Kind.GAP, plan.seat),
        ("flushness", Kind.FLUSH, plan.level),
    ):
        if not fit:
            continue
        after = fit.worst_after
        if plan.outcome == FITS:
            name = f"{kind}_deviation_after"
            after = max(getattr(station, name) or 0.0 for station in plan.stations)
        yield word, f"{fit.worst_before:.2f}", f"{after:.2f}"


def _area(plan, unit: str) -> str:
    if not plan.trim or not plan.trim.area_mm2:
        return ""
    if unit == "in":
        return f"{plan.trim.area_mm2 / MM2_PER_IN2:.3f} in²"
    return f"{plan.trim.area_mm2:.0f} mm²"


def judged_as(joint: PlannedJoint, row: int, kind: str, value_mm: float | None) -> str:
    """The state to draw a predicted value with."""
    if value_mm is None:
        return ""
    station, check = joint.state.seam.stations[row], joint.check
    wanted = requirements.requirement(station, kind, check.finish)
    if wanted.empty:
        return ""
    revision = joint.state.revision
    judgment = acceptance.judge(
        to_nm(value_mm),
        wanted.low_nm,
        wanted.high_nm,
        check.u_nm,
        revision.rule,
        revision.edition,
    )
    return states.key_of(judgment.verdict, judgment.deviation_nm)


def _row(
    worked: WorkedPlan, joint: PlannedJoint, row: int, station_plan, unit: str
) -> PlanRow:
    check, label = joint.check, station_plan.label
    several = len(worked.joints) > 1
    bite = worked.bite(station_plan)
    gap_after = known_texts.gap_after(station_plan, bite)
    gap_known = known_texts.to_be(worked, station_plan.gap_now, gap_after)
    flush_known = known_texts.to_be(
        worked, station_plan.flush_now, station_plan.flush_after
    )
    station = joint.state.seam.stations[row]
    side = station_plan.side
    left = requirements.left_to_cut_mm(station, side, joint.lost, row)
    lost = sum(float(depths[row]) for depths in joint.lost.values())
    at_20 = requirements.gap_at_20_nm(check, joint.value_nm(label, Kind.GAP))
    value = joint.values.get((label, Kind.GAP)) or joint.values.get((label, Kind.FLUSH))

    words = partial(known_texts.on_map, unit)
    return PlanRow(
        check=str(check.entry_id),
        name=f"{joint.state.joint.number}:{label}" if several else label,
        label=label,
        gap_now=words(station_plan.gap_now),
        gap_after=words(gap_after, half=gap_known),
        gap_at_20=lengths.on_map(at_20, unit),
        flush_now=words(station_plan.flush_now, signed=True),
        flush_after=words(station_plan.flush_after, signed=True, half=flush_known),
        gap_state=judged_as(joint, row, Kind.GAP, station_plan.gap_now),
        gap_state_after=judged_as(joint, row, Kind.GAP, gap_after),
        flush_state=judged_as(joint, row, Kind.FLUSH, station_plan.flush_now),
        flush_state_after=judged_as(joint, row, Kind.FLUSH, station_plan.flush_after),
        carried=bool(value and value.carried),
        side=side,
        side_word={"part": "part", "surround": "surround"}.get(side, "never"),
        trim=words(bite.trim, half=bite.trim_half) if bite.trim else "",
        trim_known=lengths.give_or_take(bite.trim_half, unit),
        bite=lengths.no_more(bite.bite, unit, bite.half),
        bite_known=lengths.give_or_take(bite.half, unit) if bite.bite else "",
        bite_nm=to_nm(bite.bite),
        bite_half=bite.half,
        lost=words(lost) if lost > 1e-6 else "",
        left=words(left),
        reason=plan_texts.reason_words(worked, station_plan, unit),
    )


def _drawing(worked: WorkedPlan, joint: PlannedJoint, unit: str) -> Drawing:
    seam, revision = joint.state.seam, joint.state.revision
    revision.joint = joint.state.joint
    standing = {
        (seam.stations[seam.rows[label]].pk, kind): value.reading
        for (label, kind), value in joint.values.items()
        if label in seam.rows
    }
    drawn = maps.map_of(
        revision,
        seam.stations,
        standing,
        finish=joint.check.finish,
        u_nm=joint.check.u_nm,
        unit=unit,
        title=f"{joint.state.joint.number} {joint.state.joint.name}",
    )
    places, _, faces = places_of(seam.stations)
    view = view_from_outside(places, faces)
    moved = view.directions(worked.plan.move.displacement(places))
    here = [(row, station) for j, row, station in worked.stations() if j is joint]
    stations = tuple(
        _plan_station(worked, joint, row, station, moved[row], unit)
        for row, station in here
    )
    moves = "; ".join(move_texts.plan_moves(worked, unit))
    drawn = replace(drawn, limits_text="")
    both = PlanMap(drawn, stations, moves if len(moves) < 48 else "")
    key = f"plan-{joint.state.joint.pk}"
    return Drawing(
        name=f"{joint.state.joint.number} {joint.state.joint.name}",
        map=both,
        before=svg.render(plan_map.before(both, HALF), prefix=f"{key}-before"),
        after=svg.render(plan_map.after(both, HALF), prefix=f"{key}-after"),
        profile=svg.render(
            profile.build(_profile(joint, here, standing, unit)), prefix=f"{key}-s"
        ),
    )


def _plan_station(worked, joint, row, station, moved, unit) -> PlanStation:
    bite = worked.bite(station)
    gap_after = known_texts.gap_after(station, bite)
    gap_known = known_texts.to_be(worked, station.gap_now, gap_after)
    flush_known = known_texts.to_be(worked, station.flush_now, station.flush_after)

    words = partial(known_texts.on_map, unit)
    return PlanStation(
        label=station.label,
        move=(float(moved[0]), float(moved[1])),
        trim=bite.trim,
        build_up=station.build_up,
        side=Side.SURROUND if station.side == Side.SURROUND else Side.PART,
        after_gap_text=words(gap_after, half=gap_known),
        after_flush_text=words(station.flush_after, signed=True, half=flush_known),
        after_gap_state=judged_as(joint, row, Kind.GAP, gap_after),
        after_flush_state=judged_as(joint, row, Kind.FLUSH, station.flush_after),
    )


def _profile(joint: PlannedJoint, here, standing, unit: str) -> Profile:
    per = 1.0 if unit == "mm" else 25.4
    drawn = maps.profile_of(
        joint.state.revision,
        joint.state.seam.stations,
        standing,
        finish=joint.check.finish,
        u_nm=joint.check.u_nm,
        unit=unit,
    )
    after = dict(here)

    def with_after(points, name):
        values = (getattr(after[row], name) for row in range(len(points)))
        return tuple(
            replace(point, after=None if mm is None else mm / per)
            for point, mm in zip(points, values, strict=True)
        )

    return replace(
        drawn,
        gap=with_after(drawn.gap, "gap_after"),
        flush=with_after(drawn.flush, "flush_after"),
        bar_text="crosses: expected after the plan",
    )


def made_move(worked: WorkedPlan, raw: list[float]) -> Move:
    """The move that these amounts (mm, radians) of the plan's motions make."""
    motions = worked.plan.move.motions
    every = [places_of(joint.state.seam.stations)[0] for joint in worked.joints]
    here = worked.main.state.joint.position_id
    every += [places[rows] for places, rows in rows_around(worked.around, here)]
    shift, turn = rigid_move(motions, raw, np.vstack(every).mean(axis=0))
    tilt_x, tilt_y, turned = np.degrees(turn).tolist()
    amounts = tuple(
        (motion.name, math.degrees(amount) if motion.turns else amount)
        for motion, amount in zip(motions, raw, strict=True)
    )
    return Move(*shift.tolist(), turned, tilt_x, tilt_y, amounts, motions, tuple(raw))


def moved(
    worked: WorkedPlan, unit: str, raw: list[float] | None = None
) -> Moved | None:
    """A move as an act keeps it, and what it should change; None when the part stays.

    raw: amounts in mm and radians; without them the plan's as it is told, as far as it
    goes after the next bite.
    """
    if raw is None:
        raw = move_texts.rounded_raw(worked, unit, next_moves.free_share(worked))
    move = made_move(worked, raw)
    steps = move_texts.made_words(worked, move, move_texts.Telling(unit))
    if not steps:
        return None
    amounts = [
        {
            "name": name,
            "amount": f"{amount:z.4f}",
            "unit": "deg" if motion.turns else "mm",
        }
        for (name, amount), motion in zip(move.amounts, move.motions, strict=True)
    ]
    here = worked.main.state.joint.position_id
    changes = {
        joint.state.fit_up.pk: changes_at(joint, move.displacement)
        for joint in worked.joints
    }
    beside = tuple(
        (joint.check, changes_at(joint, move.displacement, here))
        for joint in worked.around
    )
    return Moved("; ".join(steps), amounts, changes, beside)
