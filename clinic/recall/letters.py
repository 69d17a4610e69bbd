"""Letters to patients who are due: for whom, what they say, and the log of having been sent."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from clinic.access.models import Member
from clinic.access.numbers import say_day
from clinic.patients.identity import Identity
from clinic.procedures.models import Operation
from clinic.recall.queries import Followed
from clinic.recall.recording import log_contact
from clinic.reports.links import ABOUT, address_of, make_link
from clinic.reports.slips import qr_picture
from clinic.reports.wording import long_day
from clinic.reviews.models import Contact
from clinic.schedule import TWELVE_MONTHS
from clinic.vocabulary.review import ContactChannel, ContactResult

MOST_AT_ONCE = 100
LAST_LETTER = "The last letter; it says that no other follows"


@dataclass(frozen=True)
class Letter:
    """One letter. until: when the window of the review closes.

    last_one: the ladder has no further step, so nothing more is written.
    """

    key: str
    operation: Operation
    identity: Identity
    toes: str
    code: str
    until: str
    operated_on: str
    takes_report: bool
    last_one: bool


@dataclass(frozen=True)
class LeftOut:
    """Somebody who gets no letter, and why."""

    name: str
    why: str


def letters_for(rows: Sequence[Followed], toes_of: dict[int, str]) -> tuple[list[Letter], list[LeftOut]]:
    """rows: named, with contacts. toes_of: by operation, in the patient's words."""
    letters, left_out = [], []
    for row in rows:
        if row.identity is None:
            continue
        if why := _why_not(row):
            left_out.append(LeftOut(row.identity.name, why))
        else:
            letters.append(_letter(row, toes_of[row.operation.pk]))
    return letters, left_out


def _why_not(row: Followed) -> str:
    if row.stop:
        return f"{row.stop.label}. {row.stop.meaning}."
    if row.report_waits:
        return "The patient has answered; the report waits for a clinician."
    if row.point is None and row.in_twelve_months and row.outcome_missing:
        return f"No review is planned. The audit counts a look until day {TWELVE_MONTHS.closes_day}: book one by phone."
    if row.point is None:
        return "No review is open."
    if row.is_booked:
        return "A review is booked."
    if last := _last_letter(row):
        return f"The letter of {say_day(last.made_on)} said that we would not write again."
    return ""


def _last_letter(row: Followed) -> Contact | None:
    """The letter about this review that said it was the last; None where there was none."""
    return next((contact for contact in row.tries if contact.note == LAST_LETTER), None)


def _letter(row: Followed, toes: str) -> Letter:
    point, performed_on = row.point, row.operation.performed_on
    assert point is not None and row.identity is not None and row.next is not None  # noqa: S101, PT018 - see _why_not
    return Letter(
        key=row.operation.key, operation=row.operation, identity=row.identity, toes=toes, code=point.code,
        until=long_day(point.closes_on(performed_on)), operated_on=long_day(performed_on),
        takes_report=point.mode.takes_report and point.contains(row.day),
        last_one=bool(row.next.step and row.next.number > 1 and row.next.is_last),
    )  # fmt: skip


@dataclass(frozen=True)
class Link:
    """What a letter prints of its link; the address stands nowhere else."""

    address: str
    qr: str
    until: str


@transaction.atomic
def made_letters(
    *, by: Member, letters: Sequence[Letter], now: datetime, days: int
) -> list[tuple[Letter, Link | None]]:
    """Each letter with its link where the patient's report is enough; each one logged as a try."""
    return [(letter, _made(by, letter, now, days)) for letter in letters]


def _made(by: Member, letter: Letter, now: datetime, days: int) -> Link | None:
    note = LAST_LETTER if letter.last_one else ""
    answers = {"channel": ContactChannel.LETTER.value, "result": ContactResult.SENT.value, "note": note}
    log_contact(by=by, operation=letter.operation, answers=answers, now=now, another=True)
    about = ABOUT.get(letter.code) if letter.takes_report else None
    if about is None:
        return None
    link, token = make_link(by=by, operation=letter.operation, about=about.value, now=now, days=days)
    address = address_of(token)
    return Link(address, qr_picture(address), long_day(timezone.localtime(link.expires_at).date()))
