"""Tablets of the shop, and who has proven to the server to be holding one."""

import hashlib
import uuid

from django.db import models

from .kept import Kept
from .people import Person


def digest_of_token(token: str) -> str:
    """What is kept of the token of a tablet or another device."""
    return hashlib.sha256(token.encode()).hexdigest()


class Tablet(Kept):
    """An enrolled tablet. Only a digest of its token is kept here."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    name = models.CharField(max_length=60)
    token_sha256 = models.CharField(max_length=64, unique=True)
    enrolled_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    enrolled_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    not_bound = ("seen_at",)
    bound_by_digest = ("token_sha256",)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Proof(models.Model):
    """Who proved a PIN on which tablet, and until when that counts: a shift."""

    tablet = models.ForeignKey(Tablet, models.CASCADE, related_name="proofs")
    person = models.ForeignKey(Person, models.CASCADE, related_name="proofs")
    until = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["tablet", "person"], name="proof_once_per_tablet_and_person"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person_id} on {self.tablet_id}"


class PinTry(models.Model):
    """A PIN that was tried: what throttling counts and the lead can look through.

    tablet: none where it was tried to sign with. lifted: counts no more.
    """

    tablet = models.ForeignKey(
        Tablet, models.PROTECT, related_name="pin_tries", null=True, blank=True
    )
    person = models.ForeignKey(Person, models.PROTECT, related_name="pin_tries")
    at = models.DateTimeField()
    right = models.BooleanField()
    lifted = models.BooleanField(default=False)

    class Meta:
        indexes = [models.Index(fields=["person", "at"])]

    def __str__(self) -> str:
        return f"{self.person_id} {'right' if self.right else 'wrong'}"
