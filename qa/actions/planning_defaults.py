"""How this shop plans: written anew each time, the newest holds."""

from qa.models import PlanDefaults
from shop import roles
from shop.ledger import perform

FIELDS = (
    "bite_permille",
    "floor_nm",
    "aim_nm",
    "max_move_nm",
    "max_turn_mdeg",
    "max_raise_nm",
    "max_tilt_mdeg",
    "max_trim_nm",
    "template_line_nm",
    "fairness_e6",
    "wished_permille",
    "loosen_s",
    "motion_s",
    "adjuster_s",
    "measure_s",
    "look_again_s",
    "cut_s",
    "cut_per_m_s",
)


def set_plan_defaults(*, by, **content) -> PlanDefaults:
    """Say how deep the next bite is, how far parts may go and how long work takes."""
    roles.require(by, "set planning defaults")
    row = PlanDefaults(**{name: content[name] for name in FIELDS if name in content})
    row.full_clean(exclude=["entry"])
    with perform("defaults/1", by=by, said=content) as act:
        return act.record(row)
