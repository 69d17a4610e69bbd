"""Signed audits as an export needs them: the frozen frames, never the records of today."""

import hashlib
import json
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.db import transaction

from audit.exchange.preparing import NotExportable, Prepared, SignedFrames
from audit.models import SignedAudit
from audit.peers.exporting import Ready, Recipient, make_export
from audit.peers.models import Export
from audit.periods import audit_year
from clinic.access.models import Member, Practice

if TYPE_CHECKING:
    from audit.measures.columns import Cohort


@dataclass(frozen=True)
class Signed:
    """A signature in force. key: of the audit year. signature: the stored row, without report and snapshot."""

    key: str
    label: str
    checksum: str
    definitions: str
    performed_from: date
    performed_to: date
    signed_at: datetime
    signature: SignedAudit

    def load(self) -> "Cohort":
        """The frames that were signed; slow, so only when they are needed."""
        from audit.report.frozen_rows import material_of

        return material_of(json.loads(self.signature.snapshot.body)["data"]).cohort


def in_force(practice: Practice) -> "list[SignedAudit]":
    """Signatures of closed periods: neither opened again nor given before every outcome was due."""
    rows = SignedAudit.objects.filter(audit_year__practice=practice, reopened_at__isnull=True, preliminary=False)
    return list(rows.select_related("audit_year", "snapshot").defer("html", "pdf", "snapshot__packed"))


def signed_audits(practice: Practice) -> list[Signed]:
    """Every signature in force of the practice, latest period first."""
    found = [_signed(practice, row) for row in in_force(practice)]
    return sorted(found, key=lambda each: each.performed_from, reverse=True)


def before(found: Signed, others: list[Signed]) -> Signed | None:
    """The signed audit of the year that ends the day before this one begins."""
    return next((each for each in others if (found.performed_from - each.performed_to).days == 1), None)


def as_one(found: Signed, earlier: Signed | None = None) -> SignedFrames:
    """What an export is made from: one signed audit, or two years that follow each other, taken together."""
    cohort = found.load()
    if earlier is None:
        return SignedFrames((found.signature.pk,), found.label, found.checksum, found.definitions, cohort)
    both = together(earlier.load(), cohort)
    checksum = hashlib.sha256(f"{earlier.checksum} {found.checksum}".encode()).hexdigest()
    definitions = found.definitions if found.definitions == earlier.definitions else "mixed"
    signatures = (found.signature.pk, earlier.signature.pk)
    return SignedFrames(signatures, f"{earlier.label} and {found.label}", checksum, definitions, both)


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


@transaction.atomic
def export_signed(
    *, by: Member, prepared: Prepared, recipient: Recipient, now: datetime, ready: Ready | None = None
) -> Export:
    """Keeps the file, or finds the one made before; raises NotExportable. ready: made outside of the transaction.

    Looks again whether the signatures stand: one may have been opened again while the preview was read.
    """
    standing = {row.pk for row in in_force(by.practice)}
    if not standing.issuperset(prepared.audit.signatures):
        raise NotExportable("This audit was opened again since you began; only what is signed leaves the practice.")
    return make_export(by=by, prepared=prepared, recipient=recipient, now=now, ready=ready)


def _signed(practice: Practice, row: SignedAudit) -> Signed:
    year = audit_year(practice, row.audit_year.starting_year)
    return Signed(
        key=row.audit_year.key,
        label=f"{year.performed_from:%b %Y} to {year.performed_to:%b %Y}",
        checksum=row.snapshot.checksum,
        definitions=row.snapshot.definitions_version,
        performed_from=year.performed_from,
        performed_to=year.performed_to,
        signed_at=row.signed_at,
        signature=row,
    )
