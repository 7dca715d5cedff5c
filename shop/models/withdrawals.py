"""What was recorded on a tool by mistake: taken back, and readable for ever."""

from django.db import models
from django.db.models import Q

from .ledger import Fact
from .release import ReleaseCoat
from .routes import StepDone


class Withdrawal(Fact):
    """One coat or one step that was never so: it counts no more, its row stays."""

    coat = models.OneToOneField(ReleaseCoat, models.PROTECT, null=True)
    step = models.OneToOneField(StepDone, models.PROTECT, null=True)
    reason = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(coat__isnull=False, step__isnull=True)
                | Q(coat__isnull=True, step__isnull=False),
                name="withdrawal_of_one_thing",
            )
        ]

    def __str__(self) -> str:
        return str(self.coat or self.step)
