"""Handing messages over, so that none is sent twice and none is lost in silence.

A message moves queued -> claimed -> handing -> sent, each step one committed UPDATE that names the step before, so two
runs cannot hold one message. Until "handing" nothing has left: after a crash it goes back into the queue. "Handing" is
committed just before the text leaves. If the run dies between that and the server's answer, nobody can know whether
the server has it (RFC 5321, 4.5.4.1 and 6.1): it is then never sent again by itself, and a person decides.
"""

import logging
import smtplib
from collections import Counter
from collections.abc import Callable
from datetime import datetime, timedelta

from django.core.mail import get_connection
from django.db import transaction
from django.utils import timezone

from clinic.access.models import Member, Practice, random_key
from clinic.planning.models import follow_up_of
from clinic.procedures.models import Operation
from clinic.recall.queries import Followed, named_rows
from clinic.recall.recording import log_contact
from clinic.reminders.letters import Letter, letter_of
from clinic.reminders.models import Message
from clinic.reminders.queueing import approval_of, wants_message
from clinic.vocabulary.recall import MessageFault, MessageState
from clinic.vocabulary.review import ContactChannel, ContactResult

logger = logging.getLogger("clinic.reminders")
MOST_ATTEMPTS = 5
FIRST_WAIT = timedelta(minutes=10)
QUEUED, CLAIMED, HANDING = MessageState.QUEUED, MessageState.CLAIMED, MessageState.HANDING
Clock = Callable[[], datetime]


class Moved(Exception):
    """Another run has taken the message over."""


def moved(message: Message, before: tuple[str, ...], after: str, **values: object) -> bool:
    """One UPDATE from one state to the next; False if somebody else was there first."""
    own = Message.objects.filter(pk=message.pk, state__in=before, run=message.run)
    if not own.update(state=after, **values):
        return False
    message.state = after
    for name, value in values.items():
        setattr(message, name, value)
    return True


def recover(run: str, now: datetime) -> Counter[str]:
    """After a crash: what had not left goes back into the queue, what may have left waits for a person.

    Only for a run that knows that no other one is alive (the command holds a lock that dies with its process).
    """
    left = Message.objects.exclude(run=run)
    back = left.filter(state=CLAIMED).update(state=QUEUED, run="")
    unclear = left.filter(state=HANDING).update(
        state=MessageState.UNCLEAR, fault=MessageFault.NO_ANSWER, settled_at=now
    )
    return Counter(put_back=back, unclear=unclear)


def send_queued(clock: Clock) -> Counter[str]:
    """Send what waits, one after another, over one connection. Stops where the mail server cannot be reached."""
    run = random_key()
    done = recover(run, clock())
    waiting = Message.objects.filter(state=QUEUED, not_before_at__lte=clock()).order_by("queued_at", "pk")
    mail = get_connection()
    try:
        for message in list(waiting.select_related("operation__practice__follow_up", "approved_by")):
            outcome = _send_or_stop(message, run, mail, clock)
            done[outcome] += 1
            if outcome == MessageFault.UNREACHABLE:
                break
    finally:
        _hang_up(mail)
    logger.info("messages", extra={"fields": {str(name): count for name, count in done.items()}})
    return done


def _send_or_stop(message: Message, run: str, mail: object, clock: Clock) -> str:
    """The same as `_send`; what nobody foresaw stops this message and no other, and waits for a person."""
    try:
        return _send(message, run, mail, clock)
    except Exception as fault:
        logger.error("message stopped", extra={"fields": {"exception": type(fault).__name__}})
    _hang_up(mail)
    stopped = {"fault": MessageFault.BROKEN, "settled_at": clock()}
    if moved(message, (CLAIMED,), MessageState.FAILED, **stopped):
        return MessageState.FAILED
    return MessageState.UNCLEAR if moved(message, (HANDING,), MessageState.UNCLEAR, **stopped) else "taken"


def _send(message: Message, run: str, mail: object, clock: Clock) -> str:
    """What became of one message: a state, or the fault for which it waits."""
    if not Message.objects.filter(pk=message.pk, state=QUEUED).update(state=CLAIMED, run=run):
        return "taken"
    message.run, message.state = run, CLAIMED
    row = _still_wanted(message, clock())
    if row is None or row.identity is None:
        moved(message, (CLAIMED,), MessageState.DROPPED, fault=MessageFault.NOT_WANTED, settled_at=clock())
        return MessageState.DROPPED
    if not row.identity.email:
        moved(message, (CLAIMED,), MessageState.DROPPED, fault=MessageFault.NO_ADDRESS, settled_at=clock())
        return MessageState.DROPPED
    try:
        mail.open()  # type: ignore[attr-defined]
    except (OSError, smtplib.SMTPException):
        # The server's fault, not the message's: it keeps its attempts and its place.
        moved(message, (CLAIMED,), QUEUED, fault=MessageFault.UNREACHABLE)
        return MessageFault.UNREACHABLE
    return _hand_over(message, letter_of(message, row, clock()), mail, clock)


def _still_wanted(message: Message, now: datetime) -> Followed | None:
    """The operation as it stands now, if its ladder still asks for this very message and e-mail is still on."""
    practice = Practice.objects.select_related("follow_up").get(pk=message.operation.practice_id)
    message.operation.practice, local = practice, timezone.localtime(now)
    if not follow_up_of(practice).sends_email or approval_of(practice, follow_up_of(practice)) is None:
        return None
    own = Operation.objects.filter(pk=message.operation_id).standing()
    row = next(iter(named_rows(own, practice, today=local.date(), now=now)), None)
    if row is None or not wants_message(row, local.date()):
        return None
    same = row.point and row.next and row.next.step
    return row if same and (row.point.code, row.next.step.after_days) == (message.point, message.after_days) else None


