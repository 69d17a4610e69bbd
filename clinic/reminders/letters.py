"""One message as it leaves, with the link in it."""

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.core.mail import EmailMessage

from clinic.planning.models import follow_up_of
from clinic.recall.queries import Followed
from clinic.reminders.models import Message
from clinic.reminders.queueing import kind_of
from clinic.reminders.texts import written
from clinic.reports.links import ABOUT, address_of, last_day, make_link, new_token, open_links, take_back
from clinic.reports.models import ReportLink
from clinic.reports.wording import long_day
from clinic.vocabulary.recall import MessageKind


@dataclass
class Letter:
    """A message as it leaves. token: of the link in it, made when the text leaves, in place of `replaced`."""

    mail: EmailMessage
    token: str = ""
    days: int = 0
    link: ReportLink | None = None
    replaced: ReportLink | None = None

    def make_link(self, message: Message, now: datetime) -> None:
        """Not before: as long as nothing has left, the link that was printed is the patient's."""
        if self.token:
            self.replaced = open_links(message.operation).first()
            self.link, _ = make_link(
                by=message.approved_by, operation=message.operation, about=ABOUT[message.point].value, now=now,
                days=self.days, token=self.token,
            )  # fmt: skip

    def take_back_link(self, message: Message, now: datetime) -> None:
        if self.link:
            take_back(by=message.approved_by, link=self.link, replaced=self.replaced, now=now)


def letter_of(message: Message, row: Followed, now: datetime) -> Letter:
    """The message as it leaves. The token of its link is kept nowhere, not even in the queue."""
    about = follow_up_of(message.operation.practice)
    kind, parts, token = kind_of(row), {}, ""
    if kind == MessageKind.LINK:
        token = new_token()
        parts = {"address": address_of(token), "until": long_day(last_day(now, about.link_days))}
    text = written(kind, about, **parts)
    headers = {"Message-ID": message.message_id, "Auto-Submitted": "auto-generated"}
    sender, to = settings.DEFAULT_FROM_EMAIL, [row.identity.email]
    return Letter(EmailMessage(text.subject, text.body, sender, to, headers=headers), token, about.link_days)
