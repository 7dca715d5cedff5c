"""Fit-ups: a part placed against its surround, held in one way, until that changes."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, Fact, Part, Projection

from .joints import Joint, JointRevision


class FitUpReason(models.TextChoices):
    FIRST = "first", _("first fit-up")
    REFIT = "refit", _("taken off and refitted")
    MOVE = "move", _("moved")
    SHIM = "shim", _("shimmed")
    TRIM = "trim", _("trimmed")
    SWAP = "swap", _("part swapped")
    HELD = "held", _("held another way")
    SET = "set", _("set at its adjusters")


def held_in_words(held: list[dict]) -> str:
    """What holds a part, as one line."""
    return "; ".join(
        " ".join(
            str(word)
            for word in (
                item.get("count") or "",
                item.get("kind", ""),
                item.get("where", ""),
            )
            if word != ""
        )
        for item in held
    )


class FitUp(Fact):
    """The numbered condition that readings belong to (design section 3)."""

    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="fit_ups")
    joint = models.ForeignKey(Joint, models.PROTECT, related_name="fit_ups")
    revision = models.ForeignKey(JointRevision, models.PROTECT, related_name="+")
    number = models.PositiveIntegerField()
    part = models.ForeignKey(Part, models.PROTECT, related_name="fit_ups")
    surround_part = models.ForeignKey(
        Part, models.PROTECT, related_name="+", null=True, blank=True
    )
    reason = models.CharField(max_length=8, choices=FitUpReason)
    # [{"kind": "cleco", "where": "holes 1, 4, 7", "count": 3}, ...]
    held = models.JSONField(default=list, blank=True)
    # Unit motions of this condition, when not those of the joint revision.
    motions = models.JSONField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)
    # The plan whose cut or move opened it.
    plan = models.ForeignKey(
        "FitPlan", models.PROTECT, related_name="opened", null=True, blank=True
    )
    # What was questioned (shop.actions.places), and the reason that was stated.
    questions = models.CharField(max_length=60, blank=True)
    why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("airframe", "joint", "-number")
        # Plans ask how long the newest rounds took.
        indexes = [
            models.Index(
                fields=["id"], condition=Q(plan__isnull=False), name="fit_up_of_a_plan"
            )
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["airframe", "joint", "number"], name="fit_up_number_once"
            ),
            models.CheckConstraint(
                condition=Q(reason__in=FitUpReason.values),
                name="fit_up_reason_known",
            ),
            models.CheckConstraint(
                condition=Q(questions="") | ~Q(why=""),
                name="fit_up_questioned_with_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(surround_part__isnull=True) | ~Q(surround_part=F("part")),
                name="fit_up_not_its_own_surround",
            ),
        ]

    def __str__(self) -> str:
        return f"fit-up {self.number}"

    @property
    def held_text(self) -> str:
        """How the part was held, as one line."""
        return held_in_words(self.held)


class MeasureAgain(Projection):
    """Projection: the newest fit-up of a joint that was measured, and then changed.
    Rebuilt by `rebuild_projections`."""

    fit_up = models.OneToOneField(
        FitUp, models.PROTECT, primary_key=True, related_name="again"
    )
    # The number of the entry that changed it last (`touches.AT_LAST`: scrapped).
    at = models.BigIntegerField(db_index=True)

    def __str__(self) -> str:
        return f"fit-up {self.fit_up_id} since {self.at}"
