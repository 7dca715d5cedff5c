"""Hole patterns, their revisioned requirement, and what was measured of them."""

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import Fact, Kept, Part, PartDesign, Unit

from .instruments import Instrument
from .joints import Joint


class HolePattern(Kept):
    """Holes that belong together: on a joint, or through parts of two designs."""

    number = models.CharField(_("pattern number"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120)
    joint = models.ForeignKey(
        Joint, models.PROTECT, null=True, blank=True, related_name="hole_patterns"
    )
    design = models.ForeignKey(
        PartDesign,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="hole_patterns",
        verbose_name=_("drilled in"),
    )
    mate = models.ForeignKey(
        PartDesign,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("and in"),
    )
    # Projection: the newest revision.
    current = models.ForeignKey(
        "HolePatternRevision",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        editable=False,
    )

    class Meta:
        ordering = ("number",)

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class HolePatternRevision(Fact):
    """A requirement as it was released: checks are judged by it for ever."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    pattern = models.ForeignKey(HolePattern, models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    note = models.CharField(max_length=400, blank=True)
    source = models.CharField(max_length=200, blank=True)
    # Key in qa.numeric.holes.spacing: the rule and its source are data.
    spacing_rule = models.CharField(max_length=40, blank=True)
    units = models.CharField(max_length=2, choices=Unit, default=Unit.MM)

    class Meta:
        ordering = ("pattern", "-number")
        constraints = [
            models.UniqueConstraint(
                fields=["pattern", "number"], name="hole_revision_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.pattern_id} rev {self.number}"


class PatternHole(Fact):
    """One hole as required. Lengths in nm."""

    revision = models.ForeignKey(
        HolePatternRevision, models.PROTECT, related_name="holes"
    )
    order = models.PositiveIntegerField()
    label = models.CharField(max_length=40)
    x_nm = models.BigIntegerField()
    y_nm = models.BigIntegerField()
    # Diameter of the position zone.
    zone_nm = models.BigIntegerField()
    # Smallest hole (maximum material) and largest.
    low_nm = models.BigIntegerField(null=True, blank=True)
    high_nm = models.BigIntegerField(null=True, blank=True)
    fastener_nm = models.BigIntegerField(null=True, blank=True)
    # Nominal distance to the edge, for holes whose edge was not measured.
    edge_nm = models.BigIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("revision", "order")
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "label"], name="hole_label_once"
            ),
            models.CheckConstraint(
                condition=Q(zone_nm__gte=0), name="hole_zone_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return self.label


class HoleCheck(Fact):
    """One sitting at a pattern on one serial."""

    number = models.PositiveIntegerField(unique=True)
    revision = models.ForeignKey(
        HolePatternRevision, models.PROTECT, related_name="checks"
    )
    part = models.ForeignKey(Part, models.PROTECT, related_name="hole_checks")
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="+", null=True, blank=True
    )
    u_nm = models.BigIntegerField(null=True, blank=True)
    method = models.CharField(max_length=20)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-number",)

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return f"HC-{self.number:04d}"


class HoleReading(Fact):
    """One hole as measured and as judged. Never edited: measure again instead."""

    hole_check = models.ForeignKey(HoleCheck, models.PROTECT, related_name="readings")
    hole = models.ForeignKey(PatternHole, models.PROTECT, related_name="readings")
    x_nm = models.BigIntegerField()
    y_nm = models.BigIntegerField()
    size_nm = models.BigIntegerField(null=True, blank=True)
    edge_nm = models.BigIntegerField(null=True, blank=True)
    # As typed: {"x": "12.02", ...}, all in `unit`.
    typed = models.JSONField(default=dict, blank=True)
    unit = models.CharField(max_length=2, choices=Unit)
    # Rounded to whole nm for people; the verdict compared exact squares.
    position_nm = models.BigIntegerField()
    allowed_nm = models.BigIntegerField()
    position_conforms = models.BooleanField()
    size_conforms = models.BooleanField(null=True, blank=True)
    # Not kept: what tells its size in its place (qa.rules.holes.newest_readings).
    sized: "HoleReading | None" = None

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                fields=["hole_check", "hole"], name="hole_read_once_a_check"
            )
        ]

    def __str__(self) -> str:
        return f"{self.hole_id}: {self.position_nm}"
