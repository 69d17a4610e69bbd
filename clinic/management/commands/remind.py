"""Queue the messages that are due and send them: python manage.py remind, from a timer. Names nobody."""

import fcntl
import json
from argparse import ArgumentParser
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from clinic.access.models import Practice
from clinic.reminders.models import Message
from clinic.reminders.queueing import due_of, queue_due
from clinic.reminders.sending import send_queued
from clinic.vocabulary.recall import MessageState

NEEDS_A_PERSON = (MessageState.UNCLEAR, MessageState.FAILED)


class Busy(Exception):
    """Another run on this machine is at work."""


@contextmanager
def only_run() -> Iterator[None]:
    """A lock that dies with the process, so that a run which was killed leaves none behind."""
    path = Path(settings.VAR_DIR) / "remind.lock"
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with open(path, "w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as held:
            raise Busy from held
        yield


class Command(BaseCommand):
    help = (
        "Queue the messages that the ladder asks for today and send them. Every ten minutes from a timer is fine. "
        "Ends with 0, or 1 if a message needs a person."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="count what would be queued; write and send nothing")
        parser.add_argument("--json", action="store_true", help="print the counts as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PRODUCTION and not settings.EMAIL_HOST:
            raise CommandError("No mail server is set: give EMAIL_HOST, or send no messages.", returncode=2)
        if options["dry_run"]:
            self.report(self.would_queue(), options)
            return
        try:
            with only_run():
                found = self.queue() | {"sent": plain(send_queued(timezone.now))}
        except Busy:
            self.report({"practices": [], "busy": True}, options)
            return
        found["needs_a_person"] = Message.objects.filter(state__in=NEEDS_A_PERSON).count()
        self.report(found, options)
        if found["needs_a_person"]:
            raise SystemExit(1)

    def would_queue(self) -> dict[str, Any]:
        now = timezone.localtime()
        each = [due_of(practice, today=now.date(), now=now) for practice in Practice.objects.order_by("code")]
        return {"dry_run": True, "practices": [line(due, len(due.rows)) for due in each]}

    def queue(self) -> dict[str, Any]:
        now = timezone.localtime()
        each = [queue_due(practice, today=now.date(), now=now) for practice in Practice.objects.order_by("code")]
        return {"practices": [line(due, new) for due, new in each]}

    def report(self, found: dict[str, Any], options: dict[str, Any]) -> None:
        if options["json"]:
            self.stdout.write(json.dumps(found, ensure_ascii=False))
            return
        for practice in found["practices"]:
            why = f" {practice['why_not']}" if practice["why_not"] else ""
            self.stdout.write(
                f"{practice['practice']}: {practice['queued']} queued, {practice['no_address']} without an address "
                f"(letters).{why}"
            )
        if found.get("busy"):
            self.stdout.write("Another run is at work; nothing was done.")
        for name, count in found.get("sent", {}).items():
            self.stdout.write(f"{name}: {count}")
        if found.get("needs_a_person"):
            self.stdout.write(f"{found['needs_a_person']} need a person: see Recall, Messages.")


def line(due: Any, queued: int) -> dict[str, Any]:
    return {
        "practice": due.practice.code, "queued": queued, "no_address": due.no_address, "why_not": due.why_not,
    }  # fmt: skip


def plain(counts: Counter[str]) -> dict[str, int]:
    return {str(name): count for name, count in counts.items() if count}
