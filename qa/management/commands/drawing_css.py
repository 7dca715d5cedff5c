"""Write the stylesheet of drawings from the one table of looks."""

from pathlib import Path

from django.core.management.base import BaseCommand

from qa.drawing import style

TARGET = Path(__file__).resolve().parents[2] / "static" / "qa" / "drawing.css"


class Command(BaseCommand):
    help = "Write qa/static/qa/drawing.css from qa/drawing/style.py."
    requires_system_checks = []

    def handle(self, *args, **options):
        TARGET.write_text(style.css(), encoding="utf-8", newline="\n")
        self.stdout.write(f"wrote {TARGET}")
