"""What is recorded before an operation: the assessment with its findings per foot and toe, flags decided, consents."""

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import F, Prefetch, Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import between, one_of
from clinic.access.models import Member, Strikable
from clinic.patients.models import Patient
from clinic.vocabulary import preparation as words
from clinic.vocabulary.procedure import Answer, ConsentGiver, Foot, LocalInfection
from clinic.vocabulary.sites import NailPart
from clinic.vocabulary.terms import Term

NOT_BEFORE = date(1900, 1, 1)


class OfPatientQuerySet(models.QuerySet):
    def visible_to(self, member: Member):
        return self.filter(patient__practice_id=member.practice_id)

    def standing(self):
        """Not struck out."""
        return self.filter(struck_at__isnull=True)


class AssessmentQuerySet(OfPatientQuerySet):
    def with_parts(self):
        """Everything that words and flags are made of."""
        decisions = FlagDecision.objects.select_related("decided_by").order_by("decided_at", "pk")
        return self.select_related("patient__identity", "assessed_by", "recorded_by").prefetch_related(
            "feet", "toes", "items", Prefetch("decisions", decisions)
        )


class ConsentQuerySet(OfPatientQuerySet):
    def valid_on(self, day: date):
        """Given by that day, neither withdrawn by then nor entered by mistake."""
        not_withdrawn = Q(withdrawn_on__isnull=True) | Q(withdrawn_on__gt=day)
        return self.standing().filter(not_withdrawn, discussed_on__lte=day)


class OfPatient(Strikable):
    """A record of one patient."""

    recorded_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        abstract = True


def coded(terms: type[Term], *, default: str = Answer.NOT_RECORDED, length: int = 20) -> models.CharField:
    return models.CharField(max_length=length, choices=terms.choices, default=default)


def only_with(model: str, field: str, of: str) -> models.CheckConstraint:
    """A date of a result stands only beside the result."""
    return models.CheckConstraint(
        condition=Q(**{f"{field}__isnull": True}) | Q(**{f"{of}__isnull": False}), name=f"{model}_{field}_has_{of}"
    )


def by_the_day(model: str, field: str) -> models.CheckConstraint:
    """A result is not dated after the assessment that holds it."""
    return models.CheckConstraint(
        condition=Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__lte": F("assessed_on")}),
        name=f"{model}_{field}_by_then",
    )


