"""`print_pack UUID`: the press itself, started by the server; it changes no record."""

import os

from django.core.management.base import BaseCommand

from qa import press
from qa.models import PackOrder


class Command(BaseCommand):
    help = "Make the pages of an ordered pack (the server calls this)."

    def add_arguments(self, parser):
        parser.add_argument("order")

    def handle(self, *, order, **_options):
        if hasattr(os, "nice"):
            os.nice(press.NICE)
        rows = PackOrder.objects.select_related(*press.RELATED)
        press.print_pack(rows.get(entry=order))
