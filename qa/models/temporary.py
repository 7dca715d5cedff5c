"""Where a temporary item stands at a joint, or in which hole pattern."""

from django.db import models
from django.db.models import Q

from shop.models import Fact, TemporaryItem

from .holes import HolePattern
from .joints import Joint


class TemporaryPlace(Fact):
    """What was put in at a joint, or into holes of a pattern that the item names."""

    item = models.OneToOneField(
        TemporaryItem, models.PROTECT, related_name="at", primary_key=False
    )
    joint = models.ForeignKey(
        Joint, models.PROTECT, related_name="temporary", null=True, blank=True
    )
    pattern = models.ForeignKey(
        HolePattern, models.PROTECT, related_name="temporary", null=True, blank=True
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(joint__isnull=False) | Q(pattern__isnull=False),
                name="temporary_place_somewhere",
            )
        ]

    def __str__(self) -> str:
        return f"{self.item_id} at {self.joint_id} {self.pattern_id}"
