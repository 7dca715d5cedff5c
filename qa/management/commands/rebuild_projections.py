"""`manage.py rebuild_projections`: what pages read, made again from the facts."""

from django.core.management.base import BaseCommand

from shop.ledger import projections


class Command(BaseCommand):
    help = "Mend current readings, states and placements from the facts."

    def handle(self, **_options):
        for table, count in projections.rebuild().items():
            self.stdout.write(f"{count} rows of {table} were not as the facts say")
        self.stdout.write("All projections follow from the facts.")
