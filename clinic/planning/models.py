"""How the practice follows its patients up: its schedules, its ladder of tries, and the plan of each operation."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import between
from clinic.access.models import Practice, Versioned
from clinic.planning.defaults import CLOSE_AFTER_DAYS, LINK_DAYS, TRIES, first_ladder
from clinic.planning.phone import dialled
from clinic.procedures.models import Operation
from clinic.schedule import TWELVE_MONTHS


class FollowUp(Versioned):
    """Settings of one practice; its history says who changed them, when and why.

    templates: lists of review rows by technique, "common" for every other one (clinic/schedule.py).
    longest_days: when the last window closes of any schedule that was ever in force here.
    ladder: the tries of one review, oldest first: after_days from the target day, way, with_link.
    phone, out_of_hours, sender: as patients read them.
    """

    practice = models.OneToOneField(Practice, on_delete=models.PROTECT, related_name="follow_up")
    templates = models.JSONField(default=dict, blank=True)
    longest_days = models.PositiveSmallIntegerField(default=TWELVE_MONTHS.closes_day, editable=False)
    ladder = models.JSONField(default=first_ladder)
    tries = models.PositiveSmallIntegerField(default=TRIES)
    close_after_days = models.PositiveSmallIntegerField(default=CLOSE_AFTER_DAYS)
    link_days = models.PositiveSmallIntegerField(default=LINK_DAYS)
    phone = models.CharField(max_length=40, blank=True, default="")
    out_of_hours = models.CharField(max_length=200, blank=True, default="")
    sender = models.CharField(max_length=60, blank=True, default="")
    sends_email = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            between("followup", "tries", 1, 10),
            between("followup", "close_after_days", 1, 400),
            between("followup", "link_days", 1, 60),
            models.CheckConstraint(condition=Q(sends_email=False) | ~Q(phone=""), name="followup_email_gives_a_phone"),
        ]

    def __str__(self) -> str:
        return f"Follow-up of practice {self.practice_id}"

    @property
    def dials(self) -> str:
        return dialled(self.phone)

    @property
    def shown_sender(self) -> str:
        return self.sender or self.practice.name


class PlannedSchedule(Versioned):
    """The review schedule of one operation, copied on signing so that a later template leaves it as it is."""

    operation = models.OneToOneField(Operation, on_delete=models.PROTECT, related_name="planned")
    rows = models.JSONField()
    planned_at = models.DateTimeField()
    history = HistoricalRecords()

    def __str__(self) -> str:
        return f"Schedule of operation {self.operation_id}"


def follow_up_of(practice: Practice) -> FollowUp:
    """The practice's settings; the shipped ones, not stored yet, where nobody has changed any."""
    return getattr(practice, "follow_up", None) or FollowUp(practice=practice)
