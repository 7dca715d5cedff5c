"""People: who did it, in which role, in which units they like to read."""

from django.contrib.auth.hashers import check_password
from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Now
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext_lazy as _

from .kept import Kept, KeptRows

# Printed at every start of the demo, so it is worth nothing anywhere else.
PUBLIC_PASSWORD = "two-seat-glider"  # noqa: S105


class Role(models.TextChoices):
    BUILDER = "builder", _("builder")
    LEAD = "lead", _("shop lead")
    ENGINEER = "engineer", _("engineer")
    INSPECTOR = "inspector", _("inspector")
    VISITOR = "visitor", _("visitor")


class Unit(models.TextChoices):
    MM = "mm", _("mm")
    INCH = "in", _("in")


class People(BaseUserManager.from_queryset(KeptRows)):
    def create_user(self, username: str, password: str | None = None, **fields):
        person = self.model(username=username, **fields)
        person.set_password(password)
        person.full_clean(exclude=["password"])
        person.save(using=self._db)
        return person


class Person(Kept, AbstractBaseUser):
    """A named account. People leave, records stay: never deleted, only inactive."""

    username = models.CharField(_("sign-in name"), max_length=60, unique=True)
    name = models.CharField(_("name"), max_length=120)
    role = models.CharField(
        _("role"), max_length=12, choices=Role, default=Role.VISITOR
    )
    units = models.CharField(_("units"), max_length=2, choices=Unit, default=Unit.MM)
    certificate_kind = models.CharField(max_length=80, blank=True)
    certificate_number = models.CharField(max_length=80, blank=True)
    pin = models.CharField(max_length=256, blank=True, editable=False)
    is_active = models.BooleanField(default=True)
    is_demo = models.BooleanField(default=False)
    # The lead knows the password: until its owner chose one, it opens nothing else.
    must_change_password = models.BooleanField(default=False, editable=False)
    # Counts how often all sessions were ended: it is part of what a session proves.
    sessions_ended = models.PositiveIntegerField(default=0, editable=False)
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    seen_at = models.DateTimeField(null=True, blank=True, editable=False)

    not_bound = ("last_login", "seen_at")
    bound_by_digest = ("password", "pin")

    objects = People()
    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ("name",)

    called_by = ("name", "username")

    class Meta:
        ordering = ("name",)
        verbose_name_plural = "people"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="person_role_known"
            ),
            models.CheckConstraint(
                condition=models.Q(units__in=Unit.values), name="person_units_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def set_password(self, raw_password):
        """Keep a hash of it; ValueError for the password that everybody can read."""
        # Without a name it is nobody: Django hashes what was typed for a name that is
        # unknown, so that its answer takes as long.
        if raw_password == PUBLIC_PASSWORD and self.username and not self.is_demo:
            raise ValueError("The demo's password is public.")
        super().set_password(raw_password)

    def check_password(self, raw_password):
        # Django would save a newer hash here, outside of any act: signing_in does.
        return check_password(raw_password, self.password)

    def _get_session_auth_hash(self, secret=None):
        # As Django does it, from what must end a session when it changes.
        proof = f"{self.password}{self.sessions_ended or ''}"
        salt = "django.contrib.auth.models.AbstractBaseUser.get_session_auth_hash"
        return salted_hmac(salt, proof, secret=secret, algorithm="sha256").hexdigest()

    @property
    def display_name(self) -> str:
        return self.name
