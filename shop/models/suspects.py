"""Holds on a link of the chain, and the parts downstream that wait for a decision."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from .kept import Kept
from .ledger import Entry, Fact
from .parts import Part


class Hold(Kept):
    """What of the chain is not trusted; kind and id are those of identifiers.py."""

    subject_kind = models.CharField(max_length=12)
    subject_id = models.BigIntegerField()
    label = models.CharField(max_length=200)
    reason = models.CharField(max_length=200)
    # Whether the parts downstream are suspect, or only this thing is not to be used.
    spreads = models.BooleanField(default=True)
    entry = models.ForeignKey(Entry, models.PROTECT, to_field="act", related_name="+")
    lifted_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+", null=True
    )

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.UniqueConstraint(
                fields=["subject_kind", "subject_id"],
                condition=Q(lifted_entry__isnull=True),
                name="hold_one_open_per_thing",
                violation_error_message=_("It is on hold already."),
            )
        ]

    def __str__(self) -> str:
        return self.label


class HoldAct(Fact):
    """A hold was put on or lifted."""

    hold = models.ForeignKey(Hold, models.PROTECT, related_name="acts")
    lifted = models.BooleanField(default=False)
    reason = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"{self.hold_id} {'lifted' if self.lifted else 'put on'}"


class Suspect(Kept):
    """A part reached from a hold. Projection: undecided until somebody says."""

    hold = models.ForeignKey(Hold, models.PROTECT, related_name="suspects")
    part = models.ForeignKey(Part, models.PROTECT, related_name="suspicions")
    decided_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+", null=True
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["hold", "part"], name="suspect_once_per_hold"
            )
        ]

    def __str__(self) -> str:
        return f"{self.part_id} by {self.hold_id}"


class Decision(models.TextChoices):
    GOOD = "good", _("good: not affected")
    SCRAP = "scrap", _("scrap")


class SuspectDecision(Fact):
    suspect = models.OneToOneField(
        Suspect, models.PROTECT, related_name="decision", primary_key=False
    )
    decision = models.CharField(max_length=5, choices=Decision)
    reason = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"{self.suspect_id} {self.decision}"
