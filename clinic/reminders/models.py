"""Messages on their way to patients, and who approved their wording."""

from email.utils import make_msgid
from typing import ClassVar

from django.db import models
from django.db.models import Q

from clinic.access.constraints import one_of
from clinic.access.models import Member, Practice, random_key
from clinic.procedures.models import Operation
from clinic.reviews.models import Contact
from clinic.vocabulary.recall import MessageFault, MessageKind, MessageState
from clinic.vocabulary.schedule import ReviewCode


def fixed_message_id() -> str:
    """Random, and the same for every attempt, so that a repeat can be known as one."""
    return make_msgid(domain="follow-up.invalid")


class TextApproval(models.Model):
    """Somebody has read the messages as they will go out. Another wording needs another approval."""

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="text_approvals")
    digest = models.CharField(max_length=64)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return f"Approval {self.pk} of practice {self.practice_id}"


class Message(models.Model):
    """One message about one step of the ladder. It holds no address and no text: both are made when it is sent.

    state: changed only by one UPDATE that names the state before (clinic/reminders/sending.py). run: which run has it.
    """

    key = models.CharField(max_length=12, unique=True, default=random_key, editable=False)
    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="messages")
    point = models.CharField(max_length=20, choices=ReviewCode.choices)
    after_days = models.SmallIntegerField()
    kind = models.CharField(max_length=10, choices=MessageKind.choices)
    state = models.CharField(max_length=10, choices=MessageState.choices, default=MessageState.QUEUED)
    message_id = models.CharField(max_length=120, unique=True, default=fixed_message_id, editable=False)
    approved_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    queued_at = models.DateTimeField()
    not_before_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    run = models.CharField(max_length=12, blank=True, default="")
    fault = models.CharField(max_length=15, choices=MessageFault.choices, blank=True, default="")
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    contact = models.OneToOneField(Contact, on_delete=models.PROTECT, null=True, blank=True, related_name="message")

    class Meta:
        indexes: ClassVar = [models.Index(fields=["state", "not_before_at"])]
        constraints: ClassVar = [
            one_of("message", "state", MessageState),
            one_of("message", "kind", MessageKind),
            models.UniqueConstraint(fields=["operation", "point", "after_days"], name="message_once_per_step"),
            models.CheckConstraint(
                condition=~Q(state="sent") | Q(contact__isnull=False), name="message_sent_is_in_the_log"
            ),
        ]

    def __str__(self) -> str:
        return f"Message {self.key}"
