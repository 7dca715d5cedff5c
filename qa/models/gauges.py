"""What is on record of instruments: calibrations, budgets of uncertainty, the rules."""

from datetime import datetime

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import Fact

from .instruments import Instrument, InstrumentStatus


class CalibrationResult(models.TextChoices):
    GOOD = "good", _("found good")
    ADJUSTED = "adjusted", _("adjusted, then good")
    OFF = "off", _("found off")


class Calibration(Fact):
    """An instrument was compared with a better one. One found off, or that had to be
    adjusted, puts in doubt what it measured since it was last found good."""

    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="calibrations"
    )
    done_on = models.DateField()
    laboratory = models.CharField(max_length=120)
    certificate = models.CharField(max_length=120, blank=True)
    result = models.CharField(max_length=8, choices=CalibrationResult)
    # The greatest error that was found, before it was adjusted.
    error_nm = models.BigIntegerField(null=True, blank=True)
    # Expanded uncertainty of the certificate and its factor, in thousandths.
    expanded_nm = models.BigIntegerField(null=True, blank=True)
    k_e3 = models.PositiveIntegerField(null=True, blank=True)
    due = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-done_on", "-id")
        constraints = [
            models.CheckConstraint(
                condition=Q(result__in=CalibrationResult.values),
                name="calibration_result_known",
            ),
            models.CheckConstraint(
                condition=Q(expanded_nm__isnull=True)
                | Q(expanded_nm__gte=0, k_e3__gt=0),
                name="calibration_expanded_with_its_factor",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.done_on} {self.get_result_display()}"


class GaugeStanding(Fact):
    """What was on record of an instrument from here on: whether it was in use, lost or
    damaged, and until when it was calibrated. What was measured meanwhile stays marked
    when it is in use again."""

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="standings")
    status = models.CharField(max_length=8, choices=InstrumentStatus)
    due = models.DateField(null=True, blank=True)
    # Since when, where that was before it was recorded (by a release that did not).
    since = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(status__in=InstrumentStatus.values),
                name="gauge_standing_known",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_status_display()}, {self.due}"

    @property
    def begins(self) -> datetime:
        return self.since or self.entry.received_at


class GaugeBudget(Fact):
    """What makes up the standard uncertainty of an instrument; the newest holds.

    rows: [{"name", "kind", "value_nm", ...}] as it was stated, "u_nm" what came of it,
    "df_e3" its degrees of freedom or null, "judged_nm" what verdicts judge by, where
    few of these make it more than u.
    """

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="budgets")
    rows = models.JSONField()
    u_nm = models.BigIntegerField()
    judged_nm = models.BigIntegerField(null=True, blank=True)
    df_e3 = models.PositiveBigIntegerField(null=True, blank=True)
    expanded_nm = models.BigIntegerField()
    k_e3 = models.PositiveIntegerField()
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = [
            models.CheckConstraint(condition=Q(u_nm__gt=0), name="budget_u_positive")
        ]

    def __str__(self) -> str:
        return f"budget of {self.instrument_id}"

    @property
    def judges_nm(self) -> int:
        """The uncertainty of its instrument from then on."""
        return self.judged_nm or self.u_nm


class Strictness(models.TextChoices):
    WARN = "warn", _("warn")
    REFUSE = "refuse", _("refuse")


class GaugeRules(Fact):
    """What this shop does about an instrument in doubt; the newest holds."""

    overdue = models.CharField(
        _("calibration overdue"),
        max_length=6,
        choices=Strictness,
        default=Strictness.WARN,
    )
    unfit = models.CharField(
        _("lost, damaged or found off"),
        max_length=6,
        choices=Strictness,
        default=Strictness.REFUSE,
    )
    outside = models.CharField(
        _("reading outside its range"),
        max_length=6,
        choices=Strictness,
        default=Strictness.WARN,
    )

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return f"overdue {self.overdue}, unfit {self.unfit}, outside {self.outside}"
