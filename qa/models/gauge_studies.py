"""Gauge studies: places, people and repeats in a shuffled order, and what was read."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import Fact, Person, Unit

from .instruments import Instrument
from .joints import Joint


class GaugeStudy(Fact):
    """A study as it was planned. `places` are names of stations or things; `order` is
    [[person key, place, repeat], ...] as it is to be measured, shuffled once."""

    number = models.PositiveIntegerField(unique=True)
    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="studies")
    joint = models.ForeignKey(
        Joint, models.PROTECT, related_name="+", null=True, blank=True
    )
    what = models.CharField(max_length=120)
    places = models.JSONField()
    people = models.ManyToManyField(Person, through="StudyPerson", related_name="+")
    repeats = models.PositiveIntegerField()
    order = models.JSONField()
    # Width of the limits that the gauge is to be good enough for; none: not asked.
    tolerance_nm = models.BigIntegerField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-number",)
        constraints = [
            models.CheckConstraint(
                condition=Q(repeats__gte=2), name="study_repeats_at_least_two"
            )
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return f"GS-{self.number:04d}"


class StudyPerson(Fact):
    """Somebody who measures in a study."""

    study = models.ForeignKey(GaugeStudy, models.PROTECT, related_name="members")
    person = models.ForeignKey(Person, models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["study", "person"], name="person_once_in_a_study"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person_id} in {self.study_id}"


class StudyValue(Fact):
    """What was read at one turn of the order. A later one of the same turn replaces it,
    with a reason."""

    study = models.ForeignKey(GaugeStudy, models.PROTECT, related_name="values")
    turn = models.PositiveIntegerField()
    value = models.CharField(max_length=24)
    unit = models.CharField(_("unit"), max_length=2, choices=Unit)
    value_nm = models.BigIntegerField()
    # The first moment at which it may have been read.
    used_from = models.DateTimeField(null=True, blank=True, editable=False)
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                fields=["study", "turn"],
                condition=Q(supersedes__isnull=True),
                name="study_turn_read_once",
            ),
            models.CheckConstraint(
                condition=Q(supersedes__isnull=True) | ~Q(reason=""),
                name="study_value_replaced_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.value} {self.unit}"

    @property
    def instrument(self):
        """What it was read with."""
        return self.study.instrument

    @property
    def instrument_id(self) -> int:
        return self.study.instrument_id
