"""Photos by content, and what each shows. The file lies in MEDIA_ROOT, named by its
digest; it was encoded anew by us, without the data a camera adds."""

from django.db import models
from django.db.models import Q

from shop.numeric.units import PPM

from .ledger import Fact


class Photo(Fact):
    sha256 = models.CharField(max_length=64, db_index=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    size = models.PositiveIntegerField()
    caption = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return self.sha256[:12]

    @property
    def file_name(self) -> str:
        return f"{self.sha256[:2]}/{self.sha256}.jpg"


class PhotoPin(Fact):
    """A photo shows a thing (kind and id of identifiers.py), or a point of it."""

    photo = models.ForeignKey(Photo, models.PROTECT, related_name="pins")
    subject_kind = models.CharField(max_length=20)
    subject_id = models.CharField(max_length=40)
    x_ppm = models.PositiveIntegerField(null=True)
    y_ppm = models.PositiveIntegerField(null=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["subject_kind", "subject_id"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(x_ppm__isnull=True, y_ppm__isnull=True)
                | Q(x_ppm__lte=PPM, y_ppm__lte=PPM),
                name="photo_pin_inside_the_photo",
            )
        ]

    def __str__(self) -> str:
        return f"{self.photo_id} of {self.subject_kind} {self.subject_id}"
