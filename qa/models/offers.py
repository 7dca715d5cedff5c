"""What was offered for inspection, and what the inspector said of it."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, Fact, Frozen, Part, Position

from .checks import Kind
from .fitups import FitUp
from .instruments import Instrument
from .joints import Joint, Station
from .nonconformances import REMARK_MOST, Nonconformance


class Offer(Fact):
    """A joint, a part with its joints, or a bay (a position and what sits in it) of an
    airframe, offered by whoever did the work."""

    number = models.PositiveIntegerField(unique=True)
    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="offers")
    joint = models.ForeignKey(
        Joint, models.PROTECT, related_name="+", null=True, blank=True
    )
    part = models.ForeignKey(
        Part, models.PROTECT, related_name="+", null=True, blank=True
    )
    bay = models.ForeignKey(
        Position, models.PROTECT, related_name="+", null=True, blank=True
    )
    # Numbers of joints that were never fitted, or not measured since: not offered.
    left_out = models.JSONField(default=list, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-number",)
        constraints = [
            models.CheckConstraint(
                condition=Q(joint__isnull=False, part__isnull=True, bay__isnull=True)
                | Q(joint__isnull=True, part__isnull=False, bay__isnull=True)
                | Q(joint__isnull=True, part__isnull=True, bay__isnull=False),
                name="offer_of_one_thing",
            )
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return f"OF-{self.number:04d}"

    @property
    def what(self) -> str:
        """What was offered, by name; its joint, part and bay are loaded."""
        if self.joint:
            return f"{self.joint.number} {self.joint.name}"
        return self.part.serial if self.part else self.bay.path


class OfferedJoint(Frozen):
    """One joint as it was offered: frozen.

    `body` is canonical JSON (`offered/1`, qa.rules.offering): checks, condition, every
    station with its state, items. `digest` is its sha256: what is accepted or rejected,
    and what a signature binds. `read_to` is the number of the last entry known then.
    """

    offer = models.ForeignKey(Offer, models.PROTECT, related_name="joints")
    order = models.PositiveIntegerField()
    joint = models.ForeignKey(Joint, models.PROTECT, related_name="offered")
    fit_up = models.ForeignKey(FitUp, models.PROTECT, related_name="offered")
    read_to = models.BigIntegerField()

    class Meta:
        ordering = ("offer", "order")
        constraints = [
            models.UniqueConstraint(
                fields=["offer", "order"], name="offered_order_once"
            ),
            models.UniqueConstraint(
                fields=["offer", "joint"], name="offered_joint_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.order}"


class SecondReading(Fact):
    """What the inspector read beside the builder's reading, judged the same way. It
    changes no check."""

    offered = models.ForeignKey(OfferedJoint, models.PROTECT, related_name="seconds")
    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=5, choices=Kind)
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="+", null=True, blank=True
    )
    value = models.CharField(max_length=24)
    unit = models.CharField(max_length=2)
    value_nm = models.BigIntegerField()
    u_nm = models.BigIntegerField(null=True, blank=True)
    low_nm = models.BigIntegerField(null=True, blank=True)
    high_nm = models.BigIntegerField(null=True, blank=True)
    guard_nm = models.BigIntegerField(null=True, blank=True)
    rule = models.CharField(max_length=8, blank=True)
    method = models.CharField(max_length=20, blank=True)
    verdict = models.CharField(max_length=16, blank=True)
    deviation_nm = models.BigIntegerField(null=True, blank=True)
    probability = models.FloatField(null=True, blank=True)
    range_low_nm = models.BigIntegerField(null=True, blank=True)
    range_high_nm = models.BigIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.station_id} {self.kind} {self.value} {self.unit}"

    @property
    def label(self) -> str:
        """What it was read for (with its offer and station)."""
        return f"{self.offered.offer.label} {self.station.label} {self.kind}"

    @property
    def reach(self) -> tuple[int | None, int | None]:
        """What the instrument read from and to, as it was stated then."""
        return self.range_low_nm, self.range_high_nm


class InspectionOutcome(models.TextChoices):
    ACCEPTED = "accepted", _("accepted")
    WITH_REMARKS = "with_remarks", _("accepted with remarks")
    REJECTED = "rejected", _("rejected")


class Inspection(Fact):
    """What an inspector said of one joint as it was offered: once.

    Person and time are those of its entry; `meaning` is what the act means, `digest`
    that of what was shown and decided.
    """

    offered = models.OneToOneField(
        OfferedJoint, models.PROTECT, related_name="inspection"
    )
    outcome = models.CharField(max_length=12, choices=InspectionOutcome)
    meaning = models.CharField(max_length=20, default="inspected")
    digest = models.CharField(max_length=64)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome__in=InspectionOutcome.values),
                name="inspection_outcome_known",
            )
        ]

    def __str__(self) -> str:
        return self.outcome


class InspectionRemark(Fact):
    """What the inspector said of one line: a station, or the joint whole (""). Each is
    an item."""

    inspection = models.ForeignKey(Inspection, models.PROTECT, related_name="remarks")
    station = models.CharField(max_length=20, blank=True)
    text = models.CharField(max_length=REMARK_MOST)
    item = models.OneToOneField(Nonconformance, models.PROTECT, related_name="remark")

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(condition=~Q(text=""), name="remark_with_words"),
            models.UniqueConstraint(
                fields=["inspection", "station"], name="remark_once_a_line"
            ),
        ]

    def __str__(self) -> str:
        return self.text
