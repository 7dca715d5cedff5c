"""What people write on the points of charts over parts."""

from django.db import models
from django.db.models import Q

from shop.models import Fact

from .checks import Check
from .joints import Station

# What a chart is of: a kind of reading at a station, or a mode of whole parts; "" is
# every chart of the joint.
PLACES, MODES = ("gap", "flush"), ("high", "twisted", "small")


class ChartNote(Fact):
    """Words on the point that a check made of a part. One that replaces another is
    shown in its place; one taken back says why and is shown no more."""

    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="chart_notes")
    # Of the revision that the check was taken against; none for whole parts.
    station = models.ForeignKey(
        Station, models.PROTECT, null=True, blank=True, related_name="+"
    )
    of = models.CharField(max_length=8, blank=True)
    words = models.CharField(max_length=200)
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    taken_back = models.BooleanField(default=False)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(of__in=PLACES, station__isnull=False)
                | Q(of__in=("", *MODES), station__isnull=True),
                name="chart_note_of_a_chart",
            ),
            models.CheckConstraint(
                condition=~Q(words=""), name="chart_note_says_something"
            ),
        ]

    def __str__(self) -> str:
        return f"note {self.pk}"
