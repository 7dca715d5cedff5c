"""What needs proof beside gap, flushness and holes: planned, revisioned, judged."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, Fact, Kept, Part, Position

from .fitups import FitUp
from .instruments import Instrument
from .joints import Joint, Rule


class Quality(models.TextChoices):
    DIMENSION = "dimension", _("dimension")
    CLEARANCE = "clearance", _("clearance")
    COUNT = "count", _("count")
    ATTRIBUTE = "attribute", _("attribute")
    RATIO = "ratio", _("ratio of areas")
    WEIGHT = "weight", _("weight")


class Characteristic(Kept):
    """One thing to prove in a bay of every airframe of a type, perhaps at a joint."""

    number = models.CharField(_("number"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120)
    quality = models.CharField(_("what it is"), max_length=9, choices=Quality)
    bay = models.ForeignKey(
        Position, models.PROTECT, related_name="characteristics", verbose_name=_("bay")
    )
    joint = models.ForeignKey(
        Joint,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="characteristics",
        verbose_name=_("at a joint"),
    )
    # Projection: the newest revision.
    current = models.ForeignKey(
        "CharacteristicRevision",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        editable=False,
    )

    class Meta:
        ordering = ("number",)
        constraints = [
            models.CheckConstraint(
                condition=Q(quality__in=Quality.values),
                name="characteristic_quality_known",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class CharacteristicRevision(Fact):
    """What is required, as it was released: results are judged by it for ever.

    Limits in whole nm, pieces, mg, or millionths of a ratio; beside them as typed.
    """

    characteristic = models.ForeignKey(
        Characteristic, models.PROTECT, related_name="revisions"
    )
    number = models.PositiveIntegerField()
    low = models.BigIntegerField(null=True, blank=True)
    high = models.BigIntegerField(null=True, blank=True)
    low_text = models.CharField(_("at least"), max_length=24, blank=True)
    high_text = models.CharField(_("at most"), max_length=24, blank=True)
    unit = models.CharField(_("unit"), max_length=4, blank=True)
    rule = models.CharField(
        _("judged"), max_length=8, choices=Rule, default=Rule.SIMPLE
    )
    edition = models.CharField(max_length=4, default="2017")
    photo = models.BooleanField(_("with a photo"), default=False)
    # What is said of it: how and where it is measured, the two areas of a ratio.
    how = models.CharField(_("how"), max_length=200, blank=True)
    source = models.CharField(_("source"), max_length=200, blank=True)

    class Meta:
        ordering = ("characteristic", "-number")
        constraints = [
            models.UniqueConstraint(
                fields=["characteristic", "number"],
                name="characteristic_revision_once",
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=True)
                | Q(high__isnull=True)
                | Q(low__lte=models.F("high")),
                name="characteristic_limits_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.characteristic_id} rev {self.number}"


class CharacteristicResult(Fact):
    """What was found on one airframe, and how it was judged. Never edited."""

    revision = models.ForeignKey(
        CharacteristicRevision, models.PROTECT, related_name="results"
    )
    airframe = models.ForeignKey(
        Airframe, models.PROTECT, related_name="characteristic_results"
    )
    # What sat in the bay then, and the fit-up of its joint: another voids it.
    part = models.ForeignKey(
        Part, models.PROTECT, related_name="+", null=True, blank=True
    )
    fit_up = models.ForeignKey(
        FitUp, models.PROTECT, related_name="+", null=True, blank=True
    )
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="+", null=True, blank=True
    )
    # As typed; of a ratio the upper area, and the lower one beside.
    value = models.CharField(max_length=24, blank=True)
    under = models.CharField(max_length=24, blank=True)
    unit = models.CharField(max_length=4, blank=True)
    u_text = models.CharField(max_length=24, blank=True)
    u_under = models.CharField(max_length=24, blank=True)
    # In the exact unit; of a ratio rounded for people, to its side of the limit.
    exact = models.BigIntegerField(null=True, blank=True)
    u = models.BigIntegerField(null=True, blank=True)
    low = models.BigIntegerField(null=True, blank=True)
    high = models.BigIntegerField(null=True, blank=True)
    guard = models.BigIntegerField(null=True, blank=True)
    rule = models.CharField(max_length=8, blank=True)
    method = models.CharField(max_length=20, blank=True)
    verdict = models.CharField(max_length=16)
    deviation = models.BigIntegerField(null=True, blank=True)
    probability = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return f"{self.revision.characteristic} on {self.airframe}"
