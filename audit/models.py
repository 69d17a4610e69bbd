"""The yearly audit of a practice: its year, its standards, what was agreed, what was signed, and figures kept ready."""

import zlib
from typing import ClassVar

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from audit.measures.standards import Direction
from audit.peers.models import Export, Membership, PeerGroup, PeerSet, Refusal, Remark, Taking, Topic
from clinic.access.models import Member, Practice, Versioned

# Django looks for models here; what belongs to the exchange stands with it.
PEERS = (Export, Membership, PeerGroup, PeerSet, Refusal, Remark, Taking, Topic)


def by_and_at(model: str, what: str) -> models.CheckConstraint:
    """Who and when stand together or not at all."""
    return models.CheckConstraint(
        condition=Q(**{f"{what}_by__isnull": True, f"{what}_at__isnull": True})
        | Q(**{f"{what}_by__isnull": False, f"{what}_at__isnull": False}),
        name=f"{model}_{what}_by_and_at",
    )


class OfPractice(models.QuerySet):
    def visible_to(self, member: Member) -> "OfPractice":
        return self.filter(practice_id=member.practice_id)


class AuditYear(Versioned):
    """One audit year in work. What is done or open is derived from these facts, never stored.

    as_of: the data cut-off. quality_open: how many obstacles were open when the lead read them. standards_digest: names
    the standards that were confirmed, so that a change of one opens the step again.
    """

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="audit_years")
    starting_year = models.PositiveSmallIntegerField()
    as_of = models.DateField()
    aim = models.TextField(max_length=1000, blank=True, default="")
    context = models.TextField(max_length=1000, blank=True, default="")
    interpretation = models.TextField(max_length=4000, blank=True, default="")
    limitations = models.TextField(max_length=2000, blank=True, default="")
    no_action_reason = models.CharField(max_length=300, blank=True, default="")
    quality_read_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    quality_read_at = models.DateTimeField(null=True, blank=True)
    quality_open = models.PositiveIntegerField(default=0)
    standards_confirmed_by = models.ForeignKey(
        Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    standards_confirmed_at = models.DateTimeField(null=True, blank=True)
    standards_digest = models.CharField(max_length=64, blank=True, default="")
    opened_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    history = HistoricalRecords()

    objects = OfPractice.as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["practice", "starting_year"], name="audit_year_once"),
            models.CheckConstraint(
                condition=Q(starting_year__gte=1900, starting_year__lte=2200), name="audit_year_range"
            ),
            by_and_at("audityear", "quality_read"),
            by_and_at("audityear", "standards_confirmed"),
        ]

    def __str__(self) -> str:
        return f"Audit year {self.starting_year}"


class PracticeStandard(Versioned):
    """What the practice expects of one criterion where it has not kept the shipped target.

    target: a share, 0 to 1, or a number of cases; none where the criterion is only watched.
    """

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="standards")
    code = models.CharField(max_length=5)
    direction = models.CharField(max_length=10, choices=[(each.value, each.value) for each in Direction])
    target = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    source = models.CharField(max_length=300)
    history = HistoricalRecords()

    objects = OfPractice.as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["practice", "code"], name="standard_once"),
            models.CheckConstraint(
                condition=Q(direction__in=[each.value for each in Direction]), name="standard_direction_known"
            ),
            models.CheckConstraint(
                condition=Q(direction=Direction.MONITOR.value, target__isnull=True)
                | (~Q(direction=Direction.MONITOR.value) & Q(target__isnull=False)),
                name="standard_target_unless_watched",
            ),
            models.CheckConstraint(
                condition=Q(target__isnull=True) | Q(target__gte=0, target__lte=99), name="standard_target_range"
            ),
            models.CheckConstraint(condition=~Q(source=""), name="standard_has_a_source"),
        ]

    def __str__(self) -> str:
        return f"Standard {self.code}"


class ActionState(models.TextChoices):
    OPEN = "open", "Open"
    DONE = "done", "Done"
    DROPPED = "dropped", "Given up"


