"""Joints, their revisioned requirements, and the stations of each revision."""

import uuid

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.models import AirframeType, Fact, Kept, Position, Unit
from shop.numeric.units import E9


class Side(models.TextChoices):
    PART = "part", _("fitted part")
    SURROUND = "surround", _("surround")


class TrimSide(models.TextChoices):
    PART = "part", _("fitted part")
    SURROUND = "surround", _("surround")
    BOTH = "both", _("both")
    NONE = "none", _("neither")


class Rule(models.TextChoices):
    SIMPLE = "simple", _("simple acceptance")
    GUARDED = "guarded", _("guarded acceptance")


class Edge(models.TextChoices):
    """How a station's edge lies in the flow, seen on the fitted part."""

    UNKNOWN = "", _("not stated")
    UPSTREAM = "upstream", _("upstream edge")
    DOWNSTREAM = "downstream", _("downstream edge")
    STREAMWISE = "streamwise", _("streamwise edge")


class AcceptanceFinish(models.TextChoices):
    ANY = "any", _("bare or finished")
    BARE = "bare", _("bare")
    FINISHED = "finished", _("finished")


class Joint(Kept):
    """Where a fitted part meets its surround, on every airframe of a type."""

    type = models.ForeignKey(AirframeType, models.PROTECT, related_name="joints")
    position = models.ForeignKey(
        Position, models.PROTECT, related_name="joints", verbose_name=_("fitted part")
    )
    surround = models.ForeignKey(
        Position, models.PROTECT, related_name="+", verbose_name=_("surround")
    )
    # What a tablet names it by: a restored copy may give its key to another row.
    uuid = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    number = models.CharField(_("joint number"), max_length=40)
    name = models.CharField(_("name"), max_length=120)
    first_line = models.PositiveIntegerField(_("from line number"), default=1)
    last_line = models.PositiveIntegerField(_("to line number"), null=True, blank=True)
    mirror = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="mirrored_by"
    )
    # Projection: the newest revision, so that lists need no subquery.
    current = models.ForeignKey(
        "JointRevision",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        editable=False,
    )

    called_by = ("number", "name", "type__code")
    searched = ("number", "name")

    class Meta:
        ordering = ("type__code", "number")
        # The newest that have another hand.
        indexes = [
            models.Index(
                fields=["id"],
                name="joint_mirrored",
                condition=Q(mirror__isnull=False),
            )
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["type", "number"],
                name="joint_number_once",
                violation_error_message=_("This joint number is taken on this type."),
            ),
            models.CheckConstraint(
                condition=Q(last_line__isnull=True) | Q(last_line__gte=F("first_line")),
                name="joint_effectivity_in_order",
            ),
            models.CheckConstraint(
                condition=~Q(position=F("surround")), name="joint_between_two_positions"
            ),
        ]

    def is_on(self, line: int) -> bool:
        """Whether the airframe of a line number has it."""
        return self.first_line <= line <= (self.last_line or line)

    def __str__(self) -> str:
        return self.number


