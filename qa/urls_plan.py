"""What comes after a check: plan, cuts, moves, shims; the state of a joint; holes."""

from django.urls import path

from qa.views import (
    adjusters,
    fit_states,
    holes,
    plan_acts,
    plan_papers,
    plans,
    pre_trims,
    settings,
    shims,
    together,
)

urlpatterns = [
    path("fit-checks/<uuid:uuid>/plan/", plans.plan, name="check_plan"),
    path("fit-checks/<uuid:uuid>/plan/take/", plans.take, name="take_plan"),
    path("fit-checks/<uuid:uuid>/pre-trim/", pre_trims.pre_trim, name="pre_trim"),
    path(
        "fit-checks/<uuid:uuid>/pre-trim/take/",
        pre_trims.take_pre_trim,
        name="take_pre_trim",
    ),
    path("plans/<int:number>/", plans.plan_record, name="plan_record"),
    path("airframes/<int:pk>/together/", together.plan_together, name="plan_together"),
    path(
        "airframes/<int:pk>/together/take/",
        together.take_together,
        name="take_together",
    ),
    path(
        "plans/<int:number>/together/", together.plans_together, name="plans_together"
    ),
    path("plans/<int:number>/withdraw/", plans.withdraw_plan, name="withdraw_plan"),
    path(
        "releases/<uuid:uuid>/withdraw/",
        plan_acts.withdraw_release,
        name="withdraw_release",
    ),
    path(
        "fit-checks/<uuid:uuid>/plan/work-order.pdf",
        plan_papers.work_order,
        name="plan_work_order",
    ),
    path(
        "fit-checks/<uuid:uuid>/plan/template.pdf",
        plan_papers.template,
        name="plan_template",
    ),
    path("fit-checks/<uuid:uuid>/plan/release/", plan_acts.release, name="release_cut"),
    path("fit-checks/<uuid:uuid>/trim/", plan_acts.trim, name="record_trim"),
    path("fit-checks/<uuid:uuid>/move/", plan_acts.move, name="record_move"),
    path("fit-checks/<uuid:uuid>/set/", settings.set_part, name="set_part"),
    path("fit-checks/<uuid:uuid>/shims/", shims.plan_shims, name="plan_shims"),
    path("shims/", shims.stock, name="shim_stock"),
    path("shims/new/", shims.edit_stock, name="new_shim"),
    path("shims/<int:pk>/", shims.edit_stock, name="shim"),
    path(
        "joints/<int:pk>/on/<int:airframe>/",
        fit_states.joint_on_airframe,
        name="joint_on_airframe",
    ),
    path("positions/<int:pk>/held/", adjusters.holding, name="holding"),
    path("positions/<int:pk>/held/came/", adjusters.came, name="settings_came"),
    path(
        "positions/<int:pk>/held/state/",
        adjusters.state_holding,
        name="state_holding",
    ),
    path("holes/", holes.patterns, name="hole_patterns"),
    path("holes/new/", holes.new_pattern, name="new_hole_pattern"),
    path("holes/<int:pk>/", holes.pattern, name="hole_pattern"),
    path(
        "holes/<int:pk>/revision/<int:number>/",
        holes.pattern,
        name="hole_pattern_revision",
    ),
    path(
        "holes/<int:pk>/revision/<int:number>/holes.dxf",
        holes.pattern_dxf,
        name="hole_pattern_dxf",
    ),
    path("holes/<int:pk>/revise/", holes.revise_pattern, name="revise_hole_pattern"),
    path("holes/<int:pk>/measure/", holes.new_hole_check, name="new_hole_check"),
    path("holes/checks/<uuid:uuid>/", holes.hole_check, name="hole_check"),
    path("holes/checks/<uuid:uuid>/raise/", holes.raise_holes, name="raise_holes"),
    path("plan-defaults/", plans.plan_defaults, name="plan_defaults"),
]
