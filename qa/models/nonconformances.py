"""Nonconformances: what was found is a fact; where it stands is a projection."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, Entry, Fact, Kept, Part, Projection

from .characteristics import CharacteristicResult
from .checks import Check
from .holes import HoleCheck
from .joints import Joint

REMARK_MOST = 1000  # signs of what an inspector writes against a line
TITLE_MOST = 200


class NonconformanceKind(models.TextChoices):
    GAP_TIGHT = "gap_tight", _("gap tight")
    GAP_WIDE = "gap_wide", _("gap wide")
    FLUSH_PROUD = "flush_proud", _("proud")
    FLUSH_LOW = "flush_low", _("low")
    OTHER = "other", _("other")


class Source(models.TextChoices):
    CHECK = "check", _("by check")
    HAND = "hand", _("by hand")
    INSPECTION = "inspection", _("by inspection")


class Disposition(models.TextChoices):
    USE_AS_IS = "use_as_is", _("use as is")
    REWORK = "rework", _("rework")
    REPAIR = "repair", _("repair")
    SCRAP = "scrap", _("scrap")
    RETURN = "return", _("return to supplier")


class State(models.TextChoices):
    FOUND = "found", _("found")
    CONTAINED = "contained", _("contained")
    DISPOSITIONED = "dispositioned", _("dispositioned")
    WORKED = "worked", _("worked")
    VERIFIED = "verified", _("verified")
    CLOSED = "closed", _("closed")


class Cause(models.TextChoices):
    MOLD = "mold", _("mold")
    PLUG = "plug", _("plug")
    LAYUP = "layup", _("layup")
    CURE = "cure", _("cure")
    TRIM = "trim", _("trim")
    HANDLING = "handling", _("handling")
    DESIGN = "design", _("design")
    MATERIAL = "material", _("material")
    MEASURING = "measuring", _("measuring")


class Severity(models.TextChoices):
    UNKNOWN = "", _("not stated")
    MINOR = "minor", _("minor")
    MAJOR = "major", _("major")
    CRITICAL = "critical", _("critical")


class DefectKind(Kept):
    """A kind of defect beside fit, on the list that the shop keeps."""

    name = models.CharField(_("kind of defect"), max_length=60, unique=True)
    in_use = models.BooleanField(_("may be chosen"), default=True)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Nonconformance(Fact):
    """What was found: requirement, place, worst value. Numbered per airframe."""

    airframe = models.ForeignKey(
        Airframe, models.PROTECT, related_name="nonconformances"
    )
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=12, choices=NonconformanceKind)
    defect = models.ForeignKey(
        DefectKind, models.PROTECT, related_name="items", null=True, blank=True
    )
    source = models.CharField(max_length=10, choices=Source, default=Source.CHECK)
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
    # Or the holes of a pattern, or another characteristic, that do not conform.
    hole_check = models.ForeignKey(
        HoleCheck, models.PROTECT, related_name="items", null=True, blank=True
    )
    holes = models.JSONField(default=list, blank=True)
    result = models.ForeignKey(
        CharacteristicResult,
        models.PROTECT,
        related_name="items",
        null=True,
        blank=True,
    )
    part = models.ForeignKey(
        Part, models.PROTECT, related_name="nonconformances", null=True, blank=True
    )
    title = models.CharField(max_length=TITLE_MOST)
    requirement = models.CharField(max_length=200, blank=True)
    found = models.CharField(max_length=200, blank=True)
    place = models.CharField(max_length=200, blank=True)
    stations = models.JSONField(default=list, blank=True)
    stations_key = models.CharField(max_length=64, blank=True)
    readings = models.JSONField(default=list, blank=True)
    worst_station = models.CharField(max_length=20, blank=True)
    worst_nm = models.BigIntegerField(null=True, blank=True)
    note = models.TextField(blank=True)

    searched = ("title",)

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
            models.UniqueConstraint(
                fields=["hole_check", "stations_key"],
                condition=Q(hole_check__isnull=False),
                name="nonconformance_holes_once",
            ),
            models.UniqueConstraint(
                fields=["result"],
                condition=Q(result__isnull=False),
                name="nonconformance_result_once",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=NonconformanceKind.values),
                name="nonconformance_kind_known",
            ),
            models.CheckConstraint(
                condition=Q(source__in=Source.values),
                name="nonconformance_source_known",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        """Number within the airframe; pages print the airframe's serial beside."""
        return f"NC-{self.number:03d}"

    @property
    def of_fit(self) -> bool:
        """A gap or step that was measured: what is done is shown by measuring again."""
        return self.kind != NonconformanceKind.OTHER

    @property
    def read_again(self) -> bool:
        """Found in holes or of another characteristic: that is found again there."""
        return bool(self.hole_check_id or self.result_id)


