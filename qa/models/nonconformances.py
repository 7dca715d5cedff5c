"""Nonconformances: what was found is a fact; where it stands is a projection."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, Entry, Fact, Part, Projection

from .checks import Check
from .joints import Joint


class NonconformanceKind(models.TextChoices):
    GAP_TIGHT = "gap_tight", _("gap tight")
    GAP_WIDE = "gap_wide", _("gap wide")
    FLUSH_PROUD = "flush_proud", _("proud")
    FLUSH_LOW = "flush_low", _("low")
    OTHER = "other", _("other")


class Disposition(models.TextChoices):
    USE_AS_IS = "use_as_is", _("use as is")
    REWORK = "rework", _("rework")
    REPAIR = "repair", _("repair")
    SCRAP = "scrap", _("scrap")
    RETURN = "return", _("return to supplier")


class State(models.TextChoices):
    OPEN = "open", _("open")
    DISPOSITIONED = "dispositioned", _("dispositioned")
    CLOSED = "closed", _("closed")


class Nonconformance(Fact):
    """What was found: requirement, place, worst value. Numbered per airframe."""

    airframe = models.ForeignKey(
        Airframe, models.PROTECT, related_name="nonconformances"
    )
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=12, choices=NonconformanceKind)
    joint = models.ForeignKey(
        Joint, models.PROTECT, related_name="nonconformances", null=True, blank=True
    )
    fit_check = models.ForeignKey(
        Check,
        models.PROTECT,
        related_name="nonconformances",
        null=True,
        blank=True,
    )
    part = models.ForeignKey(
        Part, models.PROTECT, related_name="nonconformances", null=True, blank=True
    )
    title = models.CharField(max_length=200)
    requirement = models.CharField(max_length=200, blank=True)
    found = models.CharField(max_length=200, blank=True)
    place = models.CharField(max_length=200, blank=True)
    stations = models.JSONField(default=list, blank=True)
    stations_key = models.CharField(max_length=64, blank=True)
    readings = models.JSONField(default=list, blank=True)
    worst_station = models.CharField(max_length=20, blank=True)
    worst_nm = models.BigIntegerField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = [
            models.UniqueConstraint(
                fields=["airframe", "number"], name="nonconformance_number_once"
            ),
            models.UniqueConstraint(
                fields=["fit_check", "kind", "stations_key"],
                condition=Q(fit_check__isnull=False),
                name="nonconformance_raised_once",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=NonconformanceKind.values),
                name="nonconformance_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        """Number within the airframe; pages print the airframe's serial beside."""
        return f"NC-{self.number:03d}"


class NonconformanceState(Projection):
    """Projection: where an item stands and who decided what."""

    nonconformance = models.OneToOneField(
        Nonconformance, models.PROTECT, related_name="standing", primary_key=True
    )
    state = models.CharField(max_length=14, choices=State, default=State.OPEN)
    disposition = models.CharField(max_length=12, choices=Disposition, blank=True)
    disposed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
    )
    holder = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
    )
    due = models.DateField(null=True, blank=True)
    recheck = models.ForeignKey(
        Check, models.PROTECT, related_name="recheck_of", null=True, blank=True
    )
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
    )
    last_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=State.values), name="standing_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state="closed", closed_at__isnull=False)
                | (~Q(state="closed") & Q(closed_at__isnull=True)),
                name="standing_closed_at_iff_closed",
            ),
            models.CheckConstraint(
                condition=Q(state="open", disposition="")
                | (~Q(state="open") & ~Q(disposition="")),
                name="standing_disposition_iff_not_open",
            ),
            models.CheckConstraint(
                condition=~Q(
                    state="closed", disposition="use_as_is", closed_by=F("disposed_by")
                ),
                name="standing_use_as_is_closed_by_another",
            ),
        ]

    def __str__(self) -> str:
        return self.state


class NonconformanceStep(Fact):
    """Each thing that happened to an item after it was found."""

    class Verb(models.TextChoices):
        DISPOSE = "dispose", _("dispositioned")
        CLOSE = "close", _("closed")
        REOPEN = "reopen", _("reopened")
        REMARK = "remark", _("remark")

    nonconformance = models.ForeignKey(
        Nonconformance, models.PROTECT, related_name="steps"
    )
    verb = models.CharField(max_length=12, choices=Verb)
    disposition = models.CharField(max_length=12, choices=Disposition, blank=True)
    note = models.TextField(blank=True)
    recheck = models.ForeignKey(
        Check, models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.verb
