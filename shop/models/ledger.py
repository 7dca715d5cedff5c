"""Entries, seals, and the abstract fact: rows that are written once."""

import json
import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from .checked import Checked


class Incarnation(models.Model):
    """Which database this is. A restored copy starts a new one; receipts carry it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    started_at = models.DateTimeField(db_default=Now())
    reason = models.CharField(max_length=60, default="made")

    def __str__(self) -> str:
        return str(self.id)


class Authorship(models.TextChoices):
    """How sure it is that an entry is by whom it says."""

    PROVEN = "", _("proven")
    CLAIMED = "claimed", _("claimed")
    CONFIRMED = "confirmed", _("confirmed")
    DISOWNED = "disowned", _("disowned")


# Acts that nobody has stood up for: sent in somebody's name without a PIN, and not
# confirmed by that person since.
UNPROVEN = Q(claimed=True) & ~Q(confirmation__verdict=Authorship.CONFIRMED)
WAITING = Q(claimed=True, confirmation=None)


class Entry(models.Model):
    """One act that changed facts: who, when, what was said, which facts it made."""

    act = models.UUIDField(unique=True)
    form = models.CharField(max_length=40)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
    )
    device = models.CharField(max_length=64, blank=True)
    # What the tablet's clock said, as text: never used to decide an order.
    made_at = models.CharField(max_length=40, blank=True)
    # The tablet's own count of its acts.
    seq = models.BigIntegerField(null=True, blank=True)
    received_at = models.DateTimeField()
    # Sent by a tablet for somebody who had not proven a PIN on it; what that person
    # says of it, identity proven, is its confirmation.
    claimed = models.BooleanField(default=False)
    fingerprint = models.CharField(max_length=64)
    body = models.TextField()
    digest = models.CharField(max_length=64)

    guarded = True

    class Meta:
        verbose_name_plural = "entries"
        indexes = [
            models.Index(fields=["received_at"]),
            models.Index(fields=["form", "received_at"], name="entry_by_form"),
            # Few are: what waits for somebody is found without going through all.
            models.Index(
                fields=["by"], condition=models.Q(claimed=True), name="entry_claimed"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.form} {self.act}"

    @property
    def authorship(self) -> str:
        """Whether it is by whom it says; loaded with `confirmation` where many are."""
        return authorship_of(self.claimed, self._verdict)

    @property
    def _verdict(self) -> str | None:
        confirmation = getattr(self, "confirmation", None) if self.claimed else None
        return confirmation and confirmation.verdict

    @property
    def doubt(self) -> str:
        """The word that stands beside the author of an act nobody stood up for."""
        return doubt_of(self.claimed, self._verdict)

    @property
    def author(self) -> str:
        """Who did it, for people: "Ann Example", "Ann Example (claimed)"."""
        return author_of(self.by and self.by.name, self.claimed, self._verdict)


# What `author_of` takes of an entry, where only values are read.
AUTHOR = ("by__name", "claimed", "confirmation__verdict")


def authorship_of(claimed: bool, verdict: str | None) -> str:
    if not claimed:
        return Authorship.PROVEN
    return verdict or Authorship.CLAIMED


def doubt_of(claimed: bool, verdict: str | None) -> str:
    authorship = authorship_of(claimed, verdict)
    doubtful = authorship in (Authorship.CLAIMED, Authorship.DISOWNED)
    return str(Authorship(authorship).label) if doubtful else ""


def author_of(name: str | None, claimed: bool, verdict: str | None) -> str:
    """Who did it, for people, of the values of an entry (see AUTHOR)."""
    doubt = doubt_of(claimed, verdict)
    return f"{name or ''} ({doubt})" if doubt else name or ""


class Seal(models.Model):
    """Chains one committed entry to the one sealed before it."""

    position = models.BigIntegerField(unique=True)
    entry = models.OneToOneField(Entry, models.PROTECT, related_name="seal")
    digest = models.CharField(max_length=64)

    guarded = True

    class Meta:
        ordering = ("position",)

    def __str__(self) -> str:
        return f"{self.position}"


class Fact(Checked):
    """A row written once by one act. The database refuses update and delete."""

    entry = models.ForeignKey(
        Entry, models.PROTECT, to_field="act", related_name="+", db_column="entry_act"
    )

    guarded = True

    class Meta:
        abstract = True

    def save(self, **kwargs):
        # Django would try an update first for a row that carries a key.
        kwargs["force_insert"] = True
        super().save(**kwargs)


class Frozen(Fact):
    """A fact with a content of its own: canonical JSON, and what it is known by."""

    body = models.TextField()
    # sha256 of the body (shop.ledger.canonical.frozen).
    digest = models.CharField(max_length=64)

    class Meta:
        abstract = True

    @cached_property
    def content(self) -> dict:
        return json.loads(self.body)


class Confirmation(Fact):
    """What a person says, identity proven, of an act that was claimed to be theirs.

    Once for each act, by nobody else. What is disowned stays readable and does not
    stand.
    """

    of = models.OneToOneField(
        Entry,
        models.PROTECT,
        to_field="act",
        related_name="confirmation",
        db_column="of_act",
    )
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="confirmations"
    )
    verdict = models.CharField(max_length=9, choices=Authorship)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict=Authorship.CONFIRMED)
                | Q(verdict=Authorship.DISOWNED) & ~Q(reason=""),
                name="confirmation_disowned_with_a_reason",
            )
        ]

    def __str__(self) -> str:
        return f"{self.of_id} {self.verdict}"


class Counter(models.Model):
    """The last human number given in a scope ("check", "nonconformance:3")."""

    scope = models.CharField(max_length=80, unique=True)
    last = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.scope} {self.last}"
