"""Django's own server, kept to this machine where `serve` would be too.

Not the one of staticfiles: our middleware serves static files here as everywhere.
"""

from django.core.management.base import CommandError
from django.core.management.commands.runserver import Command as RunServer

from shop.serving import database, exposure
from shop.serving.server import CannotServe


class Command(RunServer):
    def inner_run(self, *args, **options):
        database.prepare(self.stdout.write)
        try:
            exposure.refuse_public(self.addr)
        except CannotServe as why:
            raise CommandError(str(why)) from None
        super().inner_run(*args, **options)
