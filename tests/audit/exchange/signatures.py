"""Signed audits of invented practices: the stored snapshot holds their frames as a real one does, without figures."""

import zlib
from functools import cache

import pandas as pd

from audit.exchange.simulated import Plan, practice
from audit.measures.columns import Cohort
from audit.measures.definitions import VERSION
from audit.measures.material import FRAMES, material
from audit.models import AuditYear, SignedAudit, Snapshot
from audit.report.frozen_rows import canonical, checksum, material_as_plain
from audit.signing import reopen
from clinic.access.models import Member
from tests.factories import NOON, create_audit_year


def body_of(cohort: Cohort) -> bytes:
    """The snapshot of a year of which only sides and findings are known."""
    empty = {name: pd.DataFrame(columns=list(FRAMES[name][0])) for name in ("process", "contacts", "incidents")}
    found = material(cohort, first=cohort.performed_from, last=cohort.performed_to, starts_month=4, **empty)
    return canonical({"data": material_as_plain(found)})


@cache
def _planned(plan: Plan) -> bytes:
    return body_of(practice(plan))


def sign(lead: Member, what: Plan | Cohort, *, definitions: str = VERSION, preliminary: bool = False) -> SignedAudit:
    """A signature in force on these frames; one that was in force for the year is opened again first."""
    frames = practice(what) if isinstance(what, Plan) else what
    starting = frames.performed_from.year
    year = AuditYear.objects.filter(practice=lead.practice, starting_year=starting).first()
    year = year or create_audit_year(lead.practice, starting_year=starting, by=lead, as_of=frames.as_of)
    for earlier in year.signatures.filter(reopened_at__isnull=True):
        reopen(by=lead, signed=earlier, version=year.version, reason="corrected", now=NOON)
    body = _planned(what) if isinstance(what, Plan) else body_of(what)
    kept = Snapshot.objects.create(
        audit_year=year, checksum=checksum(body), packed=zlib.compress(body, 1), bytes_unpacked=len(body),
        definitions_version=definitions, code_version="test", frozen_at=NOON,
    )  # fmt: skip
    return SignedAudit.objects.create(
        audit_year=year, number=year.signatures.count() + 1, snapshot=kept, signed_by=lead, signed_at=NOON,
        preliminary=preliminary, html="<p>Report</p>",
    )  # fmt: skip
