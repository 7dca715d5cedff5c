"""Where the shop wants its backups. Each backup says itself what it holds."""

from django.core.validators import MaxValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from .ledger import Fact

# The form of the acts that say how a backup went.
MADE = "backup/1"


class BackupPlan(Fact):
    """A folder on the server, an hour of the shop's day, how many are kept."""

    place = models.CharField(_("folder on the server"), max_length=400, blank=True)
    hour = models.PositiveSmallIntegerField(
        _("hour of the night"), default=2, validators=[MaxValueValidator(23)]
    )
    busy_acts = models.PositiveIntegerField(_("also after so many acts"), default=500)
    days = models.PositiveSmallIntegerField(_("days kept"), default=7)
    weeks = models.PositiveSmallIntegerField(_("weeks kept"), default=5)
    months = models.PositiveSmallIntegerField(_("months kept"), default=12)

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return self.place or "no backups"