class Assessment(OfPatient):
    """One look at a patient before surgery. Numbers are empty where nothing was recorded."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="assessments")
    assessed_on = models.DateField()
    assessed_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="assessments")
    indication = models.CharField(max_length=20, choices=words.Indication.choices)
    indication_other = models.CharField(max_length=200, blank=True, default="")
    symptoms_weeks = models.PositiveSmallIntegerField(null=True, blank=True)
    diabetes = coded(words.Diabetes)
    foot_risk = coded(words.FootRisk)
    hba1c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    hba1c_unit = models.CharField(max_length=10, choices=words.Hba1cUnit.choices, blank=True, default="")
    hba1c_on = models.DateField(null=True, blank=True)
    inr = models.DecimalField(max_digits=3, decimal_places=1, null=True, blank=True)
    inr_on = models.DateField(null=True, blank=True)
    immunosuppression = coded(words.Immunosuppression)
    pregnancy = coded(words.Pregnancy)
    breastfeeding = coded(words.Pregnancy)
    tobacco = coded(words.Tobacco)
    allergy_words = models.CharField(max_length=300, blank=True, default="", help_text="Which, and what happened.")
    weight_kg = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    weight_basis = coded(words.WeightBasis)
    weight_on = models.DateField(null=True, blank=True)
    note = models.TextField(max_length=2000, blank=True, default="")
    history = HistoricalRecords()

    objects = AssessmentQuerySet.as_manager()

    class Meta:
        ordering = ("assessed_on", "pk")
        indexes: ClassVar = [models.Index(fields=["patient", "assessed_on"])]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(assessed_on__gte=NOT_BEFORE), name="assessment_not_before_1900"),
            one_of("assessment", "indication", words.Indication),
            models.CheckConstraint(
                condition=~Q(indication=words.Indication.OTHER.value) | ~Q(indication_other=""),
                name="assessment_other_indication_said",
            ),
            between("assessment", "symptoms_weeks", 0, 1000),
            one_of("assessment", "diabetes", words.Diabetes),
            one_of("assessment", "foot_risk", words.FootRisk),
            models.CheckConstraint(
                condition=Q(hba1c__isnull=True, hba1c_unit="")
                # A comparison with an empty number is neither true nor false, and would pass.
                | (
                    Q(hba1c__isnull=False)
                    & (
                        Q(hba1c_unit=words.Hba1cUnit.MMOL_MOL.value, hba1c__gte=20, hba1c__lte=200)
                        | Q(hba1c_unit=words.Hba1cUnit.PERCENT.value, hba1c__gte=4, hba1c__lte=20)
                    )
                ),
                name="assessment_hba1c_range_of_unit",
            ),
            only_with("assessment", "hba1c_on", "hba1c"),
            by_the_day("assessment", "hba1c_on"),
            between("assessment", "inr", 0.5, 10),
            only_with("assessment", "inr_on", "inr"),
            by_the_day("assessment", "inr_on"),
            one_of("assessment", "immunosuppression", words.Immunosuppression),
            one_of("assessment", "pregnancy", words.Pregnancy),
            one_of("assessment", "breastfeeding", words.Pregnancy),
            one_of("assessment", "tobacco", words.Tobacco),
            between("assessment", "weight_kg", 5, 300),
            one_of("assessment", "weight_basis", words.WeightBasis),
            only_with("assessment", "weight_on", "weight_kg"),
            by_the_day("assessment", "weight_on"),
        ]

    def __str__(self) -> str:
        return f"Assessment {self.key}"


class PartOfAssessment(models.Model):
    """A row that changes only together with its assessment, whose version it shares."""

    class Meta:
        abstract = True


class FootFinding(PartOfAssessment):
    """Blood supply and feeling of one foot."""

    assessment = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="feet")
    foot = models.CharField(max_length=5, choices=Foot.choices)
    dorsalis_pedis = coded(words.Pulse)
    posterior_tibial = coded(words.Pulse)
    doppler = coded(words.Doppler)
    abpi = models.DecimalField(max_digits=3, decimal_places=2, null=True, blank=True)
    toe_pressure = models.PositiveSmallIntegerField(null=True, blank=True, help_text="mmHg, systolic")
    tbi = models.DecimalField(max_digits=3, decimal_places=2, null=True, blank=True)
    ankle_pressure = models.PositiveSmallIntegerField(null=True, blank=True, help_text="mmHg, systolic")
    measured_on = models.DateField(null=True, blank=True, help_text="Of ratios and pressures.")
    monofilament_sites = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Sites of 10 that were felt")
    history = HistoricalRecords()

    class Meta:
        ordering = ("-foot",)  # right, then left, as the page shows them
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["assessment", "foot"], name="foot_once_per_assessment"),
            one_of("footfinding", "foot", Foot),
            one_of("footfinding", "dorsalis_pedis", words.Pulse),
            one_of("footfinding", "posterior_tibial", words.Pulse),
            one_of("footfinding", "doppler", words.Doppler),
            between("footfinding", "abpi", 0, 2),
            between("footfinding", "toe_pressure", 0, 250),
            between("footfinding", "tbi", 0, 1.5),
            between("footfinding", "ankle_pressure", 0, 300),
            between("footfinding", "monofilament_sites", 0, 10),
            models.CheckConstraint(
                condition=Q(measured_on__isnull=True)
                | Q(abpi__isnull=False)
                | Q(toe_pressure__isnull=False)
                | Q(tbi__isnull=False)
                | Q(ankle_pressure__isnull=False),
                name="footfinding_measured_something",
            ),
        ]

    def __str__(self) -> str:
        return self.get_foot_display()


class AssessedToe(PartOfAssessment):
    """A toe that may be operated on."""

    assessment = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="toes")
    foot = models.CharField(max_length=5, choices=Foot.choices)
    toe = models.PositiveSmallIntegerField()
    infection = coded(LocalInfection)
    bone_infection = coded(Answer)
    prior_surgery = coded(words.PriorSurgery)
    prior_part = models.CharField(max_length=10, choices=NailPart.choices, blank=True, default="")
    prior_year = models.PositiveSmallIntegerField(null=True, blank=True)
    prior_elsewhere = coded(Answer)
    history = HistoricalRecords()

    class Meta:
        ordering = ("pk",)
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["assessment", "foot", "toe"], name="toe_once_per_assessment"),
            one_of("assessedtoe", "foot", Foot),
            between("assessedtoe", "toe", 1, 5),
            one_of("assessedtoe", "infection", LocalInfection),
            one_of("assessedtoe", "bone_infection", Answer),
            one_of("assessedtoe", "prior_surgery", words.PriorSurgery),
            models.CheckConstraint(
                condition=Q(prior_part__in=["", *NailPart.codes()]), name="assessedtoe_prior_part_known"
            ),
            between("assessedtoe", "prior_year", 1900, 2200),
            one_of("assessedtoe", "prior_elsewhere", Answer),
        ]

    def __str__(self) -> str:
        return f"{self.get_foot_display()}, toe {self.toe}"


def known_lines() -> Q:
    """A line's code belongs to its topic."""
    known = Q()
    for topic in words.Topic:
        known |= Q(topic=topic.value, code__in=topic.terms.codes())
    return known


