"""From the records of a part to a plan for it: which readings, which freedom, which
defaults. The numbers are qa.numeric.plan; pages are made of `WorkedPlan`."""

from dataclasses import dataclass, field, replace

from qa.models import Check, FitPlan, Kind, PlanDefaults, Side, TemplatePrint
from qa.numeric.geometry.joint import JointError
from qa.numeric.plan.bite import Shortfall, expected_scatter
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.motions import NothingSeen
from qa.numeric.plan.reasons import recorded
from qa.numeric.plan.result import OptionError, Plan, PlanOptions, StationPlan
from qa.numeric.plan.seat import NoFeasibleMotion
from qa.numeric.verdict.acceptance import NarrowLimits
from qa.rules import (
    adjusters,
    bites,
    cut_allowance,
    gauge_zeros,
    history,
    requirements,
    rigs,
    ways,
    work_rates,
)
from qa.rules import trim_rounds as rounds
from qa.rules.adjusters import Present
from qa.rules.bites import Bite
from qa.rules.gauge_zeros import GaugeZero
from qa.rules.history import History
from qa.rules.rigs import CannotBeSet
from qa.rules.shared_plans import Shared
from qa.rules.staleness import JointState, states
from qa.rules.ways import WayRow
from qa.rules.work_rates import Learned
from shop.files.csv_table import FileComplaints
from shop.models import Part
from shop.numeric.units import to_mm, to_nm

RELATED = (
    "entry__by",
    "instrument",
    "state__last_entry",
    "fit_up__entry",
    "fit_up__airframe__type",
    "fit_up__joint__position",
    "fit_up__joint__surround",
    "fit_up__revision",
    "fit_up__part__design",
    "fit_up__surround_part__design",
)


@dataclass(frozen=True)
class Wish:
    """What a person asked for otherwise than usual; `limits` are of PlanOptions.

    freely: as if the part could go anywhere, whatever holds it. way: one of those that
    are offered; None is the first.
    """

    side: str | None = None
    limits: dict = field(default_factory=dict)
    freely: bool = False
    way: str | None = None


@dataclass
class PlannedJoint:
    """One joint in the plan: its state, the check it is planned by, what it lost, the
    zeros of the checks that its readings are of, by key."""

    state: JointState
    check: Check
    lost: dict
    rounds: list
    zeros: dict[int, GaugeZero] = field(default_factory=dict)

    @property
    def values(self):
        return self.state.now.values

    def value_nm(self, label: str, kind: str) -> int | None:
        value = self.values.get((label, kind))
        return value.reading.value_nm if value else None


@dataclass
class WorkedPlan:
    """What a plan came from and what it came to, in values: of a draft, worked out now,
    or of a record, read back. `problem` says why there is no plan."""

    check: Check
    live: bool
    rows: History
    joints: list[PlannedJoint]
    left_out: list[str]
    defaults: PlanDefaults
    options: PlanOptions | None = None
    plan: Plan | None = None
    problem: str = ""
    # What is asked at each station (joint, label), mm; why it stays wrong or its cut is
    # another, and what to know besides: [code, {value: nm}] each.
    least_cut: float = 0.0
    bites: dict[tuple[int, str], Bite] = field(default_factory=dict)
    reasons: dict[tuple[int, str], list] = field(default_factory=dict)
    notes: list = field(default_factory=list)
    # Of a plan on record: which, what happened since, which serials are released.
    record: FitPlan | None = None
    changes: list = field(default_factory=list)
    releases: set = field(default_factory=set)
    wish: Wish = Wish()
    # What holds the part, where it is planned by that; and which statement said so.
    present: list[Present] = field(default_factory=list)
    holding: int | None = None
    # What could be done, in the order recommended, and which of it is this plan.
    ways: list[WayRow] = field(default_factory=list)
    way: str = ""
    learned: Learned | None = None
    # What readings were made with, and what those of one instrument share.
    zeros: list[GaugeZero] = field(default_factory=list)
    # Of a part planned together with others: what they come to, the joints at which its
    # edge is the surround, and the plans on record that were taken with this one.
    shared: Shared | None = None
    around: list[PlannedJoint] = field(default_factory=list)
    sisters: list[FitPlan] = field(default_factory=list)

    @property
    def main(self) -> PlannedJoint:
        return self.joints[0]

    def name(self, joint: int, label: str) -> str:
        """What a station is called: by its joint too where there are several."""
        number = self.joints[joint].state.joint.number
        return f"{number}:{label}" if len(self.joints) > 1 else label

    @property
    def asked_settings(self) -> dict[str, int]:
        """What the plan asks to set, nm by adjuster; {} where it sets none."""
        settings = (self.plan and self.plan.settings) or ()
        return {
            setting.name: to_nm(setting.change) for setting in settings if setting.steps
        }

    @property
    def set_changes(self) -> list[tuple[Present, int]]:
        """Every adjuster with the change that the plan asks for, nm."""
        asked = self.asked_settings
        return [(adjuster, asked.get(adjuster.name, 0)) for adjuster in self.present]

    @property
    def shortfall(self) -> Shortfall | None:
        return rounds.shortfall(self.main.rounds)

    def stations(self):
        """Yield (planned joint, row in its seam, StationPlan) of every station."""
        for station in self.plan.stations:
            joint = self.joints[station.joint]
            yield joint, joint.state.seam.rows[station.label], station

    def bite(self, station: StationPlan) -> Bite:
        return self.bites[station.joint, station.label]

    def cut_sides(self) -> list[tuple[PlannedJoint, str]]:
        """(joint, side) of everything that the plan cuts."""
        sides = {}
        for joint, _, station in self.stations() if self.plan else []:
            if self.bite(station).bite > 0:
                sides[id(joint), station.side] = (joint, station.side)
        return list(sides.values())

    def to_release(self) -> list[tuple[Part, Check, bool]]:
        """Primary structure that the plan cuts: serial, check, released or not."""
        releases = {}
        for joint, side in self.cut_sides():
            fit_up = joint.check.fit_up
            part = fit_up.part if side == Side.PART else fit_up.surround_part
            if part and cut_allowance.needs_release(part):
                releases[part.pk] = (part, joint.check, part.pk in self.releases)
        return list(releases.values())


