"""The door: what was tried there, and who came in on which device."""

from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.utils.translation import gettext_lazy as _

from .people import Person


class Tried(models.TextChoices):
    PASSWORD = "password", _("password")
    CODE = "code", _("code of the second factor")
    CAME = "came", _("signed in")
    TOKEN = "token", _("token of a device")


class SignInTry(models.Model):
    """A password or code that was tried: what throttling counts for a while, and the
    lead can look through for a quarter of a year.

    `name` is a keyed digest of the name that was typed, whoever it names, or nobody;
    `device` names a browser in which the same person was right before. `refused`: not
    looked at, being one too many; `lifted`: counts no more, somebody let them go on.
    CAME: somebody was let in, with that browser.
    """

    name = models.CharField(max_length=64)
    address = models.CharField(max_length=45, blank=True)
    device = models.CharField(max_length=32, blank=True)
    browser = models.CharField(max_length=60, blank=True)
    person = models.ForeignKey(
        Person, models.PROTECT, related_name="sign_in_tries", null=True, blank=True
    )
    tried = models.CharField(max_length=8, choices=Tried, default=Tried.PASSWORD)
    at = models.DateTimeField()
    right = models.BooleanField(default=False)
    refused = models.BooleanField(default=False)
    lifted = models.BooleanField(default=False)

    class Meta:
        indexes = [
            models.Index(fields=["address", "at"], name="sign_in_try_by_address"),
            models.Index(fields=["name", "at"], name="sign_in_try_by_name"),
            models.Index(fields=["at"], name="sign_in_try_by_time"),
        ]

    def __str__(self) -> str:
        return "right" if self.right else "wrong"


class Session(AbstractBaseSession):
    """Who is signed in in which browser, or a browser in which nobody is.

    Its key opens the door: it stands on no page, in no entry and in no log.
    """

    person = models.ForeignKey(
        Person, models.CASCADE, related_name="sessions", null=True, blank=True
    )
    # In words, as the browser said it; where it came from when its person signed in.
    browser = models.CharField(max_length=60, blank=True)
    address = models.CharField(max_length=45, blank=True)
    since = models.DateTimeField(null=True, blank=True)
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.browser or 'a browser'} of {self.person_id or 'nobody'}"
