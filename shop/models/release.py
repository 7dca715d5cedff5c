"""Release: every coat on a plug or a mold, with its time."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from .kept import Kept
from .ledger import Fact
from .materials import Lot
from .tooling import Tool


class ReleaseKind(models.TextChoices):
    SEALER = "sealer", _("sealer")
    WAX = "wax", _("paste wax")
    SEMI = "semi", _("semi-permanent")
    FILM = "film", _("film (PVA)")


class ReleaseProduct(Kept):
    """A release product and its rules: the shop's data, to be edited."""

    name = models.CharField(_("name"), max_length=80, unique=True)
    kind = models.CharField(_("kind"), max_length=6, choices=ReleaseKind)
    minutes_between = models.PositiveIntegerField(_("minutes to the next coat"))
    minutes_before_layup = models.PositiveIntegerField(_("minutes to the lay-up"))
    coats_new = models.PositiveIntegerField(_("coats on a new surface"), default=1)
    rewax_every = models.PositiveIntegerField(
        _("again after so many pulls"), null=True, blank=True
    )
    source = models.CharField(
        _("where the rule comes from"), max_length=200, blank=True
    )

    called_by = ("name",)

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=ReleaseKind.values), name="release_kind_known"
            )
        ]

    def __str__(self) -> str:
        return self.name


class ReleaseCoat(Fact):
    """One coat. `number`: which one since the surface was stripped, when it went on."""

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="release_coats")
    product = models.ForeignKey(ReleaseProduct, models.PROTECT, related_name="coats")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="coats")
    applied_at = models.DateTimeField()
    surface = models.PositiveIntegerField()
    number = models.PositiveIntegerField()
    # Why it went on before its time, or from a lot past its life.
    reason = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["tool", "applied_at"])]

    def __str__(self) -> str:
        return f"{self.product} {self.number}"
