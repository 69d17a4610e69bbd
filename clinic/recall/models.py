"""Closing the chase of an operation as lost, and the calendar addresses of members."""

from typing import ClassVar

from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import one_of
from clinic.access.models import Member, Versioned
from clinic.procedures.models import Operation
from clinic.reviews.models import Contact, Review
from clinic.vocabulary.review import ContactResult, LossReason


class ClosureQuerySet(models.QuerySet["Closure"]):
    def standing(self) -> "ClosureQuerySet":
        """Not opened again, and the patient was neither seen nor booked since."""
        seen = Review.objects.counting().filter(operation=OuterRef("operation"), seen_on__gt=OuterRef("closed_on"))
        booked = Contact.objects.filter(
            operation=OuterRef("operation"), result=ContactResult.BOOKED, struck_at__isnull=True,
            recorded_at__gt=OuterRef("closed_at"),
        )  # fmt: skip
        return self.filter(~Exists(seen), ~Exists(booked), reopened_on__isnull=True)


class Closure(Versioned):
    """Nobody is tried any more, for a coded reason. What is seen afterwards still counts."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="closures")
    reason = models.CharField(max_length=15, choices=LossReason.choices)
    note = models.CharField(max_length=200, blank=True, default="")
    closed_on = models.DateField()
    closed_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField()
    reopened_on = models.DateField(null=True, blank=True)
    reopened_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    history = HistoricalRecords()

    objects = ClosureQuerySet.as_manager()

    class Meta:
        constraints: ClassVar = [
            one_of("closure", "reason", LossReason),
            models.UniqueConstraint(
                fields=["operation"], condition=Q(reopened_on__isnull=True), name="one_open_closure_per_operation"
            ),
            models.CheckConstraint(
                condition=Q(reopened_on__isnull=True) | Q(reopened_on__gte=F("closed_on")), name="reopened_after_closed"
            ),
            models.CheckConstraint(
                condition=Q(reopened_on__isnull=True, reopened_by__isnull=True)
                | Q(reopened_on__isnull=False, reopened_by__isnull=False),
                name="closure_reopened_by_and_on",
            ),
        ]

    def __str__(self) -> str:
        return f"Closure {self.key}"


class CalendarAddress(models.Model):
    """The secret address of one member's calendar. Only a digest is kept: the address is shown once."""

    member = models.OneToOneField(Member, on_delete=models.CASCADE, related_name="calendar_address")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"Calendar address of member {self.member_id}"
