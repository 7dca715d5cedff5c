"""Pulls: what was laid up in a mold, how it cured, and how it came out."""

from datetime import timedelta

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.numeric import cure
from shop.numeric.units import BP_PER_PERCENT, MILLI

from .kept import Kept
from .laminates import CureRecipe, Laminate
from .ledger import Entry, Fact
from .materials import Lot, Material
from .people import Person
from .tooling import Tool


class PullState(models.TextChoices):
    LAID_UP = "laid_up", _("laying up")
    CURING = "curing", _("curing")
    DEMOLDED = "demolded", _("out of the mold")
    VOID = "void", _("void")


class CureState(models.TextChoices):
    """How the newest trace of a pull stood against its recipe."""

    MET = "met", _("cure met")
    NOT_MET = "not_met", _("cure not met")
    OPEN = "open", _("cure open")


class Pull(Kept):
    """A mold and its next number. State and times are projections of acts."""

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="pulls")
    number = models.PositiveIntegerField()
    laminate = models.ForeignKey(Laminate, models.PROTECT, related_name="pulls")
    started_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+"
    )
    surface = models.PositiveIntegerField()
    after_repair = models.BooleanField(default=False)
    # Why it was started although a rule asked for a reason.
    reason = models.CharField(max_length=200, blank=True)
    temperature = models.IntegerField(null=True, help_text="0.001 degC")
    humidity = models.PositiveIntegerField(null=True, help_text="0.01 %")
    started_at = models.DateTimeField()

    state = models.CharField(max_length=8, choices=PullState, default=PullState.LAID_UP)
    closed_at = models.DateTimeField(null=True)
    release_from = models.DateTimeField(null=True)
    demolded_at = models.DateTimeField(null=True)
    minutes = models.PositiveIntegerField(default=0)
    void_reason = models.CharField(max_length=200, blank=True)
    # Empty: no trace yet.
    cure = models.CharField(max_length=8, choices=CureState, blank=True)

    class Meta:
        ordering = ("tool", "-number")
        indexes = [
            models.Index(fields=["state", "release_from"]),
            models.Index(fields=["tool", "started_at"]),
            models.Index(fields=["started_at"], name="pull_started"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["tool", "number"], name="pull_number_once_per_mold"
            ),
            models.CheckConstraint(
                condition=Q(state__in=PullState.values), name="pull_state_known"
            ),
            models.CheckConstraint(
                condition=Q(cure__in=["", *CureState.values]), name="pull_cure_known"
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True)
                | Q(closed_at__gte=models.F("started_at")),
                name="pull_closed_after_its_start",
            ),
            models.CheckConstraint(
                condition=Q(demolded_at__isnull=True)
                | Q(closed_at__isnull=False, demolded_at__gte=models.F("closed_at")),
                name="pull_demolded_after_its_layup",
            ),
            models.CheckConstraint(
                condition=Q(state="void") | Q(void_reason=""),
                name="pull_void_reason_of_a_void_one",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tool.code}-{self.number}"

    @property
    def cured(self) -> CureState | None:
        return CureState(self.cure) if self.cure else None

    @property
    def cure_doubt(self) -> str:
        """What whoever takes a part of it must hear of its cure; "" when it was met, or
        when nothing was asked of it. Reads the laminate."""
        if self.cure == CureState.NOT_MET:
            return _("The cure of %(pull)s did not meet its recipe.") % {"pull": self}
        if self.cure == CureState.OPEN:
            message = _("The cure of %(pull)s is open: not all of it was seen.")
            return message % {"pull": self}
        if self.cure or self.laminate.recipe_id is None:
            return ""
        return _("No cure of %(pull)s is on record.") % {"pull": self}

    @property
    def elapsed(self):
        return self.demolded_at - self.started_at if self.demolded_at else None


class PlyLaid(Fact):
    """A ply as laid, from which lot, and who saw it before the next one covered it."""

    pull = models.ForeignKey(Pull, models.PROTECT, related_name="plies_laid")
    order = models.PositiveIntegerField()
    area_name = models.CharField(max_length=60)
    material = models.ForeignKey(Material, models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="plies")
    orientation = models.SmallIntegerField(default=0)
    planned = models.BooleanField(default=True)
    # In records from before each signed for themselves (Signature of kind "ply").
    witness = models.ForeignKey(
        Person, models.PROTECT, null=True, related_name="plies_witnessed"
    )
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("pull", "order", "pk")
        verbose_name_plural = "plies laid"

    def __str__(self) -> str:
        return f"{self.pull_id} ply {self.order}"


