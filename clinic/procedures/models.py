"""Operation (one attendance), nail procedure (one toe), treated side (the unit of the audit), applications."""

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import Exists, OuterRef, Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import between, one_of
from clinic.access.models import Member, Practice, Strikable, Versioned
from clinic.patients.models import Patient
from clinic.practice.models import OperationTemplate
from clinic.vocabulary import procedure as words
from clinic.vocabulary import theatre as room


class OperationQuerySet(models.QuerySet["Operation"]):
    def visible_to(self, member: Member) -> "OperationQuerySet":
        return self.filter(practice_id=member.practice_id)

    def standing(self) -> "OperationQuerySet":
        """Not struck out."""
        return self.filter(struck_at__isnull=True)

    def performed_between(self, first: date, last: date) -> "OperationQuerySet":
        return self.filter(performed_on__gte=first, performed_on__lte=last)


class SignedRecord(Exception):
    """The operation is signed; only an amendment with a reason may change it."""


class PartOfRecord(models.Model):
    """A row of an operation's record: sealed once the operation is signed. The database refuses the same on its own."""

    class Meta:
        abstract = True

    def save(self, *args, **kwargs) -> None:
        refuse_if_signed(self.operation_pk())
        super().save(*args, **kwargs)

    def delete(self, *args, **kwargs):
        refuse_if_signed(self.operation_pk())
        return super().delete(*args, **kwargs)

    def save_version(self, **kwargs) -> None:
        refuse_if_signed(self.operation_pk())  # before the version is claimed
        super().save_version(**kwargs)

    def operation_pk(self) -> int | None:
        raise NotImplementedError


def refuse_if_signed(operation_pk: int | None) -> None:
    """Raises SignedRecord unless the stored operation is unsigned or an amendment of it is open."""
    open_amendment = Amendment.objects.filter(operation=OuterRef("pk"), closed_at__isnull=True)
    signed = Operation.objects.filter(~Exists(open_amendment), pk=operation_pk, signed_at__isnull=False)
    if operation_pk and signed.exists():
        raise SignedRecord(operation_pk)


def signed_by_somebody(what: str) -> models.CheckConstraint:
    """Who and when stand together or not at all."""
    return models.CheckConstraint(
        condition=Q(**{f"{what}_by__isnull": True, f"{what}_at__isnull": True})
        | Q(**{f"{what}_by__isnull": False, f"{what}_at__isnull": False}),
        name=f"operation_{what}_by_and_at",
    )


class Operation(PartOfRecord, Strikable):
    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="operations")
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="operations")
    performed_on = models.DateField()
    operator = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="operations")
    supervisor = models.ForeignKey(
        Member, on_delete=models.PROTECT, null=True, blank=True, related_name="supervised_operations"
    )
    age_years = models.PositiveSmallIntegerField(null=True, blank=True)
    weight_kg = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    consent_given_by = models.CharField(
        max_length=15, choices=words.ConsentGiver.choices, default=words.ConsentGiver.NOT_RECORDED
    )
    assistant = models.ForeignKey(
        Member, on_delete=models.PROTECT, null=True, blank=True, related_name="assisted_operations"
    )
    dressing = models.CharField(max_length=15, choices=room.Dressing.choices, default=room.Dressing.NOT_RECORDED)
    outer_dressing = models.CharField(
        max_length=15, choices=room.OuterDressing.choices, default=room.OuterDressing.NOT_RECORDED
    )
    aftercare = models.CharField(max_length=15, choices=room.Aftercare.choices, default=room.Aftercare.NOT_RECORDED)
    aftercare_sheet = models.CharField(max_length=60, blank=True, default="", help_text="Name and version.")
    template = models.ForeignKey(
        OperationTemplate, on_delete=models.PROTECT, null=True, blank=True, related_name="operations"
    )
    note = models.TextField(max_length=2000, blank=True, default="")
    recorded_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    signed_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    signed_at = models.DateTimeField(null=True, blank=True)
    cosigned_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    cosigned_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    objects = OperationQuerySet.as_manager()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["practice", "performed_on"])]
        constraints: ClassVar = [
            one_of("operation", "consent_given_by", words.ConsentGiver),
            one_of("operation", "dressing", room.Dressing),
            one_of("operation", "outer_dressing", room.OuterDressing),
            one_of("operation", "aftercare", room.Aftercare),
            between("operation", "age_years", 0, 120),
            between("operation", "weight_kg", 5, 300),
            models.CheckConstraint(condition=Q(performed_on__gte=date(1900, 1, 1)), name="operation_not_before_1900"),
            signed_by_somebody("signed"),
            signed_by_somebody("cosigned"),
        ]

    def __str__(self) -> str:
        return f"Operation {self.key}"

    def operation_pk(self) -> int | None:
        return self.pk

    @property
    def awaits_cosignature(self) -> bool:
        """Signed by a trainee whose supervisor has not signed yet."""
        return bool(self.signed_at and self.supervisor_id and not self.cosigned_at)


