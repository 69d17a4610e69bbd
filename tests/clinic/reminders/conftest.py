"""The standing clock, the operations of following up, and a practice that has switched its messages on."""

import pytest

from clinic.planning.models import FollowUp
from clinic.reminders.models import TextApproval
from clinic.reminders.texts import digest_of
from tests.clinic.some_days_ago import NOW, TODAY, clock, operated

__all__ = ["NOW", "TODAY", "clock", "operated"]


@pytest.fixture
def switched_on(practice, lead) -> FollowUp:
    row = FollowUp.objects.create(
        practice=practice, phone="01632 960100", sender="The Sands (fictional)", sends_email=True
    )
    TextApproval.objects.create(practice=practice, digest=digest_of(row), by=lead, at=NOW)
    practice.refresh_from_db()
    return row


@pytest.fixture
def asked(operated):
    """Somebody with an address whose first step, the invitation, has come: 355 days after the operation."""
    return lambda name="Asked", days=355, **more: operated(days, name, email=f"{name.lower()}@example.org", **more)
