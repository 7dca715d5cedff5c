"""Designs, the parts made to them, and the graph of what came from what."""

import uuid

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from .kept import Kept
from .ledger import Fact


class Hand(models.TextChoices):
    LEFT = "left", _("left")
    RIGHT = "right", _("right")
    NONE = "none", _("no hand")


class StructuralClass(models.TextChoices):
    PRIMARY = "primary", _("primary structure")
    SECONDARY = "secondary", _("secondary structure")
    NON_STRUCTURAL = "non_structural", _("non-structural")


class PartDesign(Kept):
    number = models.CharField(_("part number"), max_length=60)
    revision = models.CharField(_("revision"), max_length=12, default="A")
    name = models.CharField(_("name"), max_length=120)
    hand = models.CharField(_("hand"), max_length=5, choices=Hand, default=Hand.NONE)
    mirror = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="mirrored_by"
    )
    structural_class = models.CharField(
        _("structural class"),
        max_length=16,
        choices=StructuralClass,
        default=StructuralClass.SECONDARY,
    )
    # Offcuts laid up with a part to be tested: never placed, never weighed.
    is_coupon = models.BooleanField(_("test coupon"), default=False)

    called_by = ("number", "name")
    searched = called_by

    class Meta:
        ordering = ("number", "revision")
        # Few of many, asked for beside all others.
        indexes = [
            models.Index(
                fields=["number"], name="design_coupons", condition=Q(is_coupon=True)
            ),
            models.Index(
                fields=["number", "revision"],
                name="design_mirrored",
                condition=Q(mirror__isnull=False),
            ),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["number", "revision"],
                name="design_number_and_revision_once",
                violation_error_message=_("This number and revision exist already."),
            ),
            models.CheckConstraint(
                condition=Q(hand__in=Hand.values), name="design_hand_known"
            ),
            models.CheckConstraint(
                condition=Q(structural_class__in=StructuralClass.values),
                name="design_structural_class_known",
            ),
            models.CheckConstraint(
                condition=Q(mirror__isnull=True) | ~Q(mirror=F("id")),
                name="design_not_its_own_mirror",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.revision}"


class PartState(models.TextChoices):
    GOOD = "good", _("in use")
    SUSPECT = "suspect", _("suspect")
    SCRAPPED = "scrapped", _("scrapped")


# Never, or only by hand.
NOT_WEIGHED = Q(mass_mg=None) | Q(mass_is_estimate=True)


class Part(Kept):
    """One serial. Identity never changes; its state does, by acts."""

    design = models.ForeignKey(PartDesign, models.PROTECT, related_name="parts")
    serial = models.CharField(_("serial"), max_length=60, unique=True)
    state = models.CharField(max_length=10, choices=PartState, default=PartState.GOOD)
    note = models.CharField(_("note"), max_length=200, blank=True)
    # What a tablet names it by: a restored copy may give its key to another row.
    uuid = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    # Projection of the newest weighing: None was never weighed.
    mass_mg = models.PositiveBigIntegerField(null=True, editable=False)
    mass_is_estimate = models.BooleanField(default=False, editable=False)

    called_by = ("serial", "design__number", "design__name")
    searched = ("serial",)

    class Meta:
        ordering = ("serial",)
        indexes = [
            # What waits for a scale, counted and shown without going through all: the
            # index has all that is asked.
            models.Index(
                fields=["serial", "design", "state"],
                condition=NOT_WEIGHED,
                name="part_not_weighed",
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=PartState.values), name="part_state_known"
            )
        ]

    def __str__(self) -> str:
        return self.serial


class Origin(models.TextChoices):
    PULLED = "pulled", _("pulled from a mold")
    BONDED = "bonded", _("bonded from parts")
    CUT = "cut", _("cut from a part")
    BOUGHT = "bought", _("bought")
    MADE = "made", _("made in the shop")


class Lineage(Fact):
    """An edge of the graph of parts: this part came (also) from that."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="lineage")
    kind = models.CharField(max_length=8, choices=Origin)
    source = models.ForeignKey(
        Part, models.PROTECT, related_name="made_into", null=True, blank=True
    )
    pull = models.ForeignKey(
        "Pull", models.PROTECT, related_name="yields", null=True, blank=True
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        # Parts made of parts: few of all edges.
        indexes = [
            models.Index(
                fields=["kind", "source"],
                name="lineage_of_parts",
                condition=Q(source__isnull=False),
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=Origin.values), name="lineage_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(source__isnull=True) | ~Q(source=F("part")),
                name="lineage_not_itself",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_id} {self.kind}"