def work_out(check: Check, wish: Wish | None = None) -> WorkedPlan:
    """Plan for a check (loaded with RELATED), in a constant number of statements."""
    return solved(gathered(check), wish)


def solved(worked: WorkedPlan, wish: Wish | None = None) -> WorkedPlan:
    """What was gathered, planned."""
    worked.wish = wish or Wish()
    _solve(worked, worked.wish)
    return worked


def gathered(check: Check) -> WorkedPlan:
    """Everything that a plan for a check comes from, not planned yet.

    A check that is not of the newest state is planned by what stood then, alone; a
    live one together with the other joints of the part measured in the same condition.
    """
    fit_up = check.fit_up
    joints = history.joints_of_part(fit_up.airframe, fit_up.part_id)
    rows = history.load(fit_up.airframe, joints)
    defaults = PlanDefaults.objects.first() or PlanDefaults()
    joint_states = states(rows)
    live = any(
        own_check.pk == check.pk
        for own_check in joint_states[fit_up.joint_id].now.checks
    )
    off_at = None if live else joint_states[fit_up.joint_id].taken_off_after(check)
    if off_at:
        # On the bench, to be cut as was planned while it hung.
        live, joint_states = True, states(rows, until=off_at - 1)
    elif not live:
        joint_states = states(rows, until=check.entry.pk)
        joint_states = {fit_up.joint_id: joint_states[fit_up.joint_id]}
    main = planned_as(rows, joint_states.pop(fit_up.joint_id), check)
    others, left_out = _others(rows, main, joint_states)
    return WorkedPlan(
        check,
        live,
        rows,
        [main, *others],
        left_out,
        defaults,
        least_cut=requirements.least_cut_mm(defaults, main.check),
        zeros=told_apart([main, *others]),
    )


def told_apart(joints: list[PlannedJoint]) -> list[GaugeZero]:
    """Tell joints what their readings share, in one statement, and what they were made
    with."""
    values = [value for joint in joints for value in joint.values.values()]
    zeros = gauge_zeros.zeros_of({value.check.pk: value.check for value in values})
    for joint in joints:
        own = {value.check.pk for value in joint.values.values()}
        joint.zeros = {key: zeros[key] for key in own & set(zeros)}
    return zeros_in(joints)


def zeros_in(joints: list[PlannedJoint]) -> list[GaugeZero]:
    return gauge_zeros.told_apart(
        zero for joint in joints for zero in joint.zeros.values()
    )


def planned_as(
    rows: History, state: JointState, check: Check | None = None
) -> PlannedJoint:
    check = check or state.now.checks[-1]
    check.fit_up = state.fit_up
    state.fit_up.airframe = state.airframe
    lost = {
        side: rows.lost(state.joint, part_id, side, state.seam)
        for side, part_id in (
            (Side.PART, state.fit_up.part_id),
            (Side.SURROUND, state.fit_up.surround_part_id),
        )
    }
    return PlannedJoint(state, check, lost, rounds.rounds_of(rows, state))


def _others(rows: History, main: PlannedJoint, states: dict[int, JointState]):
    """The part's other joints that may be planned with this one, and those not."""
    others, left_out = [], []
    for state in states.values():
        if state.fit_up.part_id != main.state.fit_up.part_id:
            continue
        name = state.joint.number
        if not state.now.values or not state.now.checks:
            left_out.append(f"{name} was not measured since the part last changed")
        elif state.held_now != main.state.held_now:
            left_out.append(f"{name} was measured with the part held another way")
        elif state.now.checks[-1].finish != main.check.finish:
            left_out.append(f"{name} was measured in another state of finish")
        elif rule_of(state) != rule_of(main.state):
            left_out.append(f"{name} is judged by another rule")
        else:
            others.append(planned_as(rows, state))
    return others, left_out


