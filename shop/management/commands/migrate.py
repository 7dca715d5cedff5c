"""Django's migrate, which makes a new database in one go, and need not ask first for
the guards that it installs."""

from django.core.management.commands import migrate

# What asks for less than all, or only for words.
IN_PART = ("app_label", "fake", "fake_initial", "plan", "check_unapplied")


class Command(migrate.Command):
    def check(self, **options):
        """Without what is asked of a database: a new one has nothing yet, and a guard
        that is missing comes back by this command."""
        super().check(**{**options, "databases": None})

    def handle(self, *args, **options):
        from shop.serving.database import make_at_once

        if not any(options[name] for name in IN_PART):
            make_at_once(options["database"])
        return super().handle(*args, **options)