class Amendment(models.Model):
    """A signed record opened for one change and closed again in the same transaction. Never changed once closed."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="amendments")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=15, choices=words.AmendmentKind.choices)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    happened_at = models.DateTimeField(null=True, blank=True, help_text="Of a late entry: when it happened.")
    reason = models.CharField(max_length=200)
    site_changed = models.BooleanField(default=False)
    seen_by_lead = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    seen_by_lead_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("number",)
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["operation", "number"], name="amendment_number_once"),
            one_of("amendment", "kind", words.AmendmentKind),
            models.CheckConstraint(condition=~Q(reason=""), name="amendment_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}"


class NailProcedure(PartOfRecord, Versioned):
    """What was done to one toe."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="nail_procedures")
    foot = models.CharField(max_length=5, choices=words.Foot.choices)
    toe = models.PositiveSmallIntegerField()
    technique = models.CharField(max_length=20, choices=words.Technique.choices)
    matrix_destroyed = models.BooleanField()
    agent = models.CharField(max_length=20, choices=words.Agent.choices)
    strength_percent = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    strength_basis = models.CharField(max_length=15, choices=words.StrengthBasis.choices)
    curettage = models.CharField(max_length=15, choices=words.Curettage.choices, default=words.Curettage.NOT_RECORDED)
    lavage = models.CharField(max_length=15, choices=words.Lavage.choices, default=words.Lavage.NOT_RECORDED)
    infection_before = models.CharField(
        max_length=15, choices=words.LocalInfection.choices, default=words.LocalInfection.NOT_RECORDED
    )
    prior_surgery_same_side = models.CharField(
        max_length=15, choices=words.Answer.choices, default=words.Answer.NOT_RECORDED
    )
    stage_system = models.CharField(max_length=15, choices=words.StageSystem.choices, default=words.StageSystem.NONE)
    stage = models.CharField(max_length=4, blank=True, default="")
    tourniquet = models.CharField(
        max_length=15, choices=words.Tourniquet.choices, default=words.Tourniquet.NOT_RECORDED
    )
    tourniquet_on_at = models.DateTimeField(null=True, blank=True)
    tourniquet_off_at = models.DateTimeField(null=True, blank=True)
    tourniquet_removal_witnessed = models.CharField(
        max_length=15, choices=words.Answer.choices, default=words.Answer.NOT_RECORDED
    )
    removal_seen_by = models.CharField(
        max_length=60, blank=True, default="", help_text="Initials of the second person, or the patient or carer."
    )
    toe_colour = models.CharField(max_length=15, choices=room.ToeColour.choices, default=room.ToeColour.NOT_RECORDED)
    capillary_refill_seconds = models.DecimalField(max_digits=3, decimal_places=1, null=True, blank=True)
    block_result = models.CharField(
        max_length=15, choices=room.BlockResult.choices, default=room.BlockResult.NOT_RECORDED
    )
    agent_batch = models.CharField(max_length=30, blank=True, default="")
    agent_expires_on = models.DateField(null=True, blank=True)
    skin_protected = models.CharField(max_length=15, choices=words.Answer.choices, default=words.Answer.NOT_RECORDED)
    dry_field = models.CharField(max_length=15, choices=words.Answer.choices, default=words.Answer.NOT_RECORDED)
    lavage_ml = models.PositiveSmallIntegerField(null=True, blank=True)
    haemostasis = models.CharField(
        max_length=15, choices=room.Haemostasis.choices, default=room.Haemostasis.NOT_RECORDED
    )
    histology_sent = models.CharField(max_length=15, choices=words.Answer.choices, default=words.Answer.NOT_RECORDED)
    amputated_on = models.DateField(null=True, blank=True, help_text="The toe was amputated later; nothing can grow.")
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["operation", "foot", "toe"], name="toe_once_per_operation"),
            one_of("nail", "foot", words.Foot),
            between("nail", "toe", 1, 5),
            one_of("nail", "technique", words.Technique),
            one_of("nail", "agent", words.Agent),
            one_of("nail", "strength_basis", words.StrengthBasis),
            between("nail", "strength_percent", 0.1, 100),
            one_of("nail", "curettage", words.Curettage),
            one_of("nail", "lavage", words.Lavage),
            one_of("nail", "infection_before", words.LocalInfection),
            one_of("nail", "prior_surgery_same_side", words.Answer),
            one_of("nail", "stage_system", words.StageSystem),
            one_of("nail", "tourniquet", words.Tourniquet),
            one_of("nail", "tourniquet_removal_witnessed", words.Answer),
            one_of("nail", "toe_colour", room.ToeColour),
            one_of("nail", "block_result", room.BlockResult),
            one_of("nail", "skin_protected", words.Answer),
            one_of("nail", "dry_field", words.Answer),
            one_of("nail", "haemostasis", room.Haemostasis),
            one_of("nail", "histology_sent", words.Answer),
            between("nail", "capillary_refill_seconds", 0, 30),
            between("nail", "lavage_ml", 0, 100),
            models.CheckConstraint(
                condition=Q(tourniquet_off_at__isnull=True)
                | Q(tourniquet_on_at__isnull=True)
                | Q(tourniquet_off_at__gte=models.F("tourniquet_on_at")),
                name="tourniquet_off_after_on",
            ),
            models.CheckConstraint(
                condition=~Q(technique__in=["pna_chemical", "tna_chemical", "combined"]) | ~Q(agent="none"),
                name="chemical_technique_has_agent",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_foot_display()}, toe {self.toe}"

    def operation_pk(self) -> int | None:
        return self.operation_id

    @property
    def sides(self) -> list[str]:
        """Codes of the treated sides, tibial first; reads what was fetched."""
        return sorted((treated.side for treated in self.treated_sides.all()), key=words.NailSide.codes().index)


