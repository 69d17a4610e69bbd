"""The slip with a link: a square to scan, and the address to type."""

from datetime import datetime

import segno
from django import forms

from clinic.access.answers import choice
from clinic.access.models import Member
from clinic.access.once import OneTimeForm
from clinic.procedures.models import Operation
from clinic.reviews.models import Contact
from clinic.vocabulary.recall import LinkReason
from clinic.vocabulary.redflag import Reported
from clinic.vocabulary.review import ContactChannel, ContactResult

LOGGED = "Slip with the patient's link"


class LinkForm(OneTimeForm, forms.Form):
    use_required_attribute = False
    about = choice("What the link asks about", LinkReason, "Choose what the link asks about", columns=3)


def log_slip(*, by: Member, operation: Operation, now: datetime) -> Contact:
    """The slip as a try in the log: it goes to the patient on paper, whether posted or handed over."""
    row = Contact(
        operation=operation, made_on=now.date(), channel=ContactChannel.LETTER.value, result=ContactResult.SENT.value,
        reported=Reported.NOT_ASKED.value, note=LOGGED, recorded_by=by, recorded_at=now,
    )  # fmt: skip
    row.keep(by=by)
    return row


def qr_picture(address: str) -> str:
    """The address as a QR code (ISO/IEC 18004) in a picture that a page may carry in itself."""
    code = segno.make(address, error="m", micro=False)
    return code.svg_data_uri(scale=5, border=4, dark="#000", light="#fff")