def _person(**more):
    return models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
        **more,
    )


class NonconformanceState(Projection):
    """Projection: where an item stands and who decided what."""

    nonconformance = models.OneToOneField(
        Nonconformance, models.PROTECT, related_name="standing", primary_key=True
    )
    state = models.CharField(max_length=14, choices=State, default=State.FOUND)
    disposition = models.CharField(max_length=12, choices=Disposition, blank=True)
    concession = models.CharField(max_length=200, blank=True)
    disposed_by = _person()
    worked_by = _person()
    verified_by = _person()
    # Why it came to be, and the thing of the chain that it came from.
    cause = models.CharField(max_length=10, choices=Cause, blank=True)
    origin_kind = models.CharField(max_length=12, blank=True)
    origin_id = models.BigIntegerField(null=True, blank=True)
    # For the stand-up: how bad, whether it blocks what comes next, who has it, by when.
    severity = models.CharField(
        max_length=8, choices=Severity, blank=True, default=Severity.UNKNOWN
    )
    blocking = models.BooleanField(default=False)
    holder = _person()
    due = models.DateField(null=True, blank=True)
    recheck = models.ForeignKey(
        Check, models.PROTECT, related_name="recheck_of", null=True, blank=True
    )
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = _person()
    last_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+"
    )

    class Meta:
        indexes = [
            # With the state, which SQLite compares again.
            models.Index(
                fields=["nonconformance", "state"],
                condition=~Q(state="closed"),
                name="standing_unclosed",
            )
        ]
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
                condition=Q(state__in=["found", "contained"], disposition="")
                | (~Q(state__in=["found", "contained"]) & ~Q(disposition="")),
                name="standing_disposition_iff_decided",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["verified", "closed"], verified_by__isnull=False)
                | (~Q(state__in=["verified", "closed"]) & Q(verified_by__isnull=True)),
                name="standing_verified_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(worked_by__isnull=True)
                | Q(verified_by__isnull=True)
                | ~Q(verified_by=F("worked_by")),
                name="standing_verified_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(
                    disposition="use_as_is",
                    verified_by__isnull=False,
                    verified_by=F("disposed_by"),
                ),
                name="standing_use_as_is_verified_by_another",
            ),
        ]

    def __str__(self) -> str:
        return self.state


class NonconformanceStep(Fact):
    """Each thing that happened to an item after it was found."""

    class Verb(models.TextChoices):
        CONTAIN = "contain", _("contained")
        EXPLAIN = "explain", _("cause stated")
        ASSIGN = "assign", _("handed on")
        DISPOSE = "dispose", _("dispositioned")
        WORK = "work", _("work done")
        VERIFY = "verify", _("verified")
        CLOSE = "close", _("closed")
        REOPEN = "reopen", _("reopened")
        REMARK = "remark", _("remark")

    nonconformance = models.ForeignKey(
        Nonconformance, models.PROTECT, related_name="steps"
    )
    verb = models.CharField(max_length=12, choices=Verb)
    note = models.TextField(blank=True)
    disposition = models.CharField(max_length=12, choices=Disposition, blank=True)
    concession = models.CharField(max_length=200, blank=True)
    cause = models.CharField(max_length=10, choices=Cause, blank=True)
    origin_kind = models.CharField(max_length=12, blank=True)
    origin_id = models.BigIntegerField(null=True, blank=True)
    # What it was called then, or what was put on hold: for who reads it later.
    told = models.CharField(max_length=400, blank=True)
    severity = models.CharField(max_length=8, choices=Severity, blank=True)
    blocking = models.BooleanField(null=True, blank=True)
    holder = _person()
    due = models.DateField(null=True, blank=True)
    recheck = models.ForeignKey(
        Check, models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.verb
