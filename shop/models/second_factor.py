"""What a person proves beside the password: a code that runs with the clock."""

from django.db import models

from .kept import Kept
from .people import Person


class SecondFactor(Kept):
    """The secret that a person's own device shares with the server (RFC 6238).

    It lies here sealed by a key that is in no database, no backup and no export: who
    holds a copy of the records makes no code of it. last_step: no code of this or an
    earlier half minute opens anything any more.
    """

    person = models.OneToOneField(Person, models.PROTECT, related_name="second_factor")
    sealed_secret = models.CharField(max_length=300)
    set_at = models.DateTimeField()
    last_step = models.BigIntegerField(default=0)

    not_bound = ("last_step",)
    bound_by_digest = ("sealed_secret",)

    def __str__(self) -> str:
        return f"second factor of {self.person_id}"


class RecoveryCode(Kept):
    """Opens the door once where the device is lost. Only a digest of it is here: it is
    drawn by lot from 80 bits, so that nobody finds it by trying."""

    factor = models.ForeignKey(SecondFactor, models.CASCADE, related_name="codes")
    sha256 = models.CharField(max_length=64)
    used_at = models.DateTimeField(null=True, blank=True)

    bound_by_digest = ("sha256",)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["factor", "sha256"], name="recovery_code_once"
            )
        ]

    def __str__(self) -> str:
        return f"recovery code {self.pk}"
