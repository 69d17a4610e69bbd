"""Practices with signed audits, a group, and members of each."""

from datetime import UTC, date, datetime

import pytest

from audit.exchange.simulated import Plan, practice
from audit.measures.definitions import VERSION
from audit.signed import Signed
from clinic.access.rules import Role
from tests.factories import create_member, create_practice

PASSWORD = "a long enough word"


def signed_of(plan: Plan, *, key: str = "auditkey2023", checksum: str = "") -> Signed:
    """A signature on the frames of an invented practice."""
    return Signed(
        key=key,
        label=f"{plan.performed_from:%b %Y} to {plan.performed_to:%b %Y}",
        checksum=checksum or f"{plan.code}-{plan.seed}-{plan.performed_from.year}".ljust(64, "0"),
        definitions=VERSION,
        performed_from=plan.performed_from,
        performed_to=plan.performed_to,
        signed_at=datetime(2025, 6, 2, 10, 0, tzinfo=UTC),
        load=lambda: practice(plan),
    )


@pytest.fixture
def signed(monkeypatch):
    """Signatures by code of the practice; a test adds to the dictionary."""
    stored: dict[str, list[Signed]] = {}
    monkeypatch.setattr("audit.signed.listed", lambda practice: stored.get(practice.code, []))
    return stored


@pytest.fixture
def many_practices(db, signed):
    """Six practices with a signed audit each, and their leads."""
    found = []
    for number, (patients, regrowth) in enumerate(
        ((70, 0.05), (90, 0.08), (150, 0.05), (60, 0.1), (120, 0.06), (80, 0.03))
    ):
        row = create_practice(code=f"peer-{number}")
        lead = create_member(row, role=Role.LEAD, username=f"lead-{number}")
        signed[row.code] = [signed_of(Plan(row.code, seed=number + 20, patients=patients, regrowth=regrowth))]
        found.append(lead)
    return found


def a_year(starting: int) -> tuple[date, date]:
    return date(starting, 4, 1), date(starting + 1, 3, 31)
