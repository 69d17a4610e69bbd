"""What happened in the room: the moments that were tapped, and the three phases of the checklist."""

from typing import ClassVar

from django.db import models
from simple_history.models import HistoricalRecords

from clinic.access.constraints import between, one_of
from clinic.access.models import Member, Versioned
from clinic.procedures.models import NailProcedure, Operation, PartOfRecord, TreatedSide
from clinic.vocabulary import theatre as words


class Mark(PartOfRecord, Versioned):
    """One moment, held by the server from the tap on.

    at: when it happened. received_at: when the server had it; later than `at` after a lost network.
    tap: the random name that the tapping device gave it, so that sending it again makes no second one.
    """

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="marks")
    nail_procedure = models.ForeignKey(
        NailProcedure, on_delete=models.PROTECT, null=True, blank=True, related_name="marks"
    )
    treated_side = models.ForeignKey(TreatedSide, on_delete=models.PROTECT, null=True, blank=True, related_name="marks")
    kind = models.CharField(max_length=20, choices=words.MarkKind.choices)
    number = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Of an application at its side.")
    at = models.DateTimeField()
    received_at = models.DateTimeField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    tap = models.CharField(max_length=40, unique=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ("at", "pk")
        constraints: ClassVar = [one_of("mark", "kind", words.MarkKind), between("mark", "number", 1, 20)]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.key}"

    def operation_pk(self) -> int | None:
        return self.operation_id


class ChecklistPhase(PartOfRecord, Versioned):
    """One phase gone through: by whom, when, at the time or afterwards."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="checklist")
    phase = models.CharField(max_length=20, choices=words.Phase.choices)
    timing = models.CharField(max_length=12, choices=words.PhaseTiming.choices)
    completed_at = models.DateTimeField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    second_initials = models.CharField(max_length=10)
    note = models.CharField(max_length=500, blank=True, default="")
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["operation", "phase"], name="phase_once_per_operation"),
            one_of("phase", "phase", words.Phase),
            one_of("phase", "timing", words.PhaseTiming),
        ]

    def __str__(self) -> str:
        return self.get_phase_display()

    def operation_pk(self) -> int | None:
        return self.operation_id


class CheckedItem(PartOfRecord):
    """The answer to one line, with the wording as it stood on that day."""

    phase = models.ForeignKey(ChecklistPhase, on_delete=models.PROTECT, related_name="items")
    code = models.CharField(max_length=20)
    wording = models.CharField(max_length=200)
    answer = models.CharField(max_length=15, choices=words.CheckAnswer.choices)
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["phase", "code"], name="item_once_per_phase"),
            one_of("checkeditem", "answer", words.CheckAnswer),
        ]

    def __str__(self) -> str:
        return self.code

    def operation_pk(self) -> int | None:
        return self.phase.operation_id
