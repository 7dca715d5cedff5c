"""What holds a part in its position, what of that can be set, and how far."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, Fact, Position, Unit

from .fit_plans import FitPlan
from .fitups import FitUp


class AttachKind(models.TextChoices):
    HINGE = "hinge", _("hinge")
    LATCH = "latch", _("latch")
    STRIKER = "striker", _("striker")
    SLOT = "slot", _("bolt in a slot")
    SHIMS = "shims", _("shim stack")
    ROD = "rod", _("rod end")
    PIN = "pin", _("locating pin")
    CLECOS = "clecos", _("free edge in clecos")


class StepKind(models.TextChoices):
    """How hands make one step of an adjuster."""

    LENGTH = "length", _("a length")
    SHIM = "shim", _("one shim")
    TURN = "turn", _("a quarter turn")


class Holding(Fact):
    """How the part in a position is held, as it was stated; the newest holds."""

    position = models.ForeignKey(Position, models.PROTECT, related_name="holdings")
    number = models.PositiveIntegerField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("position", "-number")
        constraints = [
            models.UniqueConstraint(
                fields=["position", "number"], name="holding_number_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.position_id} holding {self.number}"


class HoldingDirection(Fact):
    """A direction that the shop has two words for. Unit vector in 1e-9, as drawn."""

    holding = models.ForeignKey(Holding, models.PROTECT, related_name="directions")
    order = models.PositiveIntegerField()
    plus = models.CharField(_("along it"), max_length=20)
    minus = models.CharField(_("against it"), max_length=20)
    x_e9 = models.BigIntegerField()
    y_e9 = models.BigIntegerField()
    z_e9 = models.BigIntegerField()

    class Meta:
        ordering = ("holding", "order")
        constraints = [
            models.UniqueConstraint(
                fields=["holding", "order"], name="holding_direction_order_once"
            ),
            models.CheckConstraint(
                condition=~Q(plus=F("minus")), name="holding_direction_two_words"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plus}/{self.minus}"


class AttachPoint(Fact):
    """A place that holds the part. Lengths in nm, as the joint is drawn."""

    holding = models.ForeignKey(Holding, models.PROTECT, related_name="points")
    order = models.PositiveIntegerField()
    name = models.CharField(_("name"), max_length=40)
    kind = models.CharField(max_length=8, choices=AttachKind)
    x_nm = models.BigIntegerField()
    y_nm = models.BigIntegerField()
    z_nm = models.BigIntegerField(default=0)

    class Meta:
        ordering = ("holding", "order")
        constraints = [
            models.UniqueConstraint(
                fields=["holding", "name"], name="attach_point_name_once"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=AttachKind.values), name="attach_kind_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Adjuster(Fact):
    """One direction in which an attach point can be set, in whole steps of a range.

    `set_u_nm` is the standard uncertainty with which hands make a setting. `turn_e3`:
    thousandths of a turn that one step is, for a rod end.
    """

    point = models.ForeignKey(AttachPoint, models.PROTECT, related_name="adjusters")
    direction = models.ForeignKey(HoldingDirection, models.PROTECT, related_name="+")
    order = models.PositiveIntegerField()
    min_nm = models.BigIntegerField()
    max_nm = models.BigIntegerField()
    step_nm = models.BigIntegerField()
    step_kind = models.CharField(
        max_length=6, choices=StepKind, default=StepKind.LENGTH
    )
    turn_e3 = models.PositiveIntegerField(null=True, blank=True)
    set_u_nm = models.BigIntegerField(default=0)

    class Meta:
        ordering = ("point__order", "order")
        constraints = [
            models.UniqueConstraint(
                fields=["point", "direction"], name="adjuster_direction_once"
            ),
            models.CheckConstraint(
                condition=Q(min_nm__lte=F("max_nm")), name="adjuster_range_in_order"
            ),
            models.CheckConstraint(
                condition=Q(step_nm__gt=0, set_u_nm__gte=0),
                name="adjuster_step_positive",
            ),
            models.CheckConstraint(
                condition=Q(step_kind__in=StepKind.values),
                name="adjuster_step_kind_known",
            ),
            models.CheckConstraint(
                condition=Q(step_kind=StepKind.TURN, turn_e3__gt=0)
                | ~Q(step_kind=StepKind.TURN) & Q(turn_e3__isnull=True),
                name="adjuster_turns_where_it_turns",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def name(self) -> str:
        """What a setting is kept by: it outlives the statement that named it."""
        return f"{self.point.name}: {self.direction.plus}/{self.direction.minus}"


class AdjusterSetting(Fact):
    """What an adjuster on an airframe was set to, and what had been asked.

    Kept by the adjuster's name, so that it holds when the holding is stated anew.
    `fit_up` is the one that the setting opened.
    """

    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="settings")
    position = models.ForeignKey(Position, models.PROTECT, related_name="+")
    name = models.CharField(max_length=90)
    fit_up = models.ForeignKey(
        FitUp, models.PROTECT, related_name="settings", null=True, blank=True
    )
    plan = models.ForeignKey(
        FitPlan, models.PROTECT, related_name="made_settings", null=True, blank=True
    )
    value_nm = models.BigIntegerField()
    change_nm = models.BigIntegerField()
    asked_nm = models.BigIntegerField(null=True, blank=True)
    value = models.CharField(max_length=24, blank=True)
    unit = models.CharField(max_length=2, choices=Unit, blank=True)

    class Meta:
        ordering = ("id",)
        indexes = [
            models.Index(
                fields=["airframe", "position", "name", "-id"], name="setting_newest"
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.value_nm}"
