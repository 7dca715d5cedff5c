"""Plans on record: what is frozen of one, one shown again, and which one stands."""

from django.db.models import Max, Prefetch, Q

from qa.models import (
    Check,
    CutRelease,
    FitPlan,
    PlanDefaults,
    PlanJoint,
    PlannedCut,
    Reading,
    Side,
    StandingPlan,
)
from qa.rules import (
    assembling,
    cut_allowance,
    history,
    overtaking,
    plan_bodies,
    planning,
)
from qa.rules.assembling import Together
from qa.rules.planning import PlannedJoint, Wish, WorkedPlan
from qa.rules.shared_plans import others, sisters
from qa.rules.staleness import Value, states
from shop.ledger.canonical import frozen
from shop.models import Airframe, Entry, Part
from shop.numeric.units import to_mm, to_nm

# In statements of their own: of ten tables in one PostgreSQL weighs every order.
PLAN_APART = (
    Prefetch("plan__entry", Entry.objects.select_related("by")),
    Prefetch("plan__fit_check", Check.objects.select_related("fit_up__joint")),
)
PLAN = ("entry__by", "end", "airframe", "part__design", "fit_check__fit_up__joint")


def last_entry() -> int:
    """The number of the last entry there is."""
    return Entry.objects.aggregate(last=Max("pk"))["last"] or 0


def draft(check: Check, wish: Wish | None = None) -> tuple[WorkedPlan, FitPlan | None]:
    """Work a plan out for a check (loaded with planning.RELATED), with the record that
    can be taken: not saved, `drafted` its joints and `cut_lines` its cuts. None where
    there is none to take."""
    read_to = last_entry()
    worked = planning.work_out(check, wish)
    if worked.plan is None or not worked.live:
        return worked, None
    return worked, draft_of(worked, read_to)


def draft_together(
    airframe: Airframe, hows: dict[int, str]
) -> tuple[Together, list[FitPlan]]:
    """The same for several parts (by position, how each may go): the records that can
    be taken by one act, in the order in which to do them; [] where there are none."""
    read_to = last_entry()
    parts = assembling.together(airframe, hows)
    return parts, drafts_of(parts, read_to)


def drafts_of(together: Together, read_to: int = 0) -> list[FitPlan]:
    return [draft_of(worked, read_to) for worked in together.parts]


def digest_of(plans: list[FitPlan]) -> str:
    """What tells plans that were drafted together from others."""
    return "-".join(plan.digest for plan in plans)


def draft_of(worked: WorkedPlan, read_to: int) -> FitPlan:
    """The record that can be taken of a plan, of what was read up to an entry."""
    check = worked.check
    body = plan_bodies.body_of(worked)
    plan = FitPlan(
        fit_check=check,
        airframe_id=check.fit_up.airframe_id,
        part_id=check.fit_up.part_id,
        method=body["method"],
        read_to=read_to,
        **frozen(body),
    )
    plan.drafted = [
        PlanJoint(order=order, fit_check=joint.check, fit_up=joint.check.fit_up)
        for order, joint in enumerate(worked.joints)
    ]
    plan.cut_lines = cuts_of(worked)
    return plan


def cuts_of(worked: WorkedPlan) -> list[PlannedCut]:
    """The cut lines that a plan asks for, as rows."""
    cuts = []
    for number, joint in enumerate(worked.joints):
        here = {
            station.label: (station.side, worked.bite(station))
            for _, _, station in worked.stations()
            if station.joint == number
        }
        fit_up = joint.check.fit_up
        for side, part in (
            (Side.PART, fit_up.part),
            (Side.SURROUND, fit_up.surround_part),
        ):
            cuts += _line(joint, side, part, here)
    return cuts


def _line(joint: PlannedJoint, side: str, part: Part | None, here) -> list[PlannedCut]:
    stations, fit_up = joint.state.seam.stations, joint.check.fit_up
    bites = [here[station.label][1] if here[station.label][0] == side else None
             for station in stations]  # fmt: skip
    depths = [to_nm(bite.bite) if bite else 0 for bite in bites]
    if not any(depths):
        return []
    return [
        PlannedCut(
            fit_check=joint.check,
            fit_up=fit_up,
            part=part,
            side=side,
            station=stations[row].label,
            s_nm=along,
            bite_nm=depths[row],
            trim_nm=max(depths[row], to_nm(bites[row].trim) if bites[row] else 0),
        )
        for row, along in cut_allowance.cut_rows(joint.state.revision, depths)
    ]


