"""Django's migrate, which need not ask first for the guards that it installs."""

from django.core.management.commands import migrate


class Command(migrate.Command):
    def check(self, **options):
        """Without what is asked of a database: a new one has nothing yet, and a guard
        that is missing comes back by this command."""
        super().check(**{**options, "databases": None})
