"""Build the web fonts below settings.FONT_DIR."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from clinic.fonts import make_fonts


class Command(BaseCommand):
    help = "Make the two web font files from the installed typeface package."

    def handle(self, *args: Any, **options: Any) -> None:
        target = Path(settings.FONT_DIR) / "fonts"
        try:
            files = make_fonts(target)
        except ImportError as problem:
            raise CommandError(f"A package needed to make the fonts is missing: {problem}") from problem
        for file in files:
            self.stdout.write(f"{file} ({file.stat().st_size / 1024:.1f} kB)")
