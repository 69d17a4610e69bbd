"""Signed audits as an export needs them: the frozen frames, never the records of today."""

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.apps import apps

from audit.exchange.preparing import SignedAudit
from audit.periods import audit_year
from clinic.access.models import Practice

if TYPE_CHECKING:
    from audit.measures.columns import Cohort


@dataclass(frozen=True)
class Signed:
    """A signature in force. load: the frames that were signed; slow, so only when they are needed."""

    key: str
    label: str
    checksum: str
    definitions: str
    performed_from: date
    performed_to: date
    signed_at: datetime
    load: Callable[[], "Cohort"]


def signed_audits(practice: Practice) -> list[Signed]:
    """Every signature in force of the practice, latest period first."""
    return sorted(listed(practice), key=lambda each: each.performed_from, reverse=True)


def listed(practice: Practice) -> list[Signed]:
    """The signatures as they are stored."""
    try:
        model = apps.get_model("audit", "SignedAudit")
    except LookupError:
        return []
    rows = model.objects.filter(audit_year__practice=practice, reopened_at__isnull=True, preliminary=False)
    rows = rows.select_related("audit_year", "snapshot").defer("html", "pdf", "snapshot__packed")
    return [_signed(practice, row) for row in rows]


def before(found: Signed, others: list[Signed]) -> Signed | None:
    """The signed audit of the year that ends the day before this one begins."""
    return next((each for each in others if (found.performed_from - each.performed_to).days == 1), None)


def as_one(found: Signed, earlier: Signed | None = None) -> SignedAudit:
    """What an export is made from: one signed audit, or two years that follow each other, taken together."""
    cohort = found.load()
    if earlier is None:
        return SignedAudit(found.key, found.label, found.checksum, found.definitions, cohort)
    both = together(earlier.load(), cohort)
    checksum = hashlib.sha256(f"{earlier.checksum} {found.checksum}".encode()).hexdigest()
    definitions = found.definitions if found.definitions == earlier.definitions else "mixed"
    return SignedAudit(found.key, f"{earlier.label} and {found.label}", checksum, definitions, both)


def together(first: "Cohort", second: "Cohort") -> "Cohort":
    """The frames of two periods that follow each other; each side stands in one of them."""
    import pandas as pd

    def joined(name: str) -> pd.DataFrame:
        return pd.concat([getattr(first, name), getattr(second, name)], ignore_index=True)

    return replace(
        second,
        performed_from=first.performed_from,
        as_of=max(first.as_of, second.as_of),
        sides=joined("sides"),
        findings=joined("findings"),
        toe_findings=joined("toe_findings"),
    )


def _signed(practice: Practice, row: object) -> Signed:
    year = audit_year(practice, row.audit_year.starting_year)  # type: ignore[attr-defined]
    return Signed(
        key=row.audit_year.key,  # type: ignore[attr-defined]
        label=f"{year.performed_from:%b %Y} to {year.performed_to:%b %Y}",
        checksum=row.snapshot.checksum,  # type: ignore[attr-defined]
        definitions=row.snapshot.definitions_version,  # type: ignore[attr-defined]
        performed_from=year.performed_from,
        performed_to=year.performed_to,
        signed_at=row.signed_at,  # type: ignore[attr-defined]
        load=lambda: _frames(row),
    )


def _frames(row: object) -> "Cohort":
    from audit.report.frozen_rows import material_of

    return material_of(json.loads(row.snapshot.body)["data"]).cohort  # type: ignore[attr-defined]
