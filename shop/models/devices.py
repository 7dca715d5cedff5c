"""Gauges, scripts and calendars that come in with a token of their own."""

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from .kept import Kept
from .people import Person


class Opens(models.TextChoices):
    """What a token opens, and nothing else."""

    READS = "reads", _("the API, to read")
    WRITES = "writes", _("the API, to read and to record")
    CALENDAR = "calendar", _("the calendar of what is due")


class Device(Kept):
    """What asks by itself, for one person. Only a digest of its token is kept.

    It may what that person may, as long as both are active; the person's own password
    was proven when it was made.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    name = models.CharField(_("name"), max_length=60)
    opens = models.CharField(_("opens"), max_length=8, choices=Opens)
    # Of the whole shop, not only what is with that person.
    whole_shop = models.BooleanField(default=False)
    token_sha256 = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(Person, models.PROTECT, related_name="devices")
    made_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    not_bound = ("seen_at",)
    bound_by_digest = ("token_sha256",)

    class Meta:
        ordering = ("name", "made_at")
        constraints = [
            models.CheckConstraint(
                condition=Q(opens__in=Opens.values), name="device_opens_known"
            )
        ]

    @property
    def refused_because(self) -> str:
        """Why its person keeps it out for now, in words; "" where nothing does."""
        if not self.person.is_active:
            return gettext("may not sign in any more: its token is refused")
        if self.person.must_change_password:
            return gettext("has to choose a password: until then its token is refused")
        return ""

    def __str__(self) -> str:
        return self.name
