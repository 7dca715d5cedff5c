"""Write the tablet's table of states from the one there is."""

from pathlib import Path

from django.core.management.base import BaseCommand

from qa.wording import tablet

FOLDER = Path(__file__).resolve().parents[2] / "static" / "qa" / "tablet" / "core"
TARGET = FOLDER / "verdicts.js"


class Command(BaseCommand):
    help = "Write qa/static/qa/tablet/core/verdicts.js from shop/wording/states.py."
    requires_system_checks = []

    def handle(self, *args, **options):
        TARGET.write_text(tablet.javascript(), encoding="utf-8", newline="\n")
        self.stdout.write(f"wrote {TARGET}")