class ResinBatch(Fact):
    """Resin and hardener as weighed. Masses in milligrams."""

    pull = models.ForeignKey(Pull, models.PROTECT, related_name="batches")
    resin_lot = models.ForeignKey(
        Lot, models.PROTECT, null=True, related_name="resin_batches"
    )
    hardener_lot = models.ForeignKey(
        Lot, models.PROTECT, null=True, related_name="hardener_batches"
    )
    resin_mg = models.PositiveBigIntegerField()
    resin_text = models.CharField(max_length=40)
    hardener_mg = models.PositiveBigIntegerField()
    hardener_text = models.CharField(max_length=40)
    # How far the hardener was off the ratio of the resin, in 0.01 %; None: no ratio.
    off_bp = models.IntegerField(null=True)
    mixed_at = models.DateTimeField()
    pot_minutes = models.PositiveIntegerField(null=True)
    temperature = models.IntegerField(null=True, help_text="0.001 degC")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        verbose_name_plural = "resin batches"

    def __str__(self) -> str:
        return f"{self.resin_text} + {self.hardener_text}"

    @property
    def pot_ends(self):
        if self.pot_minutes is None:
            return None
        return self.mixed_at + timedelta(minutes=self.pot_minutes)

    @property
    def pot_ends_in_this_room(self):
        """The same by the rule of ten, for a pot time stated at 23 degC.

        None where the room was not noted, is no room temperature, or is 23 degC.
        """
        if self.pot_minutes is None or self.temperature in (None, 23_000):
            return None
        try:
            minutes = cure.pot_life(self.pot_minutes, 23, self.temperature / MILLI)
        except cure.CureError:
            return None
        return self.mixed_at + timedelta(minutes=minutes)

    @property
    def room_c(self) -> str:
        return f"{self.temperature / MILLI:g}"

    @property
    def off_percent(self) -> str:
        return "" if self.off_bp is None else f"{self.off_bp / BP_PER_PERCENT:+z.1f}"


class BagTest(Fact):
    """Vacuum under the bag and what it lost in the drop test. Pascal below ambient."""

    pull = models.ForeignKey(Pull, models.PROTECT, related_name="bag_tests")
    level_pa = models.PositiveIntegerField()
    level_text = models.CharField(max_length=40)
    after_pa = models.PositiveIntegerField(null=True)
    after_text = models.CharField(max_length=40, blank=True)
    minutes = models.PositiveIntegerField(null=True)
    passes = models.BooleanField(null=True)
    note = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return self.level_text


class CureTrace(Fact):
    """A trace as the logger wrote it, and how it stood against the recipe."""

    pull = models.ForeignKey(Pull, models.PROTECT, related_name="traces")
    recipe = models.ForeignKey(CureRecipe, models.PROTECT, related_name="+")
    file_name = models.CharField(max_length=120)
    text = models.TextField()
    sha256 = models.CharField(max_length=64)
    met = models.BooleanField()
    method = models.CharField(max_length=20)
    found = models.JSONField(default=dict)
    complaints = models.JSONField(default=list)

    def __str__(self) -> str:
        return self.file_name

    @property
    def state(self) -> CureState:
        """Met, not met or open, as it was judged then."""
        return CureState(self.found["outcome"])


class Work(Fact):
    """Minutes somebody worked on a pull."""

    pull = models.ForeignKey(Pull, models.PROTECT, related_name="work")
    minutes = models.PositiveIntegerField()
    what = models.CharField(max_length=120, blank=True)

    class Meta:
        verbose_name_plural = "work"

    def __str__(self) -> str:
        return f"{self.minutes} min"


class Release(models.TextChoices):
    CLEAN = "clean", _("came out clean")
    STUCK = "stuck", _("stuck in places")
    FORCED = "forced", _("had to be forced")
    DAMAGED = "damaged", _("part or mold damaged")


class Demold(Fact):
    pull = models.OneToOneField(Pull, models.PROTECT, related_name="demold")
    demolded_at = models.DateTimeField()
    release = models.CharField(max_length=8, choices=Release)
    where_stuck = models.CharField(max_length=200, blank=True)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(release__in=Release.values), name="demold_release_known"
            )
        ]

    def __str__(self) -> str:
        return self.get_release_display()