def rule_of(state: JointState) -> tuple[str, str]:
    return state.revision.rule, state.revision.edition


def judging_all(options: PlanOptions, joints: list[PlannedJoint]) -> PlanOptions:
    """Options with the greatest of the uncertainties with which joints were measured,
    and of what readings share; none is known where that of one is not."""
    uncertainties = [joint.check.u_nm for joint in joints]
    uncertainties += [
        value.check.u_nm for joint in joints for value in joint.values.values()
    ]
    if not all(uncertainties):
        return replace(options, uncertainty_mm=None)
    common = gauge_zeros.common_mm(zeros_in(joints), max(uncertainties))
    return replace(
        options, uncertainty_mm=to_mm(max(uncertainties)), common_u_mm=common
    )


def _solve(worked: WorkedPlan, wish: Wish) -> None:
    try:
        worked.options = _options(worked, wish)
        _side_by_side(worked, wish)
    except FileComplaints as bad:
        complaints = "; ".join(str(complaint.text) for complaint in bad.complaints)
        worked.problem = f"How the part may move cannot be read: {complaints}"
    except (NothingSeen, NoFeasibleMotion, NarrowLimits, JointError, CannotBeSet) as no:
        worked.problem = str(no)
    except OptionError as why:
        worked.problem = f"{why.option.replace('_', ' ')}: {why}"


def _side_by_side(worked: WorkedPlan, wish: Wish) -> None:
    options, defaults = worked.options, worked.defaults
    worked.learned = work_rates.learned(defaults)
    asked = ways.Question(
        tuple(measured_at(joint, wish.side) for joint in worked.joints),
        options,
        ways.wished_of(defaults, options),
        worked.learned.rates,
        ways.stacks_of(worked.present),
    )
    compared = ways.side_by_side(asked)
    worked.way = ways.chosen(compared, wish.way).kind
    worked.plan = ways.plan_of(asked, worked.way)
    worked.ways = ways.rows_of(compared, worked.name)
    tell_stations(worked)


def tell_stations(worked: WorkedPlan) -> None:
    """Say what to cut at every station, and why it stays wrong or is cut otherwise."""
    least, known = worked.least_cut, worked.plan.known
    cuts_known = {(cut.joint, cut.label): cut for cut in (known.cuts if known else ())}
    for joint, _, station in worked.stations():
        place = station.joint, station.label
        bite = bites.bite_of(
            joint, station, least, worked.shortfall, cuts_known.get(place)
        )
        reasons = [recorded(reason, worked.name) for reason in station.reasons]
        if bite.why:
            asked = {"mm": to_nm(station.trim), "least": to_nm(least)}
            reasons.append([bite.why, asked])
        worked.bites[place], worked.reasons[place] = bite, reasons
    worked.notes = [recorded(note, worked.name) for note in worked.plan.notes]


def _options(worked: WorkedPlan, wish: Wish) -> PlanOptions:
    """What the plan may do. The part moves as was stated for this fit-up, else as what
    holds it can be set, else as the joint says, else freely."""
    fit_up = worked.check.fit_up
    motions = requirements.motions_of(fit_up)
    by = None
    if not fit_up.motions and not wish.freely:
        worked.present = rigs.present_at(fit_up)
    if worked.present:
        motions, by = None, rigs.numeric_of(worked.present)
        worked.holding = adjusters.holding_of(fit_up.joint.position).number
    options = requirements.plan_options(
        worked.defaults,
        worked.check,
        motions,
        adjusters=by,
        cut_scatter_mm=expected_scatter(worked.shortfall),
        **wish.limits,
    )
    return judging_all(options, worked.joints)


def measured_at(joint: PlannedJoint, side: str | None) -> Measured:
    state = joint.state
    stations = state.seam.stations
    geometry = requirements.joint_to_plan(
        state.revision,
        stations,
        finish=joint.check.finish,
        lost_mm=joint.lost,
        wish=side,
    )
    read = {
        kind: tuple(
            None if nm is None else to_mm(nm)
            for nm in (joint.value_nm(station.label, kind) for station in stations)
        )
        for kind in Kind.values
    }
    labels = [station.label for station in stations]
    zeros = gauge_zeros.numbers(joint.values, labels, joint.zeros)
    return Measured(geometry, read[Kind.GAP], read[Kind.FLUSH], zeros)


def prints_of(check: Check) -> list[TemplatePrint]:
    """The templates that were printed by a check, newest first."""
    return list(check.templates.select_related("entry__by").order_by("-id"))
