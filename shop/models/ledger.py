"""Entries, seals, and the abstract fact: rows that are written once."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models.functions import Now


class Incarnation(models.Model):
    """Which database this is. A restored copy starts a new one; receipts carry it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    started_at = models.DateTimeField(db_default=Now())
    reason = models.CharField(max_length=60, default="made")

    def __str__(self) -> str:
        return str(self.id)


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
    # Sent by a tablet for somebody who had not proven a PIN on it.
    claimed = models.BooleanField(default=False)
    fingerprint = models.CharField(max_length=64)
    body = models.TextField()
    digest = models.CharField(max_length=64)

    guarded = True

    class Meta:
        verbose_name_plural = "entries"
        indexes = [models.Index(fields=["received_at"])]

    def __str__(self) -> str:
        return f"{self.form} {self.act}"


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


class Fact(models.Model):
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


class Counter(models.Model):
    """The last human number given in a scope ("check", "nonconformance:3")."""

    scope = models.CharField(max_length=80, unique=True)
    last = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.scope} {self.last}"
