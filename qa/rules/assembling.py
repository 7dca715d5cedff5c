"""Parts of one airframe that share seams, planned at once: which there are, which of
their joints can be planned together, and one plan for each part of what comes out.

Parts are named by their position. One that is chosen moves, freely or as it is held, or
stays; what is not chosen stands still around them, and what of it is fitted against a
part that moves is planned with it, as one that stays.
"""

from dataclasses import dataclass, field, replace

from qa.models import Holding, Joint, PlanDefaults
from qa.numeric.geometry.joint import JointError
from qa.numeric.plan.assembly import AssemblyPlan, plan_assembly
from qa.numeric.plan.bite import expected_scatter
from qa.numeric.plan.bodies import AssemblyError, Between, Body
from qa.numeric.plan.motions import NothingSeen
from qa.numeric.plan.result import OptionError, PlanOptions
from qa.numeric.plan.seat import NoFeasibleMotion
from qa.numeric.verdict.acceptance import NarrowLimits
from qa.rules import (
    adjusters,
    history,
    planning,
    requirements,
    rigs,
    together_steps,
    ways,
)
from qa.rules.history import History
from qa.rules.planning import PlannedJoint, WorkedPlan
from qa.rules.rigs import CannotBeSet
from qa.rules.shared_plans import FIXED, FREE, HELD
from qa.rules.staleness import JointState, states
from shop.files.csv_table import FileComplaints
from shop.models import Airframe, Position

MOST_PARTS = 6
MOVES_BY, SET_BY = "motions", "adjusters"


@dataclass(frozen=True)
class Member:
    """A part that is fitted on the airframe: the joints that it is the part of, the
    positions of other such parts that it shares a seam with, what says how it goes as
    it is held ("motions", "adjusters", "" for nothing)."""

    position: Position
    states: list[JointState]
    beside: frozenset[int]
    held: str

    @property
    def serial(self) -> str:
        return self.states[0].fit_up.part.serial


@dataclass
class Together:
    """Parts planned at once. `hows` says how each that was chosen goes; `left_out` what
    is not in the plan, and why; `parts` are their plans, in the order in which to do
    them; `problem` says why there is none."""

    airframe: Airframe
    members: dict[int, Member]
    hows: dict[int, str]
    rows: History
    left_out: list[str] = field(default_factory=list)
    parts: list[WorkedPlan] = field(default_factory=list)
    plan: AssemblyPlan | None = None
    problem: str = ""


def offered(airframe: Airframe, start: int | None = None) -> Together:
    """The parts of an airframe that share seams, nothing planned yet; with a start,
    that part and those beside it chosen. A constant number of statements."""
    joints = list(
        Joint.objects.filter(fit_ups__airframe=airframe)
        .select_related("position", "surround", "current", "type")
        .distinct()
        .order_by("number")
    )
    rows = history.load(airframe, joints)
    members = _members(states(rows))
    hows = {}
    if start in members:
        chosen = [start, *sorted(members[start].beside)][:MOST_PARTS]
        kinds = {members[key].held for key in chosen}
        alike = kinds == {SET_BY}
        hows = {
            key: HELD if alike or members[key].held == MOVES_BY else FREE
            for key in chosen
        }
    return Together(airframe, members, hows, rows)


def together(airframe: Airframe, hows: dict[int, str]) -> Together:
    """The plan of the parts in these positions, each as it may go."""
    parts = offered(airframe)
    parts.hows = {key: how for key, how in hows.items() if key in parts.members}
    return solved(parts)


def solved(together: Together) -> Together:
    """Work out what was chosen."""
    moving = [key for key, how in together.hows.items() if how != FIXED]
    if len(together.hows) > MOST_PARTS:
        together.problem = f"{MOST_PARTS} parts are planned at once, not more"
    elif not moving:
        together.problem = "every part stays: there is nothing to move"
    else:
        _solve(together)
    return together


def _members(together: dict[int, JointState]) -> dict[int, Member]:
    """Parts by position that share a seam with another part that is fitted itself."""
    own: dict[int, list[JointState]] = {}
    for state in together.values():
        own.setdefault(state.joint.position_id, []).append(state)
    beside: dict[int, set[int]] = {key: set() for key in own}
    for state in together.values():
        part = state.joint.position_id
        for other in surrounds(state):
            if other in own and other != part:
                beside[part].add(other)
                beside[other].add(part)
    stated = set(
        Holding.objects.filter(position__in=own).values_list("position", flat=True)
    )
    return {
        key: Member(
            some[0].joint.position,
            some,
            frozenset(beside[key]),
            _held(some, stated),
        )
        for key, some in own.items()
        if beside[key]
    }


def _held(some: list[JointState], stated: set[int]) -> str:
    if any(joint_state.fit_up.motions for joint_state in some):
        return MOVES_BY
    if some[0].joint.position_id in stated:
        return SET_BY
    return MOVES_BY if any(joint_state.revision.motions for joint_state in some) else ""


def surrounds(state: JointState) -> list[int]:
    """The position that lies opposite at every station."""
    own = state.joint.surround_id
    return [station.surround_id or own for station in state.seam.stations]


# ------------------------------------------------------------- which joints


def _joints(together: Together) -> list[PlannedJoint]:
    """The joints to plan by: something moves at them, as part or surround, and they
    were measured in one condition. What is left out is said."""
    for key, member in together.members.items():
        if any(_moves(together, state, together.hows) for state in member.states):
            together.hows.setdefault(key, FIXED)
    chosen: list[PlannedJoint] = []
    for key in together.hows:
        for state in together.members[key].states:
            if not _moves(together, state, together.hows):
                continue
            if why := _why_not(together, state, chosen):
                together.left_out.append(f"{state.joint.number} {why}")
            else:
                chosen.append(planning.planned_as(together.rows, state))
    own = {planned_joint.state.joint.position_id for planned_joint in chosen}
    return [
        planned_joint
        for planned_joint in chosen
        if _moves(together, planned_joint.state, own)
    ]


