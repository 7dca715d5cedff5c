"""What was done so that a part fits: cuts, moves, releases, templates, defaults."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.models import Fact, Part, Unit
from shop.numeric.units import MILLI, NM_PER_MM

from .checks import Check
from .fit_plans import FitPlan
from .fitups import FitUp
from .joints import Side


class TrimCut(Fact):
    """Depth taken off an edge at one place. The cut line runs straight between places.

    Where is said by the position along the seam of the fit-up's revision and not by a
    station, since stations of a later revision may lie elsewhere. `part` is the serial
    that was cut, on either side. A depth of 0 marks where a cut runs out.
    """

    fit_up = models.ForeignKey(FitUp, models.PROTECT, related_name="cuts")
    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="cuts")
    part = models.ForeignKey(Part, models.PROTECT, related_name="cuts")
    side = models.CharField(max_length=8, choices=Side)
    s_nm = models.BigIntegerField()
    depth_nm = models.BigIntegerField()
    plan = models.ForeignKey(
        FitPlan, models.PROTECT, related_name="made_cuts", null=True, blank=True
    )
    planned_nm = models.BigIntegerField(null=True, blank=True)
    value = models.CharField(max_length=24, blank=True)
    unit = models.CharField(max_length=2, choices=Unit, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(side__in=Side.values), name="cut_side_known"
            ),
            models.CheckConstraint(
                condition=Q(depth_nm__gte=0), name="cut_depth_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.depth_nm} at {self.s_nm}"


class MoveKind(models.TextChoices):
    MOVE = "move", _("moved")
    SHIM = "shim", _("shimmed")
    SET = "set", _("set at its adjusters")


class AppliedMove(Fact):
    """A part was moved or shimmed, and what that should do at each station.

    `fit_up` is the one before; `changes` are {station: [gap nm, flushness nm]}.
    `reason`: why it was done by a plan that was overtaken, where nothing was cut beside
    it: the reason of a cut is that of its deviation.
    """

    fit_up = models.ForeignKey(FitUp, models.PROTECT, related_name="moves")
    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="moves")
    plan = models.ForeignKey(
        FitPlan, models.PROTECT, related_name="made_moves", null=True, blank=True
    )
    kind = models.CharField(max_length=8, choices=MoveKind)
    words = models.CharField(max_length=400)
    # [{"name": "x", "amount": "0.600", "unit": "mm"}, ...]
    amounts = models.JSONField(default=list, blank=True)
    changes = models.JSONField(default=dict, blank=True)
    reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=MoveKind.values), name="move_kind_known"
            )
        ]

    def __str__(self) -> str:
        return self.words


class CutRelease(Fact):
    """The engineer lets one serial of primary structure be cut, as one plan asks."""

    plan = models.ForeignKey(
        FitPlan, models.PROTECT, related_name="releases", null=True, blank=True
    )
    part = models.ForeignKey(Part, models.PROTECT, related_name="cut_releases")
    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="cut_releases")
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                fields=["plan", "part"], name="cut_released_once_a_plan"
            )
        ]

    def __str__(self) -> str:
        return f"{self.part_id} by {self.fit_check_id}"


class ReleaseWithdrawal(Fact):
    """A release allows nothing from here on."""

    release = models.OneToOneField(
        CutRelease, models.PROTECT, related_name="withdrawal"
    )
    reason = models.CharField(max_length=400)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(reason=""), name="release_withdrawn_with_a_reason"
            )
        ]

    def __str__(self) -> str:
        return f"{self.release_id} withdrawn"


class CutDeviation(Fact):
    """A cut went beyond what was released, or planned, at one place; and why.

    `s_nm` lies along the seam of the fit-up's revision; `cut_nm` is what was taken off
    there in all by the plan, `allowed_nm` what its cuts allow. `authorized`: primary
    structure, by who may release cuts.
    """

    plan = models.ForeignKey(
        FitPlan, models.PROTECT, related_name="deviations", null=True, blank=True
    )
    fit_up = models.ForeignKey(FitUp, models.PROTECT, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, related_name="cut_deviations")
    side = models.CharField(max_length=8, choices=Side)
    s_nm = models.BigIntegerField()
    cut_nm = models.BigIntegerField()
    allowed_nm = models.BigIntegerField()
    authorized = models.BooleanField(default=False)
    reason = models.CharField(max_length=400)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(side__in=Side.values), name="deviation_side_known"
            ),
            models.CheckConstraint(
                condition=Q(cut_nm__gt=F("allowed_nm"), allowed_nm__gte=0),
                name="deviation_is_beyond",
            ),
            models.CheckConstraint(
                condition=~Q(reason=""), name="deviation_with_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.cut_nm} for {self.allowed_nm} at {self.s_nm}"


class TemplatePrint(Fact):
    """A trim template as it was printed: everything that is on it, and its digest."""

    plan = models.ForeignKey(
        FitPlan, models.PROTECT, related_name="templates", null=True, blank=True
    )
    fit_check = models.ForeignKey(Check, models.PROTECT, related_name="templates")
    paper = models.CharField(max_length=8)
    # What was drawn, edge by edge: qa.queries.plans.printed_templates writes and reads
    # it.
    edges = models.JSONField()
    issued_at = models.DateTimeField()
    # sha256 of the PDF: the same record gives the same bytes.
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.digest


class PlanDefaults(Fact):
    """How this shop cuts and how far parts may be moved; the newest holds."""

    bite_permille = models.PositiveIntegerField(_("next bite"), default=600)
    floor_nm = models.BigIntegerField(_("least cut"), default=100_000)
    aim_nm = models.BigIntegerField(_("aim inside the limit"), default=150_000)
    max_move_nm = models.BigIntegerField(_("greatest move"), default=3_000_000)
    max_turn_mdeg = models.PositiveIntegerField(_("greatest turn"), default=1000)
    max_raise_nm = models.BigIntegerField(_("greatest raise"), default=3_000_000)
    max_tilt_mdeg = models.PositiveIntegerField(_("greatest tilt"), default=1000)
    max_trim_nm = models.BigIntegerField(_("greatest trim"), default=3_000_000)
    # Less than this has no line on a template, but tags for a strip of tape.
    template_line_nm = models.BigIntegerField(
        _("least cut with a line"), default=NM_PER_MM
    )
    # Greatest change of trim per length of edge, in 1e-6; none: no limit.
    fairness_e6 = models.PositiveIntegerField(null=True, blank=True)
    # Least probability that all conforms; none: what conforms is enough.
    wished_permille = models.PositiveIntegerField(null=True, blank=True)
    # Seconds that work takes here: common practice, until a shop says its own.
    loosen_s = models.PositiveIntegerField(default=300)
    motion_s = models.PositiveIntegerField(default=600)
    adjuster_s = models.PositiveIntegerField(default=360)
    measure_s = models.PositiveIntegerField(default=30)
    look_again_s = models.PositiveIntegerField(default=60)
    cut_s = models.PositiveIntegerField(default=1200)
    cut_per_m_s = models.PositiveIntegerField(default=1800)

    class Meta:
        ordering = ("-id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(wished_permille__isnull=True)
                | Q(wished_permille__lte=1000),
                name="defaults_wish_a_probability",
            ),
            models.CheckConstraint(
                condition=Q(bite_permille__gt=0, bite_permille__lte=1000),
                name="defaults_bite_a_fraction",
            ),
            models.CheckConstraint(
                condition=Q(
                    floor_nm__gte=0,
                    aim_nm__gte=0,
                    max_move_nm__gte=0,
                    max_raise_nm__gte=0,
                    max_trim_nm__gte=0,
                ),
                name="defaults_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(template_line_nm__gte=0),
                name="defaults_line_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"bite {self.bite_permille / MILLI:g}"
