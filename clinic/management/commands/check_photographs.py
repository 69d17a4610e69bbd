"""Compare the records of photographs with their files: python manage.py check_photographs [--remove]."""

import hashlib
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clinic.photographs import storage
from clinic.photographs.models import Photograph

# A younger file may belong to a photograph that is being saved.
SETTLED_AFTER_SECONDS = 3600


class Command(BaseCommand):
    help = "Find photographs whose file is missing or altered, and files that no photograph owns."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--remove", action="store_true", help="delete files that no photograph owns any more")

    def handle(self, *args: Any, **options: Any) -> None:
        owned = list(Photograph.objects.filter(withdrawn_at__isnull=True).only("key", "file_name", "sha256"))
        missing = [row.key for row in owned if not whole(row)]
        strays = storage.strays({row.file_name for row in owned}, written_before=time.time() - SETTLED_AFTER_SECONDS)
        if options["remove"]:
            for path in strays:
                path.unlink()
        self.stdout.write(f"{len(owned)} photographs, {len(missing)} without their file as it was saved.")
        for key in missing:
            self.stdout.write(f"  photograph {key}")
        removed = ", removed" if options["remove"] and strays else ""
        self.stdout.write(f"{len(strays)} files that no photograph owns{removed}.")
        if missing or (strays and not options["remove"]):
            raise CommandError("The files do not fit the records.")


def whole(row: Photograph) -> bool:
    """Whether both files are there and the picture is byte for byte the one that was saved."""
    try:
        digest = hashlib.sha256(storage.read(row.file_name, storage.FULL)).hexdigest()
        return digest == row.sha256 and bool(storage.read(row.file_name, storage.PREVIEW))
    except FileNotFoundError:
        return False
