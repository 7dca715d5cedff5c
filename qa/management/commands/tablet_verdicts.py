"""Write the tablet's table of states from the one there is."""

from pathlib import Path

from django.core.management.base import BaseCommand

from qa.wording import tablet

FOLDER = Path(__file__).resolve().parents[2] / "static" / "qa"
TARGET = FOLDER / "tablet" / "core" / "verdicts.js"
SHEET = FOLDER / "tablet.css"


class Command(BaseCommand):
    help = (
        "Write qa/static/qa/tablet/core/verdicts.js, and the looks of states in "
        "tablet.css beside it, from shop/wording/states.py."
    )
    requires_system_checks = []

    def handle(self, *args, **options):
        sheet = tablet.with_styles(SHEET.read_text(encoding="utf-8"))
        for target, text in ((TARGET, tablet.javascript()), (SHEET, sheet)):
            target.write_text(text, encoding="utf-8", newline="\n")
            self.stdout.write(f"wrote {target}")