def worked_of(plan: FitPlan) -> WorkedPlan:
    """A plan on record as it was worked out: nothing is solved."""
    body = plan.content
    checks, beside = _checks_of(plan, plan_bodies.around_from(body))
    main = checks[0].fit_up
    seams = history.joints_of_part(main.airframe, main.part_id)
    seams += [other.fit_up.joint for other in beside if other.fit_up.joint not in seams]
    loaded = history.load(main.airframe, seams)
    states_then = states(loaded, until=plan.read_to)
    joints, around = (
        [
            planning.planned_as(loaded, states_then[drafted.fit_up.joint_id], drafted)
            for drafted in some
        ]
        for some in (checks, beside)
    )
    _read_then(joints, body)
    changes = overtaking.changes_of(plan, loaded.touches)
    worked = WorkedPlan(
        check=checks[0],
        live=standing(plan) and not changes,
        rows=loaded,
        joints=joints,
        left_out=body["inputs"]["left_out"],
        defaults=PlanDefaults(),
        options=plan_bodies.options_from(body),
        plan=plan_bodies.plan_from(body),
        record=plan,
        changes=changes,
        bites=plan_bodies.bites_from(body),
        least_cut=to_mm(body["outcome"]["least_cut_nm"]),
        reasons=plan_bodies.reasons_from(body),
        notes=plan_bodies.notes_from(body),
        wish=plan_bodies.wish_from(body),
        present=plan_bodies.present_from(body),
        holding=body["inputs"].get("holding"),
        ways=plan_bodies.ways_from(body),
        way=body["outcome"].get("way") or "",
        zeros=plan_bodies.zeros_from(body),
        shared=plan_bodies.shared_from(body),
        around=around,
        sisters=others(plan) if plan_bodies.shared_from(body) else [],
    )
    worked.releases = set(in_force(plan)) if worked.live else set()
    return worked


def _checks_of(plan: FitPlan, around: list[str]) -> tuple[list[Check], list[Check]]:
    """The checks of the joints of a plan, in their order, and those around its part."""
    rows = PlanJoint.objects.filter(plan=plan).order_by("order")
    keys = [row.fit_check_id for row in rows]
    checks_read = Check.objects.select_related(*planning.RELATED).filter(
        Q(pk__in=keys) | Q(entry_id__in=around)
    )
    checks = {check.pk: check for check in checks_read}
    beside = [check for check in checks.values() if str(check.entry_id) in around]
    return [checks[key] for key in keys], sorted(beside, key=lambda check: check.pk)


def standing(plan: FitPlan) -> bool:
    return not hasattr(plan, "end")


def in_force(plan: FitPlan):
    """Keys of the serials whose release by this plan was not withdrawn."""
    rows = CutRelease.objects.filter(plan=plan, withdrawal__isnull=True)
    return rows.values_list("part_id", flat=True)


def _read_then(joints: list[PlannedJoint], body: dict) -> None:
    """Put what was read for the plan in place of what stands now."""
    joints_kept = body["inputs"]["joints"]
    keys = [row[3] for joint in joints_kept for row in joint["readings"]]
    readings = Reading.objects.select_related("fit_check__fit_up").in_bulk(keys)
    for joint, kept in zip(joints, joints_kept, strict=True):
        carried = set(kept["carried"])
        joint.state.now.values = {
            (label, kind): Value(
                readings[key],
                readings[key].fit_check,
                readings[key].fit_check.fit_up,
                carried=label in carried,
            )
            for label, kind, _act, key in kept["readings"]
        }
        joint.lost = {
            side: [to_mm(nm) for nm in depths]
            for side, depths in kept["lost_nm"].items()
        }


def newest_of(check: Check) -> FitPlan | None:
    """The plan on record to show for a check: the one that stands, else the last."""
    rows = FitPlan.objects.filter(joints__fit_check=check).select_related(*PLAN)
    newest = list(rows.order_by("-number")[:1])
    return newest[0] if newest else None


def plans_now(rows) -> list[FitPlan]:
    """Standing plans, each with `overtaken`: by what, "" while it holds, and `beside`:
    what was taken together with it. A constant number of statements."""
    rows = rows.select_related("plan__end", "plan__airframe", "plan__part__design")
    plans = [row.plan for row in rows.prefetch_related(*PLAN_APART)]
    changes, taken = overtaking.changes(plans), sisters(plans)
    for plan in plans:
        plan.beside = [x for x in taken if x.entry_id == plan.entry_id and x != plan]
        plan.overtaken = overtaking.in_words(changes[plan.pk])
    return plans


def plan_now(airframe: Airframe, part_id: int) -> FitPlan | None:
    """The plan that stands for a part on an airframe, with `overtaken`."""
    standing = plans_now(StandingPlan.objects.filter(airframe=airframe, part=part_id))
    return standing[0] if standing else None
