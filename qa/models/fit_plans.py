"""A plan for a part as a record: what was read, what was wished, what came out."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, Fact, Frozen, Part, Projection

from .checks import Check
from .fitups import FitUp
from .joints import Side


class FitPlan(Frozen):
    """What to do next for a part on an airframe, the same for everyone.

    Frozen when it is taken, printed or released. `body` is canonical JSON: its form,
    the method, what was read (`inputs`, entries and ids), wished (`wishes`) and found
    (`outcome`: lengths in nm, reasons as codes with values, never sentences). `read_to`
    is the number of the last entry that was known when it was worked out. The joints
    and the cuts that it asks for are rows beside it, since a release binds them.
    """

    number = models.PositiveIntegerField(unique=True)
    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="plans")
    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="plans")
    part = models.ForeignKey(Part, models.PROTECT, related_name="plans")
    method = models.CharField(max_length=40)
    read_to = models.BigIntegerField()

    # Beside the record, set by qa.rules.plan_records: of a plan not yet taken its
    # joints and cuts, of one that stands what overtook it ("" while it holds)
    # and what was taken together with it.
    drafted: list["PlanJoint"]
    cut_lines: list["PlannedCut"]
    overtaken: str
    beside: list["FitPlan"]

    class Meta:
        ordering = ("-number",)

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return f"FP-{self.number:04d}"


class PlanJoint(Fact):
    """One joint of a plan: by which check, in which fit-up."""

    plan = models.ForeignKey(FitPlan, models.PROTECT, related_name="joints")
    order = models.PositiveIntegerField()
    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="+")
    fit_up = models.ForeignKey(FitUp, models.PROTECT, related_name="+")

    class Meta:
        ordering = ("plan", "order")
        constraints = [
            models.UniqueConstraint(
                fields=["plan", "order"], name="plan_joint_order_once"
            ),
            models.UniqueConstraint(
                fields=["plan", "fit_check"], name="plan_joint_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan_id} {self.order}"


class PlannedCut(Fact):
    """What a plan asks to take off at one place: the cut line is straight in between.

    `s_nm` lies along the seam of the fit-up's revision. `part` is the serial, none
    where the surround has none. Where a cut runs out `bite_nm` is 0.
    """

    plan = models.ForeignKey(FitPlan, models.PROTECT, related_name="cuts")
    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="+")
    fit_up = models.ForeignKey(FitUp, models.PROTECT, related_name="+")
    part = models.ForeignKey(
        Part, models.PROTECT, related_name="+", null=True, blank=True
    )
    side = models.CharField(max_length=8, choices=Side)
    station = models.CharField(max_length=40)
    s_nm = models.BigIntegerField()
    bite_nm = models.BigIntegerField()
    trim_nm = models.BigIntegerField()

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(side__in=Side.values), name="planned_cut_side_known"
            ),
            models.CheckConstraint(
                condition=Q(bite_nm__gte=0, trim_nm__gte=F("bite_nm")),
                name="planned_bite_within_its_trim",
            ),
            models.UniqueConstraint(
                fields=["plan", "fit_check", "side", "s_nm"],
                name="planned_cut_once_a_place",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bite_nm} at {self.station}"


class PlanEnding(models.TextChoices):
    DONE = "done", _("done")
    REPLACED = "replaced", _("replaced")
    WITHDRAWN = "withdrawn", _("withdrawn")


class PlanEnd(Fact):
    """A plan is done, replaced by another or withdrawn; once."""

    plan = models.OneToOneField(FitPlan, models.PROTECT, related_name="end")
    how = models.CharField(max_length=9, choices=PlanEnding)
    by_plan = models.ForeignKey(
        FitPlan, models.PROTECT, related_name="+", null=True, blank=True
    )
    reason = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(how=PlanEnding.DONE, by_plan__isnull=True)
                | Q(how=PlanEnding.REPLACED, by_plan__isnull=False)
                | Q(how=PlanEnding.WITHDRAWN, by_plan__isnull=True) & ~Q(reason=""),
                name="plan_end_as_it_says",
            )
        ]

    def __str__(self) -> str:
        return f"{self.plan_id} {self.how}"


class StandingPlan(Projection):
    """Projection: the plan that a part on an airframe is worked by, one at most.
    Rebuilt by `rebuild_projections`."""

    plan = models.OneToOneField(FitPlan, models.PROTECT, related_name="standing")
    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["airframe", "part"], name="one_plan_stands_for_a_part"
            )
        ]

    def __str__(self) -> str:
        return str(self.plan_id)
