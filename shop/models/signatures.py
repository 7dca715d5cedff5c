"""Signatures: who put a name under what, and exactly what that was."""

import json
from functools import cached_property

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from .ledger import Fact
from .people import Person, Role


class Meaning(models.TextChoices):
    """What a signature says."""

    PERFORMED = "performed", _("performed")
    INSPECTED = "inspected", _("inspected")
    APPROVED = "approved", _("approved")
    RELEASED = "released", _("released for the next step")


class ProvenBy(models.TextChoices):
    """How who signs was proven to the server at that moment."""

    PASSWORD = "password", _("password")
    PIN = "pin", _("PIN")


class Signature(Fact):
    """A person stood up for one thing as it was then: `content` is exactly what was
    shown (canonical JSON, made by what shop.rules.signing registers under `kind`),
    `digest` its sha256. Role and certificate are those held at that moment; the time is
    that of the entry."""

    kind = models.CharField(max_length=20)
    key = models.BigIntegerField()
    meaning = models.CharField(max_length=10, choices=Meaning)
    person = models.ForeignKey(Person, models.PROTECT, related_name="signatures")
    # The person's own name at that moment; whoever types another is refused.
    name = models.CharField(max_length=120)
    role = models.CharField(max_length=12, choices=Role)
    certificate_kind = models.CharField(max_length=80, blank=True)
    certificate_number = models.CharField(max_length=80, blank=True)
    proven_by = models.CharField(max_length=8, choices=ProvenBy)
    content = models.TextField()
    digest = models.CharField(max_length=64)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=["kind", "key"], name="signature_of_a_thing")]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "key", "meaning", "person", "digest"],
                name="signed_once_by_one_person",
            ),
            models.CheckConstraint(
                condition=Q(meaning__in=Meaning.values),
                name="signature_meaning_known",
            ),
            models.CheckConstraint(
                condition=Q(proven_by__in=ProvenBy.values),
                name="signature_proven",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="signature_with_a_name"),
        ]

    def __str__(self) -> str:
        return f"{self.get_meaning_display()}: {self.name}"

    @cached_property
    def signed(self) -> dict:
        """What was signed, read: {"form", "what", "fields": [[name, value]]}."""
        return json.loads(self.content)

    @property
    def certificate(self) -> str:
        return f"{self.certificate_kind} {self.certificate_number}".strip()
