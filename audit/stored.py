"""Figures kept ready: counted once for a question, shown as long as records, standards and program stay the same."""

import json
import time
import zlib
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from functools import cached_property
from hashlib import sha256
from typing import Any

from django.apps import apps
from django.db import connection

from audit.models import StoredFigures
from clinic.access.models import Practice

Plain = dict[str, Any]
# Who signs in, what a patient is called, who was sent a link and when reviews are planned change no figure. What a
# patient reports does, as the review it becomes.
IDLE = {"member", "identity", "photograph", "followup", "plannedschedule", "reportlink", "patientreport"}
KEPT_FOR = timedelta(days=60)


def records_version() -> str:
    """A digest that changes with every write to the clinical record, in one statement.

    Of each history table the newest row and the number of rows: a write that was still under way when a higher number
    was given out changes the number of rows when it lands.
    """
    tables = sorted(
        model.history.model._meta.db_table
        for model in apps.get_app_config("clinic").get_models()
        if hasattr(model, "history") and model._meta.model_name not in IDLE
    )
    parts = [f"SELECT '{table}', MAX(history_id), COUNT(*) FROM {table}" for table in tables]  # noqa: S608 - our own names
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(parts))
        rows = sorted(tuple(row) for row in cursor.fetchall())
    return sha256(json.dumps(rows).encode()).hexdigest()


def digest_of(question: Plain) -> str:
    return sha256(json.dumps(question, sort_keys=True).encode()).hexdigest()


class Shelf:
    """The stored figures of one practice as they stand at one moment; one statement says whether they still hold."""

    def __init__(self, practice: Practice, now: datetime) -> None:
        self.practice, self.now = practice, now
        self._rows: dict[str, StoredFigures | None] = {}

    @cached_property
    def version(self) -> str:
        return records_version()

    def expect(self, questions: Iterable[Plain]) -> None:
        """Reads the figures of several questions in one statement."""
        digests = [digest_of(question) for question in questions]
        found = {
            row.question: row for row in StoredFigures.objects.filter(practice=self.practice, question__in=digests)
        }
        self._rows |= {digest: found.get(digest) for digest in digests}

    def figures(self, question: Plain, count: Callable[[], Plain]) -> Plain:
        """The stored figures of a question, or those of `count`, which are then stored.

        question: everything that decides the figures besides the records, as plain values.
        """
        from audit.report.provenance import code_version

        digest, program = digest_of(question), code_version()
        if digest not in self._rows:
            self.expect([question])
        stored = self._rows[digest]
        if stored and (stored.records, stored.code_version) == (self.version, program):
            return unpacked(stored.packed)
        begun = time.monotonic()
        found = count()
        keep(
            self.practice, digest, self.version, program, found, now=self.now, seconds=time.monotonic() - begun
        )  # fmt: skip
        return found


def keep(
    practice: Practice, digest: str, version: str, program: str, found: Plain, *, now: datetime, seconds: float
) -> None:
    """Stores figures, in place of older ones of the same question."""
    row = StoredFigures(
        practice=practice, question=digest, records=version, code_version=program, packed=packed(found),
        counted_at=now, seconds=seconds,
    )  # fmt: skip
    StoredFigures.objects.bulk_create(
        [row], update_conflicts=True, unique_fields=["practice", "question"],
        update_fields=["records", "code_version", "packed", "counted_at", "seconds"],
    )  # fmt: skip


def forget_old(practice: Practice, *, now: datetime) -> None:
    """Figures that nobody has counted for long answer questions that nobody asks any more."""
    StoredFigures.objects.filter(practice=practice, counted_at__lt=now - KEPT_FOR).delete()


def packed(found: Any) -> bytes:
    return zlib.compress(json.dumps(found, ensure_ascii=False, separators=(",", ":")).encode(), 6)


def unpacked(stored: bytes) -> Any:
    return json.loads(zlib.decompress(bytes(stored)))
