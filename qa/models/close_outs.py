"""A joint, a bay or an airframe was closed: by whom, and on which content."""

import json
from functools import cached_property

from django.db import models
from django.db.models import Q

from shop.models import Airframe, Fact, Position

from .joints import Joint


class CloseOut(Fact):
    """Nothing stood between here and closed when this was said.

    `body` is canonical JSON (`close_out/1`, qa.rules.close_out): what was relied on;
    `digest` is its sha256, what a signature binds. With neither joint nor bay it is the
    airframe whole. Whether it still holds is worked out from what is now.
    """

    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="close_outs")
    number = models.PositiveIntegerField()
    bay = models.ForeignKey(
        Position, models.PROTECT, related_name="+", null=True, blank=True
    )
    joint = models.ForeignKey(
        Joint, models.PROTECT, related_name="close_outs", null=True, blank=True
    )
    body = models.TextField()
    digest = models.CharField(max_length=64)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = [
            models.UniqueConstraint(
                fields=["airframe", "number"], name="close_out_number_once"
            ),
            models.CheckConstraint(
                condition=Q(bay__isnull=True) | Q(joint__isnull=True),
                name="close_out_of_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        """Number within the airframe; pages print the airframe's serial beside."""
        return f"CO-{self.number:03d}"

    @cached_property
    def content(self) -> dict:
        return json.loads(self.body)