def _hand_over(message: Message, letter: Letter, mail: object, clock: Clock) -> str:
    text_left = False

    def before_text() -> None:
        nonlocal text_left
        with transaction.atomic():
            if not moved(message, (CLAIMED,), HANDING):
                raise Moved(message.key)
            letter.make_link(message, clock())
        text_left = True

    connection = getattr(mail, "connection", None)
    if hasattr(connection, "before_text"):
        connection.before_text = before_text
    else:
        before_text()  # the console and other backends cannot say when the text leaves
    try:
        mail.send_messages([letter.mail])  # type: ignore[attr-defined]
    except Moved:
        _hang_up(mail)
        return "taken"
    except ValueError:  # an address that no header can carry
        moved(message, (CLAIMED, HANDING), MessageState.FAILED, fault=MessageFault.REFUSED, settled_at=clock())
        letter.take_back_link(message, clock())
        return MessageState.FAILED
    except (smtplib.SMTPException, OSError) as fault:
        _hang_up(mail)
        outcome = _not_sent(message, fault, text_left=text_left, now=clock())
        if outcome != MessageState.UNCLEAR:
            letter.take_back_link(message, clock())
        return outcome
    try:
        return _sent(message, clock())
    except Moved:  # a person found out before us that it arrived
        return "taken"


def _not_sent(message: Message, fault: Exception, *, text_left: bool, now: datetime) -> str:
    """A server that answers has not taken it; one that does not answer to the text may have."""
    code = _answered(fault)
    if code is None and text_left:
        moved(message, (HANDING,), MessageState.UNCLEAR, fault=MessageFault.NO_ANSWER, settled_at=now)
        return MessageState.UNCLEAR
    if code is not None and code >= 500:
        moved(message, (CLAIMED, HANDING), MessageState.FAILED, fault=MessageFault.REFUSED, settled_at=now)
        return MessageState.FAILED
    return _wait(message, MessageFault.LATER if code else MessageFault.UNREACHABLE, now)


def _answered(fault: Exception) -> int | None:
    """The server's answer; None where there was none."""
    if isinstance(fault, smtplib.SMTPRecipientsRefused):
        return max((code for code, _ in fault.recipients.values()), default=None)
    return fault.smtp_code if isinstance(fault, smtplib.SMTPResponseException) and fault.smtp_code > 0 else None


def _wait(message: Message, fault: MessageFault, now: datetime) -> str:
    """Back into the queue with a wait that doubles; after the last attempt a person has to look."""
    attempts = message.attempts + 1
    if attempts >= MOST_ATTEMPTS:
        moved(
            message, (CLAIMED, HANDING), MessageState.FAILED, attempts=attempts, fault=fault, settled_at=now
        )  # fmt: skip
        return MessageState.FAILED
    wait = FIRST_WAIT * 2 ** (attempts - 1)
    moved(message, (CLAIMED, HANDING), QUEUED, attempts=attempts, fault=fault, not_before_at=now + wait)
    return fault


@transaction.atomic
def _sent(message: Message, now: datetime, *, by: Member | None = None) -> str:
    """Sent, and in the log as a try, in one transaction; raises Moved where it is so already.

    by: the person who says so of an unclear one. Without, the mail server has taken it: whatever a person or another
    run decided meanwhile, it has left.
    """
    answers = {"channel": ContactChannel.EMAIL.value, "result": ContactResult.SENT.value}
    row = log_contact(
        by=by or message.approved_by, operation=message.operation, answers=answers, now=timezone.localtime(now),
        another=True,
    )  # fmt: skip
    own = Message.objects.filter(pk=message.pk)
    own = own.filter(state=MessageState.UNCLEAR, run=message.run) if by else own.exclude(state=MessageState.SENT)
    values = {"settled_at": now, "settled_by": by, "contact": row, "fault": "", "run": message.run}
    if not own.update(state=MessageState.SENT, **values):
        raise Moved(message.key)
    return MessageState.SENT


def _hang_up(mail: object) -> None:
    try:
        mail.close()  # type: ignore[attr-defined]
    except (smtplib.SMTPException, OSError):
        logger.info("mail connection was gone already")


# --- what a person decides


def say_it_arrived(*, by: Member, message: Message, now: datetime) -> None:
    """The mail server's own log shows it. Raises Moved if somebody decided meanwhile."""
    _sent(message, now, by=by)


def send_again(*, by: Member, message: Message, now: datetime) -> bool:
    """Back into the queue, under the same Message-ID. False if somebody decided meanwhile."""
    again = {"attempts": 0, "not_before_at": now, "settled_at": None, "settled_by": by, "fault": "", "run": ""}
    return moved(message, (MessageState.UNCLEAR, MessageState.FAILED), QUEUED, **again)


def drop(*, by: Member, message: Message, now: datetime) -> bool:
    """Not sent, and not to be sent. False if it left or somebody decided meanwhile."""
    open_states = (QUEUED, MessageState.UNCLEAR, MessageState.FAILED)
    return moved(message, open_states, MessageState.DROPPED, settled_at=now, settled_by=by)
