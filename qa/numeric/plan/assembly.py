"""Several parts at once: each with its own freedom, or set by its adjusters, or fixed.

`plan_assembly` takes them with the joints between them; who plans is `assembly_planner`
where they move freely or by motions of their own, `set_assembly` where they are set,
`mixed_assembly` where some are.
"""

from collections.abc import Sequence

from qa.numeric.plan.assembly_planner import AssemblyPlan, AssemblyPlanner, PartPlan
from qa.numeric.plan.bodies import AssemblyArrays, Between, Body
from qa.numeric.plan.free_planner import BEST
from qa.numeric.plan.mixed_assembly import MixedAssemblyPlanner
from qa.numeric.plan.result import NothingToJudge, PlanOptions
from qa.numeric.plan.set_assembly import SetAssemblyPlanner
from qa.numeric.plan.shared_intervals import with_intervals

__all__ = ["AssemblyPlan", "PartPlan", "plan_assembly"]


def plan_assembly(
    bodies: Sequence[Body],
    joints: Sequence[Between],
    options: PlanOptions | None = None,
    way: str = BEST,
    *,
    drawn: bool = False,
) -> AssemblyPlan:
    """One plan for several parts and all the joints between them.

    `drawn` adds how well its moves and cuts are known: some 80 plans, straight at it.
    Raises AssemblyError where they do not go together, and what plan_fit raises.
    """
    options = options or PlanOptions()
    judged = options.uncertainty_mm, options.rule, options.edition
    arrays = AssemblyArrays(bodies, joints, *judged)
    if not (arrays.gap_scales.limited.any() or arrays.flush_scales.limited.any()):
        raise NothingToJudge("no station has limits: there is nothing to judge")
    made = AssemblyPlanner
    set_by = [bool(body.adjusters) for body in bodies if not body.fixed]
    if any(set_by):
        made = SetAssemblyPlanner if all(set_by) else MixedAssemblyPlanner
    planner = made(arrays, options)
    plan = planner.plan(way)
    return with_intervals(planner, plan) if drawn else plan
