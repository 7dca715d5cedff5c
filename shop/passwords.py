"""What a password may not be, beside what Django itself asks."""

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from shop.models.people import PUBLIC_PASSWORD


class NotPublic:
    """Refuses the password that every start of the demo prints."""

    def validate(self, password, user=None):
        if password == PUBLIC_PASSWORD:
            raise ValidationError(_("This is the demo's password: everybody has it."))

    def get_help_text(self):
        return _("It is not the demo's password.")
