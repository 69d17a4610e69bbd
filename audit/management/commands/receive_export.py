"""Take peer sets into a group: python manage.py receive_export --group G-AB2CD3 FILE ...; or only check them."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from audit.exchange.outline import MOST_BYTES
from audit.exchange.problems import Problem, Refused
from audit.exchange.reading import read_set
from audit.peers.intake import AsksToReplace, note_refusal, receive
from audit.peers.models import PeerGroup


class Command(BaseCommand):
    help = (
        "Check peer sets and take them into a group, each whole or not at all. Without --group nothing is stored: "
        "the files are only checked. Ends with 1 if any was refused."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
        parser.add_argument("--group", metavar="CODE", help="code of the peer group; left out: check only")
        parser.add_argument("--replace", action="store_true", help="replace a set of the same practice and year")
        parser.add_argument("--json", action="store_true", help="print the answers as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        group = the_group(options["group"])
        answers = [answer(path, group, replace=options["replace"]) for path in options["files"]]
        if options["json"]:
            self.stdout.write(json.dumps(answers, indent=2, ensure_ascii=False))
        else:
            self.stdout.write("\n".join(line for each in answers for line in lines(each)))
        refused = sum(not each["taken"] for each in answers)
        if refused:
            raise CommandError(f"{refused} of {len(answers)} refused.", returncode=1)


def the_group(code: str | None) -> PeerGroup | None:
    if code is None:
        return None
    found = PeerGroup.objects.filter(code=code).first()
    if found is None:
        raise CommandError(f"--group: there is no group with the code {code!r}.", returncode=2)
    return found


def answer(path: Path, group: PeerGroup | None, *, replace: bool) -> dict[str, Any]:
    """What became of one file, as plain values."""
    about = {"file": path.name}
    try:
        data = content(path)
    except Refused as unreadable:
        # Nothing was received, so nothing is noted.
        return {**about, **refusal(unreadable)}
    try:
        if group is None:
            found = read_set(data)
            manifest = found.manifest
            return {**about, "taken": True, "result": "holds together", "practice": manifest.practice,
                    "rows": manifest.rows, "sha256": found.sha256}  # fmt: skip
        row = receive(data=data, group=group, membership=None, by=None, replace=replace, now=timezone.now())
    except Refused as refused:
        if group is not None:
            note_refusal(refused=refused, data=data, group=group, membership=None, by=None, now=timezone.now())
        return {**about, **refusal(refused)}
    except AsksToReplace as question:
        return {**about, "taken": False, "result": "refused", "total": 1, "problems": [f"{question} Use --replace."]}
    return {**about, "taken": True, "result": row.get_state_display(), "practice": row.membership.code,
            "rows": row.rows, "sha256": row.sha256, "reason": row.state_reason}  # fmt: skip


def refusal(refused: Refused) -> dict[str, Any]:
    sentences = [problem.sentence for problem in refused.problems]
    return {"taken": False, "result": "refused", "total": refused.total, "problems": sentences}


def content(path: Path) -> bytes:
    """The file, but never more of it than is looked at."""
    try:
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as fault:
        raise Refused([Problem("", f"{path.name} cannot be read: {fault.strerror}")]) from fault


def lines(found: dict[str, Any]) -> list[str]:
    if found["taken"]:
        more = f" {found['reason']}" if found.get("reason") else ""
        return [f"{found['file']}: {found['result']}; practice {found['practice']}, {found['rows']} rows.{more}"]
    listed = [f"  {sentence}" for sentence in found["problems"]]
    rest = found["total"] - len(listed)
    return [f"{found['file']}: refused", *listed, *([f"  and {rest} more"] if rest > 0 else [])]
