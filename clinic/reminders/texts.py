"""What messages say: who asks, whom to call, and nothing of health. The subject is the same for everybody."""

import hashlib
from dataclasses import dataclass

from clinic.planning.models import FollowUp
from clinic.vocabulary.recall import MessageKind

SUBJECT = "Please get in touch"
STOP = "If you do not want such messages, tell us and we will stop."
INVITATION = """Hello,

{sender} would like to see you. Please call us{on_phone} to choose a time.

{stop}

{sender}{phone_line}
"""
LINK = """Hello,

{sender} would like to know how you are. It takes about one minute:

{address}

This link works once, until {until}. Please do not pass it on.
If you would rather talk to us, call us{on_phone}.

{stop}

{sender}{phone_line}
"""
TEXTS = {MessageKind.INVITATION: INVITATION, MessageKind.LINK: LINK}
EXAMPLE_ADDRESS, EXAMPLE_DAY = "(the patient's link)", "(the last day)"


@dataclass(frozen=True)
class Written:
    subject: str
    body: str


def written(kind: str, settings: FollowUp, *, address: str = EXAMPLE_ADDRESS, until: str = EXAMPLE_DAY) -> Written:
    """One message; with the examples, as the page shows it before the first sending."""
    phone = settings.phone
    parts = {"sender": settings.shown_sender, "stop": STOP, "address": address, "until": until}
    parts |= {"on_phone": f" on {phone}" if phone else "", "phone_line": f"\n{phone}" if phone else ""}
    return Written(SUBJECT, TEXTS[MessageKind(kind)].format(**parts))


def digest_of(settings: FollowUp) -> str:
    """Of everything a patient could read, so that a changed word or number asks for another look."""
    texts = [written(kind, settings) for kind in MessageKind]
    return hashlib.sha256("\0".join(f"{text.subject}\0{text.body}" for text in texts).encode()).hexdigest()
