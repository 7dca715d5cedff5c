"""Weights of parts and airframes, on which scale, and against what was expected."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from .airframes import Airframe
from .ledger import Fact
from .parts import Part


class Stage(models.TextChoices):
    UNTRIMMED = "untrimmed", _("untrimmed")
    TRIMMED = "trimmed", _("trimmed")
    PRIMED = "primed", _("primed")
    FINISHED = "finished", _("finished")


class Weighing(Fact):
    """One weight of a part. An estimate by hand still waits for a scale."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="weighings")
    stage = models.CharField(max_length=9, choices=Stage)
    mass_mg = models.PositiveBigIntegerField()
    mass_text = models.CharField(max_length=40)
    estimate = models.BooleanField(default=False)
    scale = models.CharField(max_length=60, blank=True)
    weighed_on = models.DateField()
    # What the laminate says, and how far from it still needs no reason.
    expected_mg = models.PositiveBigIntegerField(null=True)
    low_mg = models.PositiveBigIntegerField(null=True)
    high_mg = models.PositiveBigIntegerField(null=True)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("part", "-weighed_on", "-pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(stage__in=Stage.values), name="weighing_stage_known"
            ),
            models.CheckConstraint(
                condition=Q(estimate=True) | ~Q(scale=""),
                name="weighing_names_its_scale",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_id} {self.stage} {self.mass_text}"


class AirframeWeighing(Fact):
    """An airframe on the scales: its mass and, where known, where it balances."""

    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="weighings")
    mass_mg = models.PositiveBigIntegerField()
    mass_text = models.CharField(max_length=40)
    arm_nm = models.BigIntegerField(null=True)
    arm_text = models.CharField(max_length=40, blank=True)
    scale = models.CharField(max_length=60)
    weighed_on = models.DateField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("airframe", "-weighed_on", "-pk")

    def __str__(self) -> str:
        return f"{self.airframe_id} {self.mass_text}"
