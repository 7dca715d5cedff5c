"""When a person last read the hand-over: for "what changed since you were here"."""

from django.conf import settings
from django.db import models


class Visit(models.Model):
    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="visit"
    )
    # The entries up to here were seen by the reader.
    read_up_to = models.BigIntegerField(default=0)
    read_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{self.person_id} {self.read_up_to}"
