"""`manage.py rebuild_projections`: what pages read, made again from the facts."""

from django.core.management.base import BaseCommand

from qa.actions import rebuilding as of_qa
from shop.actions import rebuilding as of_shop


class Command(BaseCommand):
    help = "Make current readings, states and placements again from the facts."

    def handle(self, **_options):
        for name, count in {**of_shop.rebuild(), **of_qa.rebuild()}.items():
            self.stdout.write(f"{count} {name}")
