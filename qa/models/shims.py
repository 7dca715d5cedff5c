"""Shims: what the shop has, and what lies under a part."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import Fact, Kept, Part
from shop.numeric.units import to_mm

from .fitups import FitUp


class ShimStock(Kept):
    """A thickness of shim that the shop keeps. Changing it changes no record."""

    thickness_nm = models.BigIntegerField(_("thickness"), unique=True)
    name = models.CharField(_("material or mark"), max_length=80, blank=True)
    in_use = models.BooleanField(_("may be used"), default=True)

    class Meta:
        ordering = ("thickness_nm",)
        constraints = [
            models.CheckConstraint(
                condition=Q(thickness_nm__gt=0), name="shim_thickness_positive"
            )
        ]

    def __str__(self) -> str:
        return f"{to_mm(self.thickness_nm):g} mm"


class ShimStack(Fact):
    """The stack under a part at one attach point, in the fit-up it was put in for."""

    fit_up = models.ForeignKey(FitUp, models.PROTECT, related_name="stacks")
    part = models.ForeignKey(Part, models.PROTECT, related_name="stacks")
    point = models.CharField(max_length=40)
    # Thicknesses in nm, thickest first.
    shims = models.JSONField(default=list, blank=True)
    total_nm = models.BigIntegerField()

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(total_nm__gte=0), name="stack_not_negative"
            )
        ]

    def __str__(self) -> str:
        return f"{self.point} {self.total_nm}"
