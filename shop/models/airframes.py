"""Airframe types, airframes, the tree of positions, and what sits where."""

import uuid

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from .kept import Kept, Projection
from .ledger import Entry, Fact
from .parts import Hand, Part


class AirframeType(Kept):
    code = models.CharField(_("code"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=120)

    called_by = ("code", "name")

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return self.code


class Airframe(Kept):
    type = models.ForeignKey(AirframeType, models.PROTECT, related_name="airframes")
    serial = models.CharField(_("serial"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120, blank=True)
    # What a tablet names it by: a restored copy may give its key to another row.
    uuid = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    # Order of build within the type; effectivity is a range of these.
    line_number = models.PositiveIntegerField(_("line number"))

    called_by = ("serial",)
    searched = ("serial", "name")

    class Meta:
        ordering = ("type__code", "line_number")
        constraints = [
            models.UniqueConstraint(
                fields=["type", "line_number"], name="airframe_line_number_once"
            )
        ]

    def __str__(self) -> str:
        return self.serial


class Position(Kept):
    """A place on every airframe of a type: fuselage / door / hatch."""

    type = models.ForeignKey(AirframeType, models.PROTECT, related_name="positions")
    parent = models.ForeignKey(
        "self", models.PROTECT, related_name="children", null=True, blank=True
    )
    code = models.CharField(_("code"), max_length=40)
    name = models.CharField(_("name"), max_length=120)
    # What belongs here: a part of the other hand never does, one of another number asks
    # for a reason. Nothing stated: what sat here before tells.
    hand = models.CharField(_("hand"), max_length=5, choices=Hand, default=Hand.NONE)
    part_number = models.CharField(_("part number"), max_length=60, blank=True)
    # Where the weight of what sits here acts, aft of the datum.
    arm_nm = models.BigIntegerField(null=True, editable=False)
    arm_text = models.CharField(_("arm"), max_length=40, blank=True)
    # "Fuselage / Door left": written by the action, so that lists need no walk.
    path = models.CharField(max_length=400, editable=False)

    called_by = ("path", "name", "type__code")
    searched = ("path",)

    class Meta:
        ordering = ("type__code", "path")
        constraints = [
            models.UniqueConstraint(
                fields=["type", "code"],
                name="position_code_once",
                violation_error_message=_("This code is taken on this type."),
            ),
            models.CheckConstraint(
                condition=Q(parent__isnull=True) | ~Q(parent=F("id")),
                name="position_not_its_own_parent",
            ),
            models.CheckConstraint(
                condition=Q(hand__in=Hand.values), name="position_hand_known"
            ),
        ]

    def __str__(self) -> str:
        return self.path

    def covers(self, path: str) -> bool:
        """Whether a path is that of this position, or of what lies below it."""
        return path == self.path or path.startswith(f"{self.path} / ")


class PlacementAct(Fact):
    """A part was put into a position of an airframe, or taken out of it."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="placement_acts")
    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="+")
    position = models.ForeignKey(Position, models.PROTECT, related_name="+")
    placed = models.BooleanField()
    note = models.CharField(max_length=200, blank=True)
    # What was questioned (shop.actions.places); the reason stated is the note.
    questions = models.CharField(max_length=60, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(questions="") | ~Q(note=""),
                name="placement_questioned_with_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(placed=True) | ~Q(note=""),
                name="placement_removed_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_id} {'in' if self.placed else 'out of'} {self.position_id}"


class Placement(Projection):
    """Projection of the placement acts: from when to when a part sat where."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="placements")
    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="placements")
    position = models.ForeignKey(Position, models.PROTECT, related_name="placements")
    placed_by_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+"
    )
    removed_by_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+", null=True, blank=True
    )
    placed_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-placed_at",)
        constraints = [
            models.UniqueConstraint(
                fields=["airframe", "position"],
                condition=Q(removed_at__isnull=True),
                name="placement_one_open_per_position",
                violation_error_message=_("Another part sits in this position."),
            ),
            models.UniqueConstraint(
                fields=["part"],
                condition=Q(removed_at__isnull=True),
                name="placement_one_open_per_part",
                violation_error_message=_("This part already sits in a position."),
            ),
            models.CheckConstraint(
                condition=Q(
                    removed_at__isnull=True,
                    removed_by_entry__isnull=True,
                )
                | Q(removed_at__isnull=False, removed_by_entry__isnull=False),
                name="placement_removed_by_an_act",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_id} at {self.position_id}"


class EmptyPlace(Fact):
    """A position of an airframe is meant to stay empty, or no more: the newest says. A
    part that is placed there later takes it back (shop/rules/empty_places.py)."""

    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="+")
    position = models.ForeignKey(Position, models.PROTECT, related_name="+")
    stays = models.BooleanField()
    reason = models.CharField(max_length=200)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=~Q(reason=""), name="empty_place_with_a_reason"
            )
        ]

    def __str__(self) -> str:
        return self.reason
