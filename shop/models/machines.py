"""Machines, the play of their axes, and how a plug was milled."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from .kept import Kept
from .ledger import Fact
from .tooling import Tool


class Machine(Kept):
    name = models.CharField(_("name"), max_length=80, unique=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    # Lengths in whole nanometers; the text is what was typed.
    play_limit_nm = models.PositiveBigIntegerField(
        _("largest play allowed"), null=True, blank=True
    )
    play_limit_text = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Axis(models.TextChoices):
    X = "x", "X"
    Y = "y", "Y"
    Z = "z", "Z"


class AxisPlay(Fact):
    """The play of one axis as measured on a day."""

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="play")
    axis = models.CharField(max_length=1, choices=Axis)
    measured_on = models.DateField()
    play_nm = models.PositiveBigIntegerField()
    play_text = models.CharField(max_length=40)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        verbose_name_plural = "axis play"
        indexes = [models.Index(fields=["machine", "measured_on"])]

    def __str__(self) -> str:
        return f"{self.axis} {self.play_text}"


class MillingSetup(Fact):
    """How a plug was cut: tool radius, stepover, stock left, passes."""

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="milling")
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="setups")
    milled_on = models.DateField()
    radius_nm = models.PositiveBigIntegerField()
    radius_text = models.CharField(max_length=40)
    stepover_nm = models.PositiveBigIntegerField()
    stepover_text = models.CharField(max_length=40)
    stock_nm = models.BigIntegerField(null=True)
    stock_text = models.CharField(max_length=40, blank=True)
    sanding_nm = models.PositiveBigIntegerField(null=True)
    sanding_text = models.CharField(max_length=40, blank=True)
    passes = models.PositiveIntegerField(default=1)
    one_way = models.BooleanField(default=False)
    # Slopes along the feed at which to tell scallop and striation, in degrees.
    slopes = models.JSONField(default=list)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["machine", "milled_on"])]

    def __str__(self) -> str:
        return f"{self.machine} {self.milled_on:%Y-%m-%d}"
