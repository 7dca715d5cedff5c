"""Fit checks and their readings: facts, and the projections that pages read."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import Entry, Fact, Projection, Unit
from shop.wording.states import VERDICTS

from .fitups import FitUp, held_in_words
from .instruments import Instrument
from .joints import Station


class Finish(models.TextChoices):
    BARE = "bare", _("bare")
    FINISHED = "finished", _("finished")


class Kind(models.TextChoices):
    GAP = "gap", _("gap")
    FLUSH = "flush", _("flushness")


class Outcome(models.TextChoices):
    VALUE = "value", _("value")
    FEELER = "feeler", _("feeler pair")
    SKIPPED = "skipped", _("skipped")
    CLEARED = "cleared", _("cleared")


class Verdict(models.TextChoices):
    CONFORMS = "conforms", VERDICTS["conforms"].word
    DOES_NOT_CONFORM = "does_not_conform", VERDICTS["does_not_conform"].word
    NOT_PROVEN = "not_proven", VERDICTS["not_proven"].word


class Check(Fact):
    """One sitting at a joint: condition and instrument of all its readings."""

    number = models.PositiveIntegerField(unique=True)
    fit_up = models.ForeignKey(FitUp, models.PROTECT, related_name="checks")
    finish = models.CharField(max_length=8, choices=Finish)
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="checks", null=True, blank=True
    )
    # Frozen from the instrument at the start: its later changes judge nothing here.
    u_nm = models.BigIntegerField(null=True, blank=True)
    foot_1_nm = models.BigIntegerField(null=True, blank=True)
    foot_2_nm = models.BigIntegerField(null=True, blank=True)
    probe_nm = models.BigIntegerField(null=True, blank=True)
    range_low_nm = models.BigIntegerField(null=True, blank=True)
    range_high_nm = models.BigIntegerField(null=True, blank=True)
    calibration_due = models.DateField(null=True, blank=True)
    # The first moment at which anything of it may have been measured.
    used_from = models.DateTimeField(null=True, blank=True, editable=False)
    temperature_mc = models.IntegerField(null=True, blank=True)
    in_acceptance_condition = models.BooleanField(default=False)
    # How it is held, where the fit-up, opened earlier, does not state it.
    held = models.JSONField(default=list, blank=True)
    # Characteristics with limits, as the requirements were at the start.
    wanted = models.PositiveIntegerField(default=0, editable=False)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-number",)
        constraints = [
            models.CheckConstraint(
                condition=Q(finish__in=Finish.values), name="check_finish_known"
            ),
            models.CheckConstraint(
                condition=Q(temperature_mc__isnull=True)
                | Q(temperature_mc__gte=-60_000, temperature_mc__lte=120_000),
                name="check_temperature_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return f"FC-{self.number:04d}"

    @property
    def reach(self) -> tuple[int | None, int | None]:
        """What its instrument reads from and to, as it was stated then."""
        return self.range_low_nm, self.range_high_nm

    @property
    def held_text(self) -> str:
        """How the part was held in this check, as one line."""
        return held_in_words(self.held or self.fit_up.held)


class CheckFinish(Fact):
    fit_check = models.OneToOneField(Check, models.PROTECT, related_name="finished")
    counts = models.JSONField()
    note = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return f"{self.fit_check_id} finished"


class Reading(Fact):
    """What was read, skipped or cleared at one station. Never edited."""

    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="readings")
    station = models.ForeignKey(Station, models.PROTECT, related_name="readings")
    kind = models.CharField(max_length=5, choices=Kind)
    outcome = models.CharField(max_length=7, choices=Outcome)
    # As typed, with its unit; a feeler pair has two texts.
    value = models.CharField(max_length=24, blank=True)
    goes = models.CharField(max_length=24, blank=True)
    does_not_go = models.CharField(max_length=24, blank=True)
    unit = models.CharField(max_length=2, choices=Unit, blank=True)
    value_nm = models.BigIntegerField(null=True, blank=True)
    u_nm = models.BigIntegerField(null=True, blank=True)
    # What a bridge on a curved skin reads too much: shown beside, never applied.
    correction_nm = models.BigIntegerField(null=True, blank=True)
    judged_nm = models.BigIntegerField(null=True, blank=True)
    low_nm = models.BigIntegerField(null=True, blank=True)
    high_nm = models.BigIntegerField(null=True, blank=True)
    guard_nm = models.BigIntegerField(null=True, blank=True)
    rule = models.CharField(max_length=8, blank=True)
    method = models.CharField(max_length=20, blank=True)
    verdict = models.CharField(max_length=16, choices=Verdict, blank=True)
    deviation_nm = models.BigIntegerField(null=True, blank=True)
    probability = models.FloatField(null=True, blank=True)
    supersedes = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    reason = models.CharField(max_length=200, blank=True)
    clash = models.BooleanField(default=False)
    # Came in after the check was finished: does not stand until a person counts it in.
    late = models.BooleanField(default=False)
    # Whether its check had no value before it; None where nobody looked.
    is_first: bool | None = None

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=["station", "kind"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=Kind.values), name="reading_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=["value", "feeler"], value_nm__isnull=False)
                | Q(
                    outcome__in=["skipped", "cleared"],
                    value_nm__isnull=True,
                ),
                name="reading_value_as_its_outcome_says",
            ),
            models.CheckConstraint(
                condition=Q(verdict__in=["", *Verdict.values]),
                name="reading_verdict_known",
            ),
            models.CheckConstraint(
                condition=Q(probability__isnull=True)
                | Q(probability__gte=0, probability__lte=1),
                name="reading_probability_between_0_and_1",
            ),
            models.CheckConstraint(
                condition=~Q(outcome__in=["skipped", "cleared"]) | ~Q(reason=""),
                name="reading_skipped_or_cleared_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.value or self.outcome} {self.unit}".strip()


class Choice(Fact):
    """Two values stood for one station; a person chose, and said why."""

    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="choices")
    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=5, choices=Kind)
    reading = models.ForeignKey(Reading, models.PROTECT, related_name="chosen")
    reason = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"{self.fit_check_id} {self.station_id} {self.kind}"


class LateDecision(Fact):
    """A reading came in after its check was finished; a person counted it in (it then
    stands for its station) or left it out, and said why."""

    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="late_decisions")
    reading = models.OneToOneField(
        Reading, models.PROTECT, related_name="late_decision"
    )
    counted = models.BooleanField()
    reason = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(reason=""), name="late_decision_with_a_reason"
            )
        ]

    def __str__(self) -> str:
        return f"{self.reading_id} {'counted in' if self.counted else 'left out'}"


class CurrentReading(Projection):
    """Projection: the reading that stands for a station and kind in a check."""

    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="current")
    station = models.ForeignKey(Station, models.PROTECT, related_name="current")
    kind = models.CharField(max_length=5, choices=Kind)
    reading = models.ForeignKey(Reading, models.PROTECT, related_name="+")
    clash = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fit_check", "station", "kind"], name="current_reading_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.fit_check_id} {self.station_id} {self.kind}"


class CheckState(Projection):
    """Projection of a check: how far it is. Rebuilt by `rebuild_projections`."""

    class State(models.TextChoices):
        OPEN = "open", _("open")
        FINISHED = "finished", _("finished")

    fit_check = models.OneToOneField(Check, models.PROTECT, related_name="state")
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    wanted = models.PositiveIntegerField()
    conforms = models.PositiveIntegerField(default=0)
    does_not_conform = models.PositiveIntegerField(default=0)
    not_proven = models.PositiveIntegerField(default=0)
    skipped = models.PositiveIntegerField(default=0)
    without_limits = models.PositiveIntegerField(default=0)
    clashes = models.PositiveIntegerField(default=0)
    # Readings that came in after the finish and wait for a person to decide.
    late = models.PositiveIntegerField(default=0)
    # Its start or its fit-up was disowned: nobody stands up for the condition that it
    # was measured in, and nothing of it stands.
    void = models.BooleanField(default=False)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    last_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+", null=True, blank=True
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state="open", finished_at__isnull=True)
                | Q(state="finished", finished_at__isnull=False),
                name="check_finished_at_iff_finished",
            )
        ]
        # Few of many: Today asks for them at every look. The state stands in the index
        # too: SQLite compares it again, in each row of the table if it must.
        indexes = [
            models.Index(
                fields=["fit_check", "state"],
                condition=Q(state="open"),
                name="check_still_open",
            ),
            models.Index(
                fields=["fit_check"], condition=Q(late__gt=0), name="check_late"
            ),
            # Plans ask how long the newest took.
            models.Index(fields=["finished_at"], name="check_finished"),
        ]

    def __str__(self) -> str:
        return self.state
