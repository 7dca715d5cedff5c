"""Plugs, molds, jigs, templates and things on loan: identity, state, defects."""

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy as _

from .kept import Kept
from .ledger import Fact
from .parts import Hand, PartDesign


class ToolKind(models.TextChoices):
    PLUG = "plug", _("plug")
    MOLD = "mold", _("mold")
    TRIM_JIG = "trim_jig", _("trim jig")
    DRILL_JIG = "drill_jig", _("drill jig")
    ASSEMBLY_JIG = "assembly_jig", _("assembly jig")
    TEMPLATE = "template", _("template")
    LOAN = "loan", _("thing on loan")


class ToolState(models.TextChoices):
    IN_USE = "in_use", _("in use")
    HELD = "held", _("on hold")
    RETIRED = "retired", _("retired")
    RETURNED = "returned", _("returned")


class Tool(Kept):
    """One plug, mold or jig. Below `made_at` everything is a projection of acts."""

    kind = models.CharField(_("kind"), max_length=12, choices=ToolKind)
    code = models.CharField(_("code"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120)
    hand = models.CharField(_("hand"), max_length=5, choices=Hand, default=Hand.NONE)
    mirror = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="mirrored_by"
    )
    design = models.ForeignKey(
        PartDesign,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="tools",
        verbose_name=_("makes the design"),
    )
    surface_revision = models.CharField(
        _("surface revision"), max_length=12, blank=True
    )
    plug = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="molds",
        verbose_name=_("from the plug"),
    )
    place = models.CharField(_("where it stands"), max_length=80, blank=True)
    condition = models.CharField(_("condition"), max_length=200, blank=True)
    owner = models.CharField(
        _("owner"), max_length=80, blank=True, help_text=_("Empty: the shop's own.")
    )
    on_loan_since = models.DateField(_("on loan since"), null=True, blank=True)
    due_back = models.DateField(_("due back"), null=True, blank=True)
    service_interval = models.PositiveIntegerField(
        _("pulls between services"), null=True, blank=True
    )
    expected_life = models.PositiveIntegerField(
        _("expected life in pulls"), null=True, blank=True
    )
    cost = models.PositiveBigIntegerField(
        _("cost"), null=True, blank=True, help_text="cents"
    )
    calibration_due = models.DateField(_("calibration due"), null=True, blank=True)
    made_at = models.DateTimeField(db_default=Now())

    state = models.CharField(max_length=8, choices=ToolState, default=ToolState.IN_USE)
    state_reason = models.CharField(max_length=200, blank=True)
    # The route: what it waits for, and since when. None when the route is done.
    waits_for = models.ForeignKey(
        "ToolStep", models.PROTECT, null=True, related_name="+", editable=False
    )
    waits_since = models.DateTimeField(null=True, editable=False)
    # Release: which surface it is (stripped n times), coats on it, pulls since wax.
    surface = models.PositiveIntegerField(default=0, editable=False)
    coats = models.PositiveIntegerField(default=0, editable=False)
    last_coat = models.ForeignKey(
        "ReleaseCoat", models.PROTECT, null=True, related_name="+", editable=False
    )
    pulls_since_wax = models.PositiveIntegerField(default=0, editable=False)
    # Life: the last pull number given, pulls since service, a repair not yet pulled.
    last_pull = models.PositiveIntegerField(default=0, editable=False)
    pulls_since_service = models.PositiveIntegerField(default=0, editable=False)
    repaired = models.BooleanField(default=False, editable=False)

    called_by = ("code", "name")
    searched = ("code", "name", "place")

    class Meta:
        ordering = ("code",)
        indexes = [
            models.Index(fields=["state", "waits_since"]),
            models.Index(fields=["kind", "code"]),
            # What Today asks: few of many tools have a date, or are due.
            models.Index(
                fields=["calibration_due"],
                name="tool_calibration_due",
                condition=Q(calibration_due__isnull=False),
            ),
            models.Index(
                fields=["due_back"],
                name="tool_due_back",
                condition=Q(due_back__isnull=False),
            ),
            models.Index(
                fields=["code"],
                name="tool_service_due",
                condition=Q(pulls_since_service__gte=F("service_interval")),
            ),
            models.Index(fields=["kind", "pulls_since_wax"], name="tool_wax_due"),
            # The newest that have another hand.
            models.Index(
                fields=["id"],
                name="tool_mirrored",
                condition=Q(mirror__isnull=False),
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=ToolKind.values), name="tool_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(state__in=ToolState.values), name="tool_state_known"
            ),
            models.CheckConstraint(
                condition=Q(plug__isnull=True) | ~Q(plug=F("id")),
                name="tool_not_from_itself",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def pulls_before_service(self) -> int | None:
        if self.service_interval is None:
            return None
        return self.service_interval - self.pulls_since_service

    @property
    def life_left(self) -> int | None:
        return self.expected_life and self.expected_life - self.last_pull

    @property
    def cost_per_pull(self) -> int | None:
        """Cents, so far: the cost spread over the pulls that were made."""
        if self.cost is None or not self.last_pull:
            return None
        return round(self.cost / self.last_pull)


class ToolActKind(models.TextChoices):
    RETIRED = "retired", _("retired")
    MOVED = "moved", _("moved")
    CONDITION = "condition", _("condition noted")
    SERVICED = "serviced", _("serviced")
    CALIBRATED = "calibrated", _("calibrated")
    STRIPPED = "stripped", _("surface stripped")
    LENT = "lent", _("taken on loan")
    RETURNED = "returned", _("returned")
    REVISED = "revised", _("surface revised")


class ToolAct(Fact):
    """Something was done to a tool as a whole, and why."""

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="acts")
    kind = models.CharField(max_length=10, choices=ToolActKind)
    note = models.CharField(max_length=200, blank=True)
    until = models.DateField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=ToolActKind.values), name="tool_act_kind_known"
            )
        ]

    def __str__(self) -> str:
        return f"{self.tool_id} {self.kind}"


class ToolDefect(Fact):
    """A blemish at a place of a tool: every pull from `first_pull` on carries it."""

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="defects")
    what = models.CharField(max_length=200)
    place = models.CharField(max_length=120)
    first_pull = models.ForeignKey(
        "Pull", models.PROTECT, null=True, related_name="defects_first_seen"
    )
    photo = models.ForeignKey(
        "Photo", models.PROTECT, null=True, related_name="tool_defects"
    )
    # Where on the photo, in millionths of its width and height.
    x_ppm = models.PositiveIntegerField(null=True)
    y_ppm = models.PositiveIntegerField(null=True)

    def __str__(self) -> str:
        return f"{self.what}, {self.place}"


class DefectRepair(Fact):
    """A defect was repaired; the next pull is the first after a repair."""

    defect = models.OneToOneField(
        ToolDefect, models.PROTECT, related_name="repair", primary_key=False
    )
    note = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"repair of {self.defect_id}"
