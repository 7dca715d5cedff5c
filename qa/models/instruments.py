"""What readings are taken with."""

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import Kept


class InstrumentStatus(models.TextChoices):
    IN_USE = "in_use", _("in use")
    LOST = "lost", _("lost")
    DAMAGED = "damaged", _("damaged")
    OUT = "out", _("out of use")


class Instrument(Kept):
    """A gauge with its standard uncertainty, feet and calibration due date.

    What a reading was judged with is frozen on the check and the reading; changing
    the instrument changes no record.
    """

    # What a tablet names it by: a restored copy may give its key to another row.
    uuid = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    code = models.CharField(_("code"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=40, default="step gauge")
    resolution_nm = models.BigIntegerField(null=True, blank=True)
    # What it can read from and to; none: not stated.
    range_low_nm = models.BigIntegerField(null=True, blank=True)
    range_high_nm = models.BigIntegerField(null=True, blank=True)
    u_nm = models.BigIntegerField(_("standard uncertainty"), null=True, blank=True)
    # Where a bridge stands and probes, along its base; see design 4.1.
    foot_1_nm = models.BigIntegerField(null=True, blank=True)
    foot_2_nm = models.BigIntegerField(null=True, blank=True)
    probe_nm = models.BigIntegerField(null=True, blank=True)
    due = models.DateField(_("calibration due"), null=True, blank=True)
    status = models.CharField(
        max_length=8, choices=InstrumentStatus, default=InstrumentStatus.IN_USE
    )
    # The day on which it was found off, until it is good again.
    found_off_on = models.DateField(null=True, blank=True, editable=False)
    # Since when its status and due date stand: before that, its standings say.
    stands_since = models.DateTimeField(null=True, blank=True, editable=False)

    called_by = ("code", "name")
    searched = ("code", "name", "kind")

    class Meta:
        ordering = ("code",)
        # What is due, of all that are in use.
        indexes = [models.Index(fields=["status", "due"], name="instrument_due")]
        constraints = [
            models.CheckConstraint(
                condition=Q(u_nm__isnull=True) | Q(u_nm__gt=0),
                name="instrument_uncertainty_positive",
            ),
            models.CheckConstraint(
                condition=Q(resolution_nm__isnull=True) | Q(resolution_nm__gt=0),
                name="instrument_resolution_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.code
