"""Count an audit year, keep its figures ready and freeze its snapshot: python manage.py freeze_audit --year 2023."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from audit.management.commands.audit import the_practice
from audit.models import AuditYear
from audit.signing import freeze, keep_snapshot
from audit.stored import forget_old
from clinic.access.models import Practice


class Command(BaseCommand):
    help = (
        "Freeze the data, definitions, program and figures of an audit year that was begun in the app. Freezing again "
        "without any change gives the same checksum and stores nothing new. It signs nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_year_arguments(parser)
        parser.add_argument("--dry-run", action="store_true", help="count and print the checksum, store nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        practice = the_practice(options["practice"])
        year = the_year(practice, options["year"])
        progress(self, f"Counting {year.starting_year}, with 1,000 draws of patients for every interval ...")
        frozen = freeze(year)
        now = timezone.now()
        known = year.snapshots.filter(checksum=frozen.checksum).exists()
        if not options["dry_run"]:
            progress(self, "Storing ...")
            keep_snapshot(year, frozen, now=now)
            forget_old(practice, now=now)
        rows = {name: len(found["rows"]) for name, found in json.loads(frozen.body)["data"]["frames"].items()}
        found = {
            "practice": practice.code,
            "year": year.starting_year,
            "as_of": year.as_of.isoformat(),
            "preliminary": frozen.words["preliminary"],
            "checksum": frozen.checksum,
            "bytes": len(frozen.body),
            "definitions_version": frozen.figures["definitions_version"],
            "code_version": frozen.figures["code"]["version"],
            "rows": rows,
            "stored": not options["dry_run"] and not known,
            "known_before": known,
        }
        self.stdout.write(json.dumps(found, indent=2) if options["json"] else "\n".join(said(found)))


def said(found: dict[str, Any]) -> list[str]:
    what = (
        "known already, nothing new stored"
        if found["known_before"]
        else ("stored" if found["stored"] else "not stored")
    )
    return [
        f"Audit year {found['year']} of {found['practice']}, data as of {found['as_of']}: {what}"
        + (" (PRELIMINARY)" if found["preliminary"] else ""),
        f"Checksum {found['checksum']}, {found['bytes']} bytes",
        f"Definitions version {found['definitions_version']}, program {found['code_version']}",
        "Rows: " + ", ".join(f"{name} {number}" for name, number in found["rows"].items()),
    ]


def add_year_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--practice", metavar="CODE", help="code of the practice; may be left out if there is one")
    parser.add_argument(
        "--year", type=int, metavar="YEAR", help="year in which the audit year begins; the newest begun if left out"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")


def the_year(practice: Practice, wanted: int | None) -> AuditYear:
    """The audit year named, or the newest one begun."""
    years = AuditYear.objects.filter(practice=practice).select_related("practice")
    found = years.filter(starting_year=wanted).first() if wanted else years.order_by("-starting_year").first()
    if found is None:
        named = f"of {wanted} " if wanted else ""
        raise CommandError(
            f"--year: no audit {named}was begun by {practice.code}. Begin it in the app, under Audit, Yearly audit.",
            returncode=2,
        )
    return found


def progress(command: BaseCommand, words: str) -> None:
    """For somebody who waits at a terminal; a program reads only the answer."""
    if command.stderr.isatty():
        command.stderr.write(words)
