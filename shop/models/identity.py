"""What the shop is called, and in which zone, units and paper it works."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from .ledger import Fact
from .people import Unit


class PaperSize(models.TextChoices):
    A4 = "a4", _("A4")
    LETTER = "letter", _("US Letter")


class ShopIdentity(Fact):
    """Written anew at each change; the newest holds."""

    name = models.CharField(_("name of the shop"), max_length=80)
    time_zone = models.CharField(_("time zone"), max_length=60)
    units = models.CharField(_("units"), max_length=2, choices=Unit)
    paper = models.CharField(_("paper"), max_length=6, choices=PaperSize)
    # The sha256 of the picture that stands on the first page of packs; "" has none.
    mark = models.CharField(_("mark"), max_length=64, blank=True)
    second_factor = models.BooleanField(
        _("second factor of leads and engineers"), default=False
    )

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(units__in=Unit.values) & Q(paper__in=PaperSize.values),
                name="shop_units_and_paper_known",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def mark_name(self) -> str:
        return f"{self.mark[:2]}/{self.mark}.jpg" if self.mark else ""

    @classmethod
    def unsaid(cls) -> "ShopIdentity":
        """What holds until somebody says it: what the server was started with."""
        paper = settings.PAPER if settings.PAPER in PaperSize.values else PaperSize.A4
        return cls(
            name=settings.SHOP_NAME,
            time_zone=settings.TIME_ZONE,
            units=Unit.MM,
            paper=paper,
        )
