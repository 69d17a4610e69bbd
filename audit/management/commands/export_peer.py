"""Make the peer set of a signed audit: manage.py export_peer --practice CODE --year 2023 --group CODE --out FILE ..."""

import json
import os
import re
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from audit.exchange.manifest import GROUP_CODE, PRACTICE_CODE
from audit.exchange.preparing import NotExportable, prepare
from audit.management.commands.audit import the_practice
from audit.peers.exporting import Recipient, made_ready, take
from audit.peers.models import Export, Taking
from audit.signed import Signed, as_one, before, export_signed, signed_audits
from audit.stats.disclosure import FEWEST_ALIKE
from clinic.access.models import Member, Practice
from clinic.access.rules import Action, may


class Command(BaseCommand):
    help = "Make the anonymised set of a signed audit for a peer group, or give out the one that was made before."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--practice", metavar="CODE", help="code of the practice; may be left out if there is one")
        parser.add_argument("--year", type=int, required=True, help="year in which the audit year begins")
        parser.add_argument("--with-before", action="store_true", help="together with the audit year before")
        parser.add_argument("--group", required=True, metavar="CODE", help="code of the peer group, like G-AB2CD3")
        parser.add_argument("--as", dest="own_code", required=True, metavar="CODE", help="code of this practice there")
        parser.add_argument("--to", required=True, help="who will read the file")
        parser.add_argument("--for", dest="purpose", required=True, help="what the file is for")
        parser.add_argument("--by", required=True, metavar="NAME", help="sign-in name of the practice lead who asks")
        parser.add_argument("--k", type=int, default=FEWEST_ALIKE, help="patients that must look alike, at least 5")
        parser.add_argument("--strict", action="store_true", help="do not show groups in which nobody has the outcome")
        parser.add_argument("--out", required=True, type=Path, metavar="FILE", help="where to write; must not exist")
        parser.add_argument("--json", action="store_true", help="print what was done as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        practice = the_practice(options["practice"])
        lead = the_lead(practice, options["by"])
        recipient = the_recipient(options)
        if options["out"].exists():
            raise CommandError(f"--out: {options['out']} exists already; nothing is overwritten.", returncode=2)
        found, earlier = the_audit(practice, options["year"], with_before=options["with_before"])
        now = timezone.now()
        try:
            prepared = prepare(as_one(found, earlier), k=options["k"], harmless_declared=not options["strict"])
            ready = made_ready(practice, prepared, recipient)
            with transaction.atomic():
                export = export_signed(by=lead, prepared=prepared, recipient=recipient, now=now, ready=ready)
                take(practice=practice, by=lead, what=Taking.What.EXPORT, now=now, export=export,
                     about=f"{export.group_code} {export.practice_code}", sha256=export.sha256,
                     by_command=True)  # fmt: skip
                # Within the transaction: a file that cannot be written is not noted as taken.
                write(options["out"], bytes(export.file))
        except NotExportable as reason:
            raise CommandError(str(reason)) from reason
        except ValueError as reason:
            raise CommandError(f"--k: {reason}", returncode=2) from reason
        self.stdout.write(said(export, options["out"], as_json=options["json"]))


def the_lead(practice: Practice, name: str) -> Member:
    member = practice.members.filter(username=name, is_active=True).first()
    if member is None or not may(member.role, Action.EXPORT_DATA):
        raise CommandError(f"--by: {name!r} is no practice lead of {practice.code}.", returncode=2)
    return member


def the_recipient(options: dict[str, Any]) -> Recipient:
    for name, value, pattern in (
        ("--group", options["group"], GROUP_CODE),
        ("--as", options["own_code"], PRACTICE_CODE),
    ):
        if not re.fullmatch(pattern, value):
            raise CommandError(f"{name}: {value!r} is no such code; the page of the group shows it.", returncode=2)
    for name, value, most in (("--to", options["to"], 100), ("--for", options["purpose"], 300)):
        if not value.strip() or len(value) > most:
            raise CommandError(f"{name}: give 1 to {most} characters.", returncode=2)
    return Recipient(options["group"], options["own_code"], options["to"], options["purpose"])


def the_audit(practice: Practice, year: int, *, with_before: bool) -> tuple[Signed, Signed | None]:
    every = signed_audits(practice)
    found = next((each for each in every if each.performed_from.year == year), None)
    if found is None:
        known = ", ".join(str(each.performed_from.year) for each in every) or "none yet"
        raise CommandError(f"--year: no audit of {year} is signed; signed are {known}.", returncode=2)
    if not with_before:
        return found, None
    earlier = before(found, every)
    if earlier is None:
        raise CommandError(f"--with-before: the audit year before {year} is not signed.", returncode=2)
    return found, earlier


def write(path: Path, data: bytes) -> None:
    """A file that only its owner reads, and that is there whole or not at all."""
    unfinished = path.with_name(path.name + ".part")
    try:
        with open(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.link(unfinished, path)
    except OSError as fault:
        raise CommandError(f"--out: {path} could not be written: {fault.strerror}.") from fault
    finally:
        unfinished.unlink(missing_ok=True)


def said(export: Export, path: Path, *, as_json: bool) -> str:
    facts = {
        "file": str(path),
        "rows": export.rows,
        "sha256": export.sha256,
        "least_alike": export.protection["least_alike"],
        "rows_left_out": export.protection["rows_left_out"],
        "period": f"{export.performed_from} to {export.performed_to}",
        "group": export.group_code,
        "practice": export.practice_code,
    }
    if as_json:
        return json.dumps(facts, indent=2)
    return "\n".join(f"{name.replace('_', ' ')}: {value}" for name, value in facts.items())
