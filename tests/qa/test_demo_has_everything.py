"""In the demo every value of every choice occurs, so that the walk of all pages and
papers meets it. A new value fails here until the demo has it."""

from django.apps import apps
from django.db.models import Count, Field


def choices() -> dict[tuple[type, str], list[str]]:
    """Every column of the shop's own tables that takes one of a few words."""
    found = {}
    for label in ("shop", "qa"):
        for model in apps.get_app_config(label).get_models():
            for column in model._meta.concrete_fields:
                if isinstance(column, Field) and column.choices:
                    values = [value for value, _words in column.flatchoices]
                    found[model, column.name] = values
    return found


# What the demo cannot hold, and why.
NOT_THERE = {
    # A database constraint: what is kept is what the person said.
    "shop.Confirmation.verdict=": "nobody says nothing",
    "shop.Confirmation.verdict=claimed": "nobody claims by confirming",
    # No act sets it yet.
    "shop.Position.hand=left": "only designs and tools have a hand",
    "shop.Position.hand=right": "only designs and tools have a hand",
    "shop.RouteStep.role=visitor": "no shop gives a visitor a step",
    "shop.ToolStep.role=visitor": "no shop gives a visitor a step",
    "shop.Signature.role=visitor": "a visitor signs nothing",
}


def test_every_value_of_every_choice_occurs_in_the_demo(demo_db):
    missing = []
    for (model, name), values in choices().items():
        there = set(model.objects.values_list(name, flat=True).distinct())
        for value in values:
            where = f"{model._meta.label}.{name}={value}"
            if value not in there and where not in NOT_THERE:
                missing.append(where)
    assert "\n".join(missing) == ""


def test_what_no_column_names_occurs_in_the_demo_too(demo_db):
    """Things that are so by another row: taken back, held, lifted, clash, late ..."""
    from qa.models import (
        CurrentReading,
        FitPlan,
        Joint,
        LateDecision,
        Nonconformance,
        PlugCorrection,
        Reading,
        StandingPlan,
    )
    from qa.queries.characteristics import page_of, planned
    from qa.queries.joints.joint_capability import joint_figures
    from qa.queries.molds.fits import panel
    from qa.rules import earlier_fits, overtaking
    from qa.rules.over_parts import Which, over_parts
    from shop.models import Airframe, EmptyPlace, Hold, Placement, Tool, Withdrawal
    from shop.rules.empty_places import empty_places

    assert CurrentReading.objects.filter(clash=True).exists()
    assert Reading.objects.filter(supersedes__isnull=False).exists()
    assert Reading.objects.filter(late=True, late_decision=None).exists()
    assert LateDecision.objects.exists()
    assert Withdrawal.objects.filter(coat__isnull=False).exists()
    assert Withdrawal.objects.filter(step__isnull=False).exists()
    assert Hold.objects.filter(lifted_entry=None).exists()
    assert Hold.objects.exclude(lifted_entry=None).exists()
    assert Placement.objects.filter(removed_at__isnull=False).exists()
    assert any(empty_places(Airframe.objects.all()).values())
    assert EmptyPlace.objects.filter(stays=False).exists()
    plans = FitPlan.objects.filter(standing__isnull=False)
    # A hole that fails, and a characteristic: each an item that was decided.
    items = Nonconformance.objects.values_list("standing__state", flat=True)
    assert "verified" in items.filter(hole_check__isnull=False)
    assert "dispositioned" in items.filter(result__isnull=False)
    assert any(earlier_fits.is_pre_trim(plan) for plan in plans)
    to_cut = plans.filter(cuts__bite_nm__gt=0).distinct()
    assert any(overtaking.changes_of(plan) for plan in to_cut)
    told = [
        joint_figures(over_parts(joint, Which.FIRST), "mm")
        for joint in Joint.objects.exclude(current=None).select_related("current")
    ]
    assert any(one.rows and one.rows[-1].bounds for one in told)
    assert any(page_of(row, "mm").capability.indices for row in planned())
    panels = [panel(mold, "mm") for mold in Tool.objects.filter(last_pull__gt=1)]
    drifts = [told.drift for told in panels if told.drift]
    courses = [place.course for drift in drifts for place in drift.places]
    assert any("expected to reach the limit at pull" in words for words in courses)
    assert any(drift.places and drift.without and drift.breaks for drift in drifts)
    assert any(drift.estimated and not drift.places for drift in drifts)
    assert any(drift.why for drift in drifts)
    assert PlugCorrection.objects.exists()
    shared = StandingPlan.objects.values("plan__entry").annotate(n=Count("plan"))
    assert max(one["n"] for one in shared) > 1  # plans of parts taken together