class TreatedSide(PartOfRecord, Versioned):
    """One nail edge, or the whole nail. `revises` names the earlier side when this is a re-operation."""

    nail_procedure = models.ForeignKey(NailProcedure, on_delete=models.PROTECT, related_name="treated_sides")
    side = models.CharField(max_length=10, choices=words.NailSide.choices)
    stated_exposure_seconds = models.PositiveIntegerField(
        null=True, blank=True, help_text="Only the total is known, not the single applications."
    )
    revises = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="revised_by")
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["nail_procedure", "side"], name="side_once_per_nail"),
            one_of("treated", "side", words.NailSide),
            between("treated", "stated_exposure_seconds", 1, 3600),
        ]

    def __str__(self) -> str:
        return self.get_side_display()

    def operation_pk(self) -> int | None:
        return self.nail_procedure.operation_id

    @property
    def exposure_seconds(self) -> int | None:
        """Sum of the applications, else the stated total; None where neither was recorded."""
        seconds = [application.seconds for application in self.applications.all()]
        return sum(seconds) if seconds else self.stated_exposure_seconds


class Application(PartOfRecord):
    """One contact of the agent with the matrix of one side."""

    treated_side = models.ForeignKey(TreatedSide, on_delete=models.PROTECT, related_name="applications")
    number = models.PositiveSmallIntegerField()
    seconds = models.PositiveSmallIntegerField()
    history = HistoricalRecords()

    class Meta:
        ordering = ("number",)
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["treated_side", "number"], name="application_number_once"),
            between("application", "number", 1, 20),
            between("application", "seconds", 1, 600),
        ]

    def __str__(self) -> str:
        return f"{self.seconds} s"

    def operation_pk(self) -> int | None:
        return self.treated_side.nail_procedure.operation_id


class AnaestheticDose(PartOfRecord):
    """One injection or top-up at one toe; four injection sites of one block are one row."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="doses")
    nail_procedure = models.ForeignKey(
        NailProcedure, on_delete=models.PROTECT, null=True, blank=True, related_name="doses"
    )
    given_at = models.DateTimeField(null=True, blank=True)
    route = models.CharField(max_length=15, choices=room.Route.choices, default=room.Route.NOT_RECORDED)
    agent = models.CharField(max_length=20, choices=words.Anaesthetic.choices)
    strength_percent = models.DecimalField(max_digits=4, decimal_places=2)
    vasoconstrictor = models.CharField(
        max_length=15, choices=words.Vasoconstrictor.choices, default=words.Vasoconstrictor.NOT_RECORDED
    )
    volume_ml = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    batch = models.CharField(max_length=30, blank=True, default="")
    expires_on = models.DateField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            one_of("dose", "agent", words.Anaesthetic),
            one_of("dose", "route", room.Route),
            one_of("dose", "vasoconstrictor", words.Vasoconstrictor),
            between("dose", "strength_percent", 0.1, 5),
            between("dose", "volume_ml", 0.1, 20),
        ]

    def __str__(self) -> str:
        return f"{self.get_agent_display()} {self.strength_percent} %"

    def operation_pk(self) -> int | None:
        return self.operation_id


class OperationEvent(PartOfRecord):
    """Something that went, or nearly went, wrong; at the operation or found later."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="events")
    nail_procedure = models.ForeignKey(NailProcedure, on_delete=models.PROTECT, null=True, blank=True)
    kind = models.CharField(max_length=20, choices=words.EventKind.choices)
    harm = models.CharField(max_length=10, choices=words.Harm.choices)
    happened_on = models.DateField()
    candour_completed_on = models.DateField(null=True, blank=True)
    note = models.TextField(max_length=2000, blank=True, default="")
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            one_of("event", "kind", words.EventKind),
            one_of("event", "harm", words.Harm),
        ]

    def __str__(self) -> str:
        return self.get_kind_display()

    def operation_pk(self) -> int | None:
        return self.operation_id
