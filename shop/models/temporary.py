"""What is on an airframe for a while only: put in, taken out, not found, counted."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from .airframes import Airframe, Position
from .kept import Projection
from .ledger import Entry, Fact


class TemporaryKind(models.TextChoices):
    CLECO = "cleco", _("cleco")
    CLAMP = "clamp", _("clamp")
    SHIM = "shim", _("shim")
    PROP = "prop", _("prop")
    STRAP = "strap", _("strap")
    FILM = "film", _("protective film")
    TAPE = "tape", _("tape")
    PACKING = "packing", _("packing")
    BALLAST = "ballast", _("ballast")
    BOARD = "board", _("board")
    MOCK_UP = "mock_up", _("mock-up")
    BORROWED = "borrowed", _("borrowed thing")
    # Put in is drilled, taken out is filled.
    HOLE = "hole", _("hole drilled for holding")


class TemporaryItem(Fact):
    """So many of one kind, put into one bay of an airframe at once. A bay is a
    position; `spots` are the names of the holes, where each stands in one."""

    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="temporary")
    number = models.PositiveIntegerField()
    bay = models.ForeignKey(Position, models.PROTECT, related_name="temporary")
    kind = models.CharField(max_length=8, choices=TemporaryKind)
    count = models.PositiveIntegerField(_("how many"))
    size = models.CharField(_("size"), max_length=20, blank=True)
    place = models.CharField(_("where"), max_length=200, blank=True)
    spots = models.JSONField(default=list, blank=True)
    why = models.CharField(_("why"), max_length=200)
    # The real part that a mock-up stands in for; whose a borrowed thing is.
    stands_for = models.CharField(_("stands in for"), max_length=120, blank=True)
    owner = models.CharField(_("borrowed from"), max_length=120, blank=True)

    class Meta:
        ordering = ("airframe", "number")
        constraints = [
            models.UniqueConstraint(
                fields=["airframe", "number"], name="temporary_number_once"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=TemporaryKind.values),
                name="temporary_kind_known",
            ),
            models.CheckConstraint(
                condition=Q(count__gte=1), name="temporary_at_least_one"
            ),
            models.CheckConstraint(condition=~Q(why=""), name="temporary_with_a_why"),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        """Number within the airframe; pages print the airframe's serial beside."""
        return f"TI-{self.number:03d}"

    @property
    def what(self) -> str:
        """ "cleco 1/8 in", "mock-up for the throttle quadrant"."""
        words = [str(TemporaryKind(self.kind).label), self.size]
        if self.stands_for:
            words.append(_("for %(part)s") % {"part": self.stands_for})
        if self.owner:
            words.append(_("of %(owner)s") % {"owner": self.owner})
        return " ".join(word for word in words if word)


class TemporaryVerb(models.TextChoices):
    TAKE_OUT = "take_out", _("taken out")
    MISS = "miss", _("cannot be found")
    FIND = "find", _("found, and out")
    RELEASE = "release", _("released")


class TemporaryStep(Fact):
    """Some pieces of an item were taken out, missed, found or released."""

    item = models.ForeignKey(TemporaryItem, models.PROTECT, related_name="steps")
    verb = models.CharField(max_length=8, choices=TemporaryVerb)
    count = models.PositiveIntegerField(_("how many"))
    # The names of the holes that they stood in.
    spots = models.JSONField(default=list, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=Q(verb__in=TemporaryVerb.values),
                name="temporary_verb_known",
            ),
            models.CheckConstraint(
                condition=Q(count__gte=1), name="temporary_step_at_least_one"
            ),
            models.CheckConstraint(
                condition=~Q(verb="release") | ~Q(note=""),
                name="temporary_released_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item_id} {self.verb} {self.count}"


class TemporaryState(Projection):
    """Projection: where the pieces of an item are. In is out: the sum is what was put
    in."""

    item = models.OneToOneField(
        TemporaryItem, models.PROTECT, related_name="state", primary_key=True
    )
    count = models.PositiveIntegerField()
    inside = models.PositiveIntegerField()
    missing = models.PositiveIntegerField(default=0)
    out = models.PositiveIntegerField(default=0)
    released = models.PositiveIntegerField(default=0)
    # Holes that still have one in.
    spots = models.JSONField(default=list, blank=True)
    last_entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+"
    )

    class Meta:
        indexes = [
            # In, or not found: few are, of all that ever was put in.
            models.Index(
                fields=["item"],
                condition=Q(inside__gt=0) | Q(missing__gt=0),
                name="temporary_on_board",
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    count=F("inside") + F("missing") + F("out") + F("released")
                ),
                name="temporary_in_is_out",
            )
        ]

    def __str__(self) -> str:
        return f"{self.item_id}: {self.inside} of {self.count} in"

    @property
    def on_board(self) -> int:
        """What may still be in there: in, or not found."""
        return self.inside + self.missing