class AssessmentItem(PartOfAssessment):
    """The answer to one code of a topic. A code without a row was not known to the vocabulary then: not recorded."""

    assessment = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="items")
    topic = models.CharField(max_length=20, choices=words.Topic.choices)
    code = models.CharField(max_length=20)
    answer = coded(Answer)
    reaction = models.CharField(max_length=20, choices=words.Reaction.choices, blank=True, default="")
    history = HistoricalRecords()

    class Meta:
        ordering = ("pk",)
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["assessment", "topic", "code"], name="item_once_per_assessment"),
            models.CheckConstraint(condition=known_lines(), name="assessmentitem_code_of_topic"),
            one_of("assessmentitem", "answer", Answer),
            models.CheckConstraint(
                condition=Q(reaction="")
                | Q(
                    reaction__in=words.Reaction.codes(),
                    topic=words.Topic.ALLERGY.value,
                    answer=Answer.YES.value,
                ),
                name="assessmentitem_reaction_of_an_allergy",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.topic} {self.code}"


ACKNOWLEDGED = words.DecisionOutcome.ACKNOWLEDGED.value


class FlagDecision(models.Model):
    """Who acknowledged a caution or decided on a stop, and why. Never changed: a later one takes its place.

    fact: the sentence that was on the page. If the facts change, the flag is open again.
    """

    assessment = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="decisions")
    code = models.CharField(max_length=40)
    level = models.CharField(max_length=10, choices=words.FlagLevel.choices)
    fact = models.CharField(max_length=300)
    outcome = models.CharField(max_length=20, choices=words.DecisionOutcome.choices)
    text = models.CharField(max_length=500)
    decided_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()

    class Meta:
        ordering = ("decided_at", "pk")
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(level=words.FlagLevel.CAUTION.value, outcome=ACKNOWLEDGED)
                | (
                    Q(level=words.FlagLevel.STOP.value, outcome__in=words.DecisionOutcome.codes())
                    & ~Q(outcome=ACKNOWLEDGED)
                ),
                name="decision_fits_the_level",
            ),
            models.CheckConstraint(condition=~Q(text="") & ~Q(fact=""), name="decision_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.outcome}"


def who_and_when(what: str) -> models.CheckConstraint:
    """Who and when stand together or not at all."""
    both = Q(**{f"{what}_by__isnull": False, f"{what}_on__isnull": False, f"{what}_on__gte": F("discussed_on")})
    neither = Q(**{f"{what}_by__isnull": True, f"{what}_on__isnull": True})
    return models.CheckConstraint(condition=both | neither, name=f"consent_{what}_by_and_on")


class Consent(OfPatient):
    """Consent to an operation on one nail. foot, toe and part are what the patient said."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="consents")
    foot = models.CharField(max_length=5, choices=Foot.choices)
    toe = models.PositiveSmallIntegerField()
    part = models.CharField(max_length=10, choices=NailPart.choices)
    intent = models.CharField(max_length=10, choices=words.ConsentIntent.choices)
    given_by = models.CharField(max_length=15, choices=ConsentGiver.choices)
    discussed_on = models.DateField()
    discussed_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="consents_discussed")
    reconfirmed_on = models.DateField(null=True, blank=True)
    reconfirmed_by = models.ForeignKey(
        Member, on_delete=models.PROTECT, null=True, blank=True, related_name="consents_reconfirmed"
    )
    withdrawn_on = models.DateField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    photographs = coded(Answer)
    interpreter = coded(words.Interpreter)
    note = models.TextField(max_length=2000, blank=True, default="")
    history = HistoricalRecords()

    objects = ConsentQuerySet.as_manager()

    class Meta:
        ordering = ("discussed_on", "pk")
        indexes: ClassVar = [models.Index(fields=["patient", "foot", "toe"])]
        constraints: ClassVar = [
            one_of("consent", "foot", Foot),
            between("consent", "toe", 1, 5),
            one_of("consent", "part", NailPart),
            one_of("consent", "intent", words.ConsentIntent),
            one_of("consent", "given_by", ConsentGiver),
            models.CheckConstraint(condition=Q(discussed_on__gte=NOT_BEFORE), name="consent_not_before_1900"),
            who_and_when("reconfirmed"),
            who_and_when("withdrawn"),
            one_of("consent", "photographs", Answer),
            one_of("consent", "interpreter", words.Interpreter),
        ]

    def __str__(self) -> str:
        return f"Consent {self.key}"


class ConsentElement(models.Model):
    """One thing that was talked about, by whom and when the consent says."""

    consent = models.ForeignKey(Consent, on_delete=models.PROTECT, related_name="elements")
    code = models.CharField(max_length=20, choices=words.ConsentPoint.choices)
    history = HistoricalRecords()

    class Meta:
        ordering = ("pk",)
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["consent", "code"], name="element_once_per_consent"),
            one_of("consentelement", "code", words.ConsentPoint),
        ]

    def __str__(self) -> str:
        return self.code
