"""Write the yearly report: python manage.py report --year 2023 --pdf report.pdf."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from audit.management.commands.audit import the_practice
from audit.management.commands.freeze_audit import add_year_arguments, progress, the_year
from audit.models import AuditYear, SignedAudit
from audit.signing import Frozen, figures_before, freeze, report_html, report_pdf


class Command(BaseCommand):
    help = (
        "Write the signed report of an audit year as PDF, or print its figures. Before the signature it is a draft, "
        "counted from the records as they stand."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_year_arguments(parser)
        parser.add_argument(
            "--number", type=int, metavar="N", help="an earlier signature; the one in force if left out"
        )
        parser.add_argument("--pdf", metavar="FILE", help="where to write the PDF")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["pdf"] and not options["json"]:
            raise CommandError(
                "--pdf: say where to write the report, or ask for its figures with --json.", returncode=2
            )
        year = the_year(the_practice(options["practice"]), options["year"])
        signed = the_signature(year, options["number"])
        frozen = None
        if signed is None:
            progress(self, "Not signed yet: counting a draft ...")
            frozen = freeze(year)
        if options["pdf"]:
            progress(self, "Writing the PDF ...")
            write(Path(options["pdf"]), bytes(signed.pdf or b"") if signed else draft_pdf(year, frozen))
        if options["json"]:
            self.stdout.write(json.dumps(figures_of(signed, frozen), indent=2, ensure_ascii=False))
        elif options["pdf"]:
            kind = f"signature {signed.number} by {signed.signed_by}" if signed else "draft, not signed"
            checksum = signed.snapshot.checksum if signed else frozen.checksum
            self.stdout.write(f"{options['pdf']}: audit year {year.starting_year}, {kind}, checksum {checksum}")


def the_signature(year: AuditYear, number: int | None) -> SignedAudit | None:
    stored = SignedAudit.objects.filter(audit_year=year).select_related("snapshot", "signed_by")
    if number is None:
        return stored.filter(reopened_at__isnull=True).first()
    found = stored.filter(number=number).first()
    if found is None:
        raise CommandError(f"--number: audit year {year.starting_year} has no signature {number}.", returncode=2)
    return found


def figures_of(signed: SignedAudit | None, frozen: Frozen | None) -> dict[str, Any]:
    """The figures that the report prints, without the keys that lead to records."""
    from audit.report.plain import without_records

    figures = json.loads(signed.snapshot.body)["figures"] if signed else frozen.figures if frozen else {}
    return {"signed": signed.signed_at.isoformat() if signed else None, **without_records(figures)}


def draft_pdf(year: AuditYear, frozen: Frozen | None) -> bytes:
    if frozen is None:
        raise CommandError("nothing was counted")
    html = report_html(frozen.figures, frozen.words, before=figures_before(year), stamp=None)
    return report_pdf(html, frozen.words, None) or b""


def write(path: Path, body: bytes) -> None:
    """Whole or not at all."""
    if not body:
        raise CommandError("--pdf: this server cannot make a PDF, Pango is missing; print the report page instead.")
    if not path.parent.is_dir():
        raise CommandError(f"--pdf: there is no folder {path.parent}.", returncode=2)
    unfinished = path.with_name(f"{path.name}.unfinished")
    unfinished.write_bytes(body)
    unfinished.replace(path)