def _moves(together: Together, state: JointState, own) -> bool:
    """Whether a side of a joint may move, of the positions `own`: a part of which no
    joint of its own was measured stays."""
    ends = {state.joint.position_id, *surrounds(state)}
    return any(together.hows.get(end, FIXED) != FIXED for end in ends & set(own))


def _why_not(together: Together, state: JointState, chosen: list[PlannedJoint]) -> str:
    if state.off:
        return f"has something off: {state.off}"
    if not state.now.values or not state.now.checks:
        return "was not measured since a part of it last changed"
    around, opposite = state.fit_up.surround_part, together.members.get(
        state.joint.surround_id
    )  # fmt: skip
    if around and opposite and around.serial != opposite.serial:
        return f"was measured against {around.serial}, not {opposite.serial}"
    for other in chosen:
        same = other.state.joint.position_id == state.joint.position_id
        if same and other.state.held_now != state.held_now:
            return "was measured with the part held another way"
        if other.check.finish != state.now.checks[-1].finish:
            return "was measured in another state of finish"
    return ""


# -------------------------------------------------------------------- plan


def _solve(together: Together) -> None:
    joints = _joints(together)
    if not joints:
        together.problem = "none of these joints was measured"
        return
    if len({planning.rule_of(joint.state) for joint in joints}) > 1:
        together.problem = (
            "these joints are judged by different rules: plan them part by part"
        )
        return
    try:
        _plan(together, joints)
    except FileComplaints as bad:
        complaints = "; ".join(str(complaint.text) for complaint in bad.complaints)
        together.problem = f"How a part may move cannot be read: {complaints}"
    except (
        AssemblyError, CannotBeSet, JointError, NarrowLimits, NoFeasibleMotion,
        NothingSeen,
    ) as no:  # fmt: skip
        together.problem = str(no)
    except OptionError as why:
        together.problem = f"{why.option.replace('_', ' ')}: {why}"


def _plan(together: Together, joints: list[PlannedJoint]) -> None:
    """Bodies are the parts that the joints are of, then what only lies around them."""
    parts: dict[int, list[PlannedJoint]] = {}
    for planned in joints:
        parts.setdefault(planned.state.joint.position_id, []).append(planned)
    planning.told_apart(joints)
    around = [position for joint in joints for position in surrounds(joint.state)]
    number = {key: n for n, key in enumerate(dict.fromkeys([*parts, *around]))}
    defaults = PlanDefaults.objects.first() or PlanDefaults()
    worked = {
        key: WorkedPlan(
            own[0].check,
            True,
            together.rows,
            own,
            together.left_out,
            defaults,
            least_cut=requirements.least_cut_mm(defaults, own[0].check),
            zeros=planning.zeros_in(own),
        )
        for key, own in parts.items()
    }
    for key, part in worked.items():
        motions, by = _held_by(together, key, part)
        scatter = expected_scatter(part.shortfall)
        options = requirements.plan_options(
            defaults, part.check, motions, adjusters=by, cut_scatter_mm=scatter
        )
        part.options = planning.judging_all(options, joints)
    bodies = [_body(together, key, worked.get(key)) for key in number]
    rows = [
        Between(
            planning.measured_at(joint, None),
            number[joint.state.joint.position_id],
            tuple(number[key] for key in surrounds(joint.state)),
        )
        for joint in joints
    ]
    options = _common([plan.options for plan in worked.values()], defaults)
    together.plan = plan_assembly(bodies, rows, options, drawn=True)
    together_steps.share_out(together, worked, joints, list(number))


def _held_by(together: Together, key: int, worked: WorkedPlan) -> tuple:
    """(motions, adjusters) of a part that goes as it is held: as was stated for its
    fit-up, else as what holds it can be set, else as its joint says; None of both where
    it goes freely."""
    fit_up = worked.check.fit_up
    if together.hows.get(key) != HELD:
        return None, None
    if not fit_up.motions:
        worked.present = rigs.present_at(fit_up)
    if not worked.present:
        return requirements.motions_of(fit_up), None
    worked.holding = adjusters.holding_of(fit_up.joint.position).number
    return None, rigs.numeric_of(worked.present)


def _body(together: Together, key: int, worked: WorkedPlan | None) -> Body:
    """What stands in a position; it stays where nothing was chosen of it, or no joint
    of its own was measured."""
    member = together.members.get(key)
    name = member.serial if member else str(key)
    if worked is None or together.hows.get(key, FIXED) == FIXED:
        return Body(name, fixed=True)
    return Body(name, False, worked.options.motions, worked.options.adjusters)


def _common(options: list[PlanOptions], defaults: PlanDefaults) -> PlanOptions:
    """What holds for all parts, of which each is judged alike."""

    def most(name: str) -> float | None:
        known = [getattr(option, name) for option in options]
        known = [value for value in known if value is not None]
        return max(known) if known else None

    return replace(
        options[0],
        motions=None,
        adjusters=None,
        wish=ways.wished_of(defaults, options[0]),
        aim_mm=most("aim_mm"),
        floor_mm=most("floor_mm"),
        least_cut_mm=most("least_cut_mm"),
        cut_scatter_mm=most("cut_scatter_mm"),
    )
