"""Routes: what a plug or a mold goes through, step by step."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.numeric.units import BP_PER_PERCENT, MILLI

from .kept import Kept
from .ledger import Fact
from .materials import Lot
from .people import Role
from .tooling import Tool, ToolKind


class RouteStep(Kept):
    """A step of the route template of one kind of tool."""

    kind = models.CharField(_("kind of tool"), max_length=12, choices=ToolKind)
    order = models.PositiveIntegerField(_("order"))
    name = models.CharField(_("step"), max_length=60)
    role = models.CharField(
        _("who can take it"), max_length=12, choices=Role, blank=True
    )

    class Meta:
        ordering = ("kind", "order", "pk")

    def __str__(self) -> str:
        return self.name


class ToolStep(Kept):
    """A step of one tool's route. `done` is a projection of what was recorded."""

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="steps")
    order = models.PositiveIntegerField()
    name = models.CharField(_("step"), max_length=60)
    role = models.CharField(max_length=12, choices=Role, blank=True)
    done = models.PositiveIntegerField(default=0, editable=False)

    class Meta:
        ordering = ("tool", "order", "pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(role="") | Q(role__in=Role.values),
                name="tool_step_role_known",
            )
        ]

    def __str__(self) -> str:
        return self.name


class StepDone(Fact):
    """A step was done: by whom is in the entry; again only with a reason."""

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="steps_done")
    step = models.ForeignKey(ToolStep, models.PROTECT, related_name="times_done")
    done_at = models.DateTimeField()
    # Why it was done again, out of its turn, or with a lot past its life.
    reason = models.CharField(max_length=200, blank=True)
    product = models.CharField(max_length=120, blank=True)
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="steps")
    mix = models.CharField(max_length=80, blank=True)
    temperature = models.IntegerField(null=True, help_text="0.001 degC")
    humidity = models.PositiveIntegerField(null=True, help_text="0.01 %")
    minutes = models.PositiveIntegerField(null=True)
    note = models.CharField(max_length=400, blank=True)
    photo = models.ForeignKey("Photo", models.PROTECT, null=True, related_name="steps")

    class Meta:
        verbose_name_plural = "steps done"
        indexes = [models.Index(fields=["tool", "done_at"])]

    def __str__(self) -> str:
        return f"{self.step} {self.done_at:%Y-%m-%d}"

    @property
    def celsius(self) -> str:
        return "" if self.temperature is None else f"{self.temperature / MILLI:g}"

    @property
    def percent(self) -> str:
        return "" if self.humidity is None else f"{self.humidity / BP_PER_PERCENT:g}"
