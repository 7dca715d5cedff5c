"""Materials and their lots: received, opened, out of the cold, past their life."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.numeric.units import MIN_PER_H

from .kept import Kept
from .ledger import Fact


class MaterialKind(models.TextChoices):
    RESIN = "resin", _("resin")
    HARDENER = "hardener", _("hardener")
    FIBER = "fiber", _("reinforcement")
    PREPREG = "prepreg", _("prepreg")
    CORE = "core", _("core")
    RELEASE = "release", _("release")
    FILLER = "filler", _("filler, primer")
    ADHESIVE = "adhesive", _("adhesive")
    OTHER = "other", _("other")


class Material(Kept):
    """A product of a kind. Masses in milligrams, densities in mg per cubic cm."""

    code = models.CharField(_("code"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=8, choices=MaterialKind)
    density = models.PositiveIntegerField(
        _("density"), null=True, blank=True, help_text=_("kg per cubic meter")
    )
    areal_mass = models.PositiveIntegerField(
        _("mass per area"), null=True, blank=True, help_text=_("g per square meter")
    )
    thickness_nm = models.PositiveBigIntegerField(
        _("thickness (core)"), null=True, blank=True
    )
    out_time_limit = models.PositiveIntegerField(
        _("out-time limit"), null=True, blank=True, help_text=_("hours")
    )
    pot_minutes = models.PositiveIntegerField(
        _("pot time"), null=True, blank=True, help_text=_("minutes")
    )
    # Hardener mass for 1 kg of resin, in grams: 300 means 100 : 30.
    ratio = models.PositiveIntegerField(
        _("hardener per kg of resin"), null=True, blank=True, help_text=_("g")
    )

    called_by = ("code", "name")

    class Meta:
        ordering = ("code",)
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=MaterialKind.values), name="material_kind_known"
            )
        ]

    def __str__(self) -> str:
        return self.code


class LotState(models.TextChoices):
    GOOD = "good", _("in use")
    HELD = "held", _("on hold")
    USED_UP = "used_up", _("used up")


class Lot(Kept):
    material = models.ForeignKey(Material, models.PROTECT, related_name="lots")
    number = models.CharField(_("lot number"), max_length=60)
    received_on = models.DateField(_("received"))
    expires_on = models.DateField(_("expires"), null=True, blank=True)
    amount = models.CharField(_("amount"), max_length=40, blank=True)
    # Who it was bought from, and the paper that says it conforms: as it was filed last.
    supplier = models.CharField(_("supplier"), max_length=80, blank=True, default="")
    certificate = models.CharField(
        _("certificate of conformity"), max_length=80, blank=True, default=""
    )
    # Projections of the acts below.
    place = models.CharField(_("where"), max_length=80, blank=True)
    opened_on = models.DateField(null=True, editable=False)
    out_minutes = models.PositiveIntegerField(default=0)
    state = models.CharField(max_length=8, choices=LotState, default=LotState.GOOD)

    called_by = ("number", "material__code", "material__name")
    searched = ("number",)

    class Meta:
        ordering = ("material__code", "number")
        indexes = [
            models.Index(fields=["state", "expires_on"]),
            models.Index(fields=["state", "out_minutes"], name="lot_out"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["material", "number"], name="lot_number_once_per_material"
            ),
            models.CheckConstraint(
                condition=Q(state__in=LotState.values), name="lot_state_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.material.code} {self.number}"

    def past_life(self, day) -> str:
        """Say why the lot is past its life on a day; "" when it is not."""
        if self.expires_on and self.expires_on < day:
            return _("It expired on %(day)s.") % {"day": self.expires_on}
        limit = self.material.out_time_limit
        if limit and self.out_minutes > limit * MIN_PER_H:
            hours = f"{self.out_minutes / MIN_PER_H:.1f}"
            return _("It was out for %(hours)s hours of %(limit)s allowed.") % {
                "hours": hours,
                "limit": limit,
            }
        return ""


class LotActKind(models.TextChoices):
    RECEIVED = "received", _("received")
    OPENED = "opened", _("opened")
    OUT = "out", _("out of the cold")
    MOVED = "moved", _("moved")
    USED_UP = "used_up", _("used up")
    PAPERS = "papers", _("papers filed")


class LotAct(Fact):
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="acts")
    kind = models.CharField(max_length=8, choices=LotActKind)
    minutes = models.PositiveIntegerField(null=True)
    temperature = models.IntegerField(null=True, help_text="0.001 degC")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=LotActKind.values), name="lot_act_kind_known"
            )
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.kind}"