class Action(Versioned):
    """What was agreed after an audit. It belongs to the year it was agreed in, and is carried over while it is open."""

    audit_year = models.ForeignKey(AuditYear, on_delete=models.PROTECT, related_name="actions")
    what = models.CharField(max_length=300)
    who = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="audit_actions")
    due_on = models.DateField()
    how_known = models.CharField(max_length=300)
    criterion = models.CharField(max_length=5, blank=True, default="")
    state = models.CharField(max_length=10, choices=ActionState.choices, default=ActionState.OPEN)
    closed_on = models.DateField(null=True, blank=True)
    outcome = models.CharField(max_length=300, blank=True, default="")
    agreed_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    agreed_at = models.DateTimeField()
    history = HistoricalRecords()

    class Meta:
        ordering = ("agreed_at", "pk")
        constraints: ClassVar = [
            models.CheckConstraint(condition=~Q(what="") & ~Q(how_known=""), name="action_says_what_and_how"),
            models.CheckConstraint(condition=Q(state__in=ActionState.values), name="action_state_known"),
            models.CheckConstraint(
                condition=Q(state=ActionState.OPEN, closed_on__isnull=True, outcome="")
                | (~Q(state=ActionState.OPEN) & Q(closed_on__isnull=False) & ~Q(outcome="")),
                name="action_closed_with_its_outcome",
            ),
        ]

    def __str__(self) -> str:
        return f"Action {self.key}"


class Snapshot(models.Model):
    """Data, definitions, program and figures of one moment, in canonical bytes. Never changed once written."""

    audit_year = models.ForeignKey(AuditYear, on_delete=models.PROTECT, related_name="snapshots")
    checksum = models.CharField(max_length=64)
    packed = models.BinaryField()
    bytes_unpacked = models.PositiveIntegerField()
    definitions_version = models.CharField(max_length=20)
    code_version = models.CharField(max_length=16)
    frozen_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["audit_year", "checksum"], name="snapshot_once"),
        ]

    def __str__(self) -> str:
        return f"Snapshot {self.checksum[:8]}"

    @property
    def body(self) -> bytes:
        """The canonical bytes that the checksum is of."""
        return zlib.decompress(bytes(self.packed))


class SignedAudit(models.Model):
    """A signature of the practice lead on a snapshot and the report made from it.

    Nothing of it is ever changed; opening the year again adds who, when and why, and a new signature gets a new number.
    """

    audit_year = models.ForeignKey(AuditYear, on_delete=models.PROTECT, related_name="signatures")
    number = models.PositiveSmallIntegerField()
    snapshot = models.ForeignKey(Snapshot, on_delete=models.PROTECT, related_name="signatures")
    signed_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()
    preliminary = models.BooleanField()
    html = models.TextField()
    pdf = models.BinaryField(null=True)
    pdf_checksum = models.CharField(max_length=64, blank=True, default="")
    reopened_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reopened_at = models.DateTimeField(null=True, blank=True)
    reopened_reason = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        ordering = ("number",)
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["audit_year", "number"], name="signature_number_once"),
            models.UniqueConstraint(
                fields=["audit_year"], condition=Q(reopened_at__isnull=True), name="signature_one_in_force"
            ),
            by_and_at("signedaudit", "reopened"),
            models.CheckConstraint(
                condition=Q(reopened_at__isnull=True, reopened_reason="")
                | (Q(reopened_at__isnull=False) & ~Q(reopened_reason="")),
                name="reopened_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"Signature {self.number}"


class ChangeNote(Versioned):
    """Something that was changed in the practice on a day, so that a shift of a chart can be read against it."""

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="change_notes")
    changed_on = models.DateField()
    what = models.CharField(max_length=120)
    noted_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    history = HistoricalRecords()

    objects = OfPractice.as_manager()

    class Meta:
        ordering = ("changed_on", "pk")
        constraints: ClassVar = [
            models.CheckConstraint(condition=~Q(what=""), name="change_note_says_what"),
        ]

    def __str__(self) -> str:
        return f"Change note {self.key}"


class StoredFigures(models.Model):
    """Figures kept ready for one question. They are shown only while records and program are those they came from."""

    practice = models.ForeignKey(Practice, on_delete=models.CASCADE, related_name="+")
    question = models.CharField(max_length=64)
    records = models.CharField(max_length=64)
    code_version = models.CharField(max_length=16)
    packed = models.BinaryField()
    counted_at = models.DateTimeField()
    seconds = models.FloatField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["practice", "question"], name="figures_once_per_question"),
        ]
        indexes: ClassVar = [models.Index(fields=["practice", "counted_at"])]

    def __str__(self) -> str:
        return f"Figures {self.question[:8]}"