class JointRevision(Fact):
    """A requirement as it was released: written once, judged by forever."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    joint = models.ForeignKey(Joint, models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    note = models.CharField(max_length=400, blank=True)
    source = models.CharField(_("source of the limits"), max_length=200, blank=True)
    part_inside = models.BooleanField(default=True)
    closed = models.BooleanField(default=True)
    marks_on = models.CharField(max_length=8, choices=Side, default=Side.SURROUND)
    acceptance_condition = models.CharField(max_length=200, blank=True)
    acceptance_finish = models.CharField(
        max_length=8, choices=AcceptanceFinish, default=AcceptanceFinish.ANY
    )
    # Finish still to come on a bare edge and face, each side; limits hold painted.
    finish_part_nm = models.BigIntegerField(default=0)
    finish_surround_nm = models.BigIntegerField(default=0)
    rule = models.CharField(max_length=8, choices=Rule, default=Rule.SIMPLE)
    edition = models.CharField(max_length=4, default="2017")
    units = models.CharField(max_length=2, choices=Unit, default=Unit.MM)
    aim_nm = models.BigIntegerField(null=True, blank=True)
    repeatability_nm = models.BigIntegerField(null=True, blank=True)
    # Direction of the flow in the plane of the drawing, thousandths of a degree
    # counter-clockwise from +x; none when the surface sees no flow.
    flow_mdeg = models.IntegerField(null=True, blank=True)
    # Thermal expansion in 1e-9 per kelvin, and the length that it acts over.
    part_expansion_e9 = models.IntegerField(null=True, blank=True)
    surround_expansion_e9 = models.IntegerField(null=True, blank=True)
    expanding_length_nm = models.BigIntegerField(null=True, blank=True)
    # How the part may move (design 4.2) and where shims sit; null means free.
    motions = models.JSONField(null=True, blank=True)
    attach_points = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ("joint", "-number")
        constraints = [
            models.UniqueConstraint(
                fields=["joint", "number"], name="joint_revision_once"
            ),
            models.CheckConstraint(
                condition=Q(rule__in=Rule.values), name="revision_rule_known"
            ),
            models.CheckConstraint(
                condition=Q(edition__in=["1998", "2017"]),
                name="revision_edition_known",
            ),
            models.CheckConstraint(
                condition=Q(finish_part_nm__gte=0, finish_surround_nm__gte=0),
                name="revision_finish_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.joint_id} rev {self.number}"


def _in_order(low: str, high: str, name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=Q(**{f"{low}__isnull": True})
        | Q(**{f"{high}__isnull": True})
        | Q(**{f"{high}__gte": F(low)}),
        name=name,
    )


class Station(Fact):
    """Where gap and flushness are measured. Lengths in nm, directions in 1e-9."""

    revision = models.ForeignKey(JointRevision, models.PROTECT, related_name="stations")
    order = models.PositiveIntegerField()
    label = models.CharField(max_length=20)
    x_nm = models.BigIntegerField()
    y_nm = models.BigIntegerField()
    z_nm = models.BigIntegerField(default=0)
    gap_x_e9 = models.BigIntegerField()
    gap_y_e9 = models.BigIntegerField()
    gap_z_e9 = models.BigIntegerField(default=0)
    face_x_e9 = models.BigIntegerField(default=0)
    face_y_e9 = models.BigIntegerField(default=0)
    face_z_e9 = models.BigIntegerField(default=E9)
    gap_min_nm = models.BigIntegerField(null=True, blank=True)
    gap_max_nm = models.BigIntegerField(null=True, blank=True)
    flush_min_nm = models.BigIntegerField(null=True, blank=True)
    flush_max_nm = models.BigIntegerField(null=True, blank=True)
    # As typed, with units: {"gap_min": ["0.040", "in"], ...}
    typed = models.JSONField(default=dict, blank=True)
    # The seam breaks here, however little it turns.
    corner = models.BooleanField(default=False)
    radius_nm = models.BigIntegerField(null=True, blank=True)
    laminar = models.BooleanField(default=False)
    edge = models.CharField(max_length=10, choices=Edge, default="", blank=True)
    trim_side = models.CharField(max_length=8, choices=TrimSide, default=TrimSide.PART)
    trim_max_nm = models.BigIntegerField(null=True, blank=True)
    trim_max_surround_nm = models.BigIntegerField(null=True, blank=True)
    land_nm = models.BigIntegerField(null=True, blank=True)
    # Whose edge lies opposite here, when not the joint's own surround.
    surround = models.ForeignKey(
        Position, models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        ordering = ("revision", "order")
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "label"], name="station_label_once"
            ),
            models.UniqueConstraint(
                fields=["revision", "order"], name="station_order_once"
            ),
            _in_order("gap_min_nm", "gap_max_nm", "station_gap_limits_in_order"),
            _in_order("flush_min_nm", "flush_max_nm", "station_flush_limits_in_order"),
            models.CheckConstraint(
                condition=Q(edge__in=Edge.values), name="station_edge_known"
            ),
            models.CheckConstraint(
                condition=Q(trim_side__in=TrimSide.values),
                name="station_trim_side_known",
            ),
        ]

    def __str__(self) -> str:
        return self.label
