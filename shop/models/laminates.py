"""Laminates: plies by area, and the recipes of their cure."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.numeric.units import MILLI, PPM

from .kept import Kept
from .materials import Material
from .parts import PartDesign


class CureRecipe(Kept):
    """The window of a cure. Temperatures in 0.001 degC, rates in 0.001 degC/min."""

    name = models.CharField(_("name"), max_length=80, unique=True)
    ramp_most = models.PositiveIntegerField(_("fastest ramp"), null=True, blank=True)
    dwell_low = models.IntegerField(_("dwell from"))
    dwell_high = models.IntegerField(_("dwell to"))
    dwell_minutes = models.PositiveIntegerField(_("dwell at least"))
    peak_most = models.IntegerField(_("peak at most"), null=True, blank=True)
    # Release from the mold is not before so many minutes after the lay-up.
    minutes_to_release = models.PositiveIntegerField(_("minutes to release"))

    called_by = ("name",)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name

    @property
    def words(self) -> str:
        """What the recipe asks, in one line."""
        low, high = self.dwell_low / MILLI, self.dwell_high / MILLI
        asked = [f"{self.dwell_minutes} min, {low:g} – {high:g} °C"]
        if self.ramp_most is not None:
            asked.append(f"≤ {self.ramp_most / MILLI:g} K/min")
        if self.peak_most is not None:
            asked.append(f"≤ {self.peak_most / MILLI:g} °C")
        return ", ".join(asked)


class Laminate(Kept):
    """A ply schedule of one revision; kept as it was once a pull was made with it."""

    code = models.CharField(_("code"), max_length=40)
    revision = models.CharField(_("revision"), max_length=12, default="A")
    name = models.CharField(_("name"), max_length=120)
    design = models.ForeignKey(
        PartDesign, models.PROTECT, null=True, blank=True, related_name="laminates"
    )
    resin = models.ForeignKey(
        Material, models.PROTECT, related_name="+", verbose_name=_("resin")
    )
    recipe = models.ForeignKey(
        CureRecipe, models.PROTECT, null=True, blank=True, related_name="laminates"
    )
    # Millionths: fiber volume fraction, resin lost, spread of the resin fraction.
    fiber_fraction_ppm = models.PositiveIntegerField(_("fiber volume fraction"))
    loss_ppm = models.PositiveIntegerField(_("resin loss"), default=0)
    spread_ppm = models.PositiveIntegerField(
        _("spread of the resin fraction"), default=30_000
    )
    # Resin that the core takes up, g per square meter of core and side.
    core_uptake = models.PositiveIntegerField(_("core uptake"), default=0)

    called_by = ("code", "name")

    class Meta:
        ordering = ("code", "revision")
        constraints = [
            models.UniqueConstraint(
                fields=["code", "revision"], name="laminate_revision_once"
            ),
            models.CheckConstraint(
                condition=Q(fiber_fraction_ppm__gt=0, fiber_fraction_ppm__lt=PPM),
                name="laminate_fiber_fraction_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.revision}"


class Ply(Kept):
    """One ply or core of an area, in the order of laying."""

    laminate = models.ForeignKey(Laminate, models.CASCADE, related_name="plies")
    order = models.PositiveIntegerField()
    area_name = models.CharField(max_length=60)
    area_mm2 = models.PositiveBigIntegerField()
    material = models.ForeignKey(Material, models.PROTECT, related_name="+")
    orientation = models.SmallIntegerField(default=0, help_text="degrees")

    class Meta:
        ordering = ("laminate", "order")
        verbose_name_plural = "plies"

    def __str__(self) -> str:
        return f"{self.area_name} {self.material_id} {self.orientation}"
