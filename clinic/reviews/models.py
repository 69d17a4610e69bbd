"""Review visits and what was found: per toe, and per treated side."""

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import between, one_of
from clinic.access.models import Member, Strikable, Versioned
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.vocabulary import review as words
from clinic.vocabulary.procedure import Answer
from clinic.vocabulary.redflag import Reported

SIGN_FIELDS = ("spreading", "swelling", "warmth", "tenderness", "odour", "lymphangitis", "wound_opened")
OTHER_FIELDS = ("over_granulation", "skin_burn", "numbness", "dusky", "altered_pain", "pigment")
GRAVE_FIELDS = ("bone_signs", "unwell")  # asked only where somebody thinks of them, so "no signs" says nothing of them
MEASURED_FIELDS = ("temperature_c", "pulse", "respiratory_rate")


def counts(review: str = "") -> Q:
    """Which reviews count, as a condition: standing, and if the patient reported it, accepted by a clinician.

    review: the path to the review with its underscores, such as "review__"; empty on the review itself.
    """
    standing = Q(**{f"{review}struck_at__isnull": True, f"{review}operation__struck_at__isnull": True})
    accepted = Q(**{f"{review}accepted_at__isnull": False}) | ~Q(**{f"{review}observer": words.Observer.PATIENT})
    return standing & accepted


class ReviewQuerySet(models.QuerySet["Review"]):
    def visible_to(self, member: Member) -> "ReviewQuerySet":
        return self.filter(operation__practice_id=member.practice_id)

    def standing(self) -> "ReviewQuerySet":
        """Not struck out, on an operation that is not struck out."""
        return self.filter(struck_at__isnull=True, operation__struck_at__isnull=True)

    def counting(self) -> "ReviewQuerySet":
        """Standing, and if the patient reported it, accepted by a clinician."""
        return self.filter(counts())


class Review(Strikable):
    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="reviews")
    # A copy of the operation's date, so that the database itself refuses a review before it.
    operated_on = models.DateField(editable=False)
    seen_on = models.DateField()
    origin = models.CharField(max_length=10, choices=words.Origin.choices)
    observer = models.CharField(max_length=15, choices=words.Observer.choices)
    seen_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="reviews_seen")
    means = models.CharField(max_length=15, choices=words.Means.choices)
    next_step = models.CharField(max_length=15, choices=words.NextStep.choices, default=words.NextStep.AS_PLANNED)
    next_reason = models.CharField(max_length=200, blank=True, default="")
    note = models.TextField(max_length=2000, blank=True, default="")
    recorded_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    accepted_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    accepted_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    objects = ReviewQuerySet.as_manager()

    class Meta:
        ordering = ("seen_on", "pk")
        indexes: ClassVar = [models.Index(fields=["operation", "seen_on"])]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(seen_on__gte=F("operated_on")), name="review_not_before_operation"),
            one_of("review", "origin", words.Origin),
            one_of("review", "observer", words.Observer),
            one_of("review", "means", words.Means),
            one_of("review", "next_step", words.NextStep),
        ]

    def __str__(self) -> str:
        return f"Review {self.key}"

    @property
    def day(self) -> int:
        """Days since the operation."""
        return (self.seen_on - self.operated_on).days


class ToeFinding(Versioned):
    """One toe at one review."""

    review = models.ForeignKey(Review, on_delete=models.PROTECT, related_name="toe_findings")
    nail_procedure = models.ForeignKey(NailProcedure, on_delete=models.PROTECT, related_name="findings")
    healing = models.CharField(max_length=15, choices=words.Healing.choices)
    signs = models.CharField(max_length=15, choices=words.Signs.choices)
    fluid_colour = models.CharField(max_length=15, choices=words.FluidColour.choices)
    fluid_consistency = models.CharField(max_length=15, choices=words.FluidConsistency.choices)
    fluid_amount = models.CharField(max_length=15, choices=words.FluidAmount.choices)
    erythema_mm = models.PositiveSmallIntegerField(null=True, blank=True)
    spreading = models.CharField(max_length=15, choices=Answer.choices)
    swelling = models.CharField(max_length=15, choices=Answer.choices)
    warmth = models.CharField(max_length=15, choices=Answer.choices)
    tenderness = models.CharField(max_length=15, choices=Answer.choices)
    odour = models.CharField(max_length=15, choices=Answer.choices)
    lymphangitis = models.CharField(max_length=15, choices=Answer.choices)
    wound_opened = models.CharField(max_length=15, choices=Answer.choices)
    swab = models.CharField(max_length=15, choices=words.Swab.choices)
    antibiotic = models.CharField(max_length=15, choices=words.Antibiotic.choices)
    diagnosis = models.CharField(max_length=15, choices=words.Diagnosis.choices)
    pain_state = models.CharField(max_length=15, choices=words.PainState.choices)
    pain = models.PositiveSmallIntegerField(null=True, blank=True)
    over_granulation = models.CharField(max_length=15, choices=Answer.choices)
    skin_burn = models.CharField(max_length=15, choices=Answer.choices)
    numbness = models.CharField(max_length=15, choices=Answer.choices)
    dusky = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    altered_pain = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    pigment = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    bone_signs = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    unwell = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    temperature_c = models.DecimalField(max_digits=3, decimal_places=1, null=True, blank=True)
    pulse = models.PositiveSmallIntegerField(null=True, blank=True, help_text="beats a minute")
    respiratory_rate = models.PositiveSmallIntegerField(null=True, blank=True, help_text="breaths a minute")
    untreated_side = models.CharField(max_length=15, choices=words.UntreatedSide.choices)
    satisfaction = models.CharField(
        max_length=20, choices=words.Satisfaction.choices, default=words.Satisfaction.NOT_ASKED
    )
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["review", "nail_procedure"], name="toe_once_per_review"),
            one_of("toefinding", "healing", words.Healing),
            one_of("toefinding", "signs", words.Signs),
            one_of("toefinding", "fluid_colour", words.FluidColour),
            one_of("toefinding", "fluid_consistency", words.FluidConsistency),
            one_of("toefinding", "fluid_amount", words.FluidAmount),
            between("toefinding", "erythema_mm", 0, 100),
            *(one_of("toefinding", field, Answer) for field in SIGN_FIELDS + OTHER_FIELDS + GRAVE_FIELDS),
            between("toefinding", "temperature_c", 34, 42),
            between("toefinding", "pulse", 30, 220),
            between("toefinding", "respiratory_rate", 5, 60),
            one_of("toefinding", "swab", words.Swab),
            one_of("toefinding", "antibiotic", words.Antibiotic),
            one_of("toefinding", "diagnosis", words.Diagnosis),
            one_of("toefinding", "pain_state", words.PainState),
            between("toefinding", "pain", 0, 10),
            models.CheckConstraint(
                condition=Q(pain_state="scored", pain__isnull=False) | Q(pain_state="not_asked", pain__isnull=True),
                name="toefinding_pain_goes_with_its_state",
            ),
            one_of("toefinding", "untreated_side", words.UntreatedSide),
            one_of("toefinding", "satisfaction", words.Satisfaction),
        ]

    def __str__(self) -> str:
        return f"Toe finding {self.key}"


class SideFinding(Versioned):
    """One treated side at one review: regrowth, symptoms, what was done."""

    review = models.ForeignKey(Review, on_delete=models.PROTECT, related_name="side_findings")
    treated_side = models.ForeignKey(TreatedSide, on_delete=models.PROTECT, related_name="findings")
    extent = models.CharField(max_length=15, choices=words.Extent.choices)
    symptoms = models.CharField(max_length=15, choices=words.Symptoms.choices)
    retreatment = models.CharField(max_length=15, choices=words.Retreatment.choices)
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["review", "treated_side"], name="side_once_per_review"),
            one_of("sidefinding", "extent", words.Extent),
            one_of("sidefinding", "symptoms", words.Symptoms),
            one_of("sidefinding", "retreatment", words.Retreatment),
        ]

    def __str__(self) -> str:
        return f"Side finding {self.key}"


class Booking(Versioned):
    """An appointment for a review. Cancelled bookings keep their row."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="bookings")
    starts_at = models.DateTimeField()
    point = models.CharField(max_length=20, blank=True, default="")
    booked_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    cancelled_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["starts_at"])]

    def __str__(self) -> str:
        return f"Booking {self.key}"


class Contact(Strikable):
    """One try to reach the patient, or the patient reaching us. One logged by mistake is struck out."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="contacts")
    made_on = models.DateField()
    channel = models.CharField(max_length=10, choices=words.ContactChannel.choices)
    result = models.CharField(max_length=15, choices=words.ContactResult.choices)
    next_try_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True, default="")
    reported = models.CharField(max_length=15, choices=Reported.choices, default=Reported.NOT_ASKED)
    handled_at = models.DateTimeField(null=True, blank=True)
    recorded_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    history = HistoricalRecords()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["operation", "made_on"])]
        constraints: ClassVar = [
            one_of("contact", "channel", words.ContactChannel),
            one_of("contact", "result", words.ContactResult),
            one_of("contact", "reported", Reported),
            models.CheckConstraint(
                condition=Q(next_try_on__isnull=True) | Q(next_try_on__gt=F("made_on")), name="next_try_after_contact"
            ),
            models.CheckConstraint(condition=Q(made_on__gte=date(1900, 1, 1)), name="contact_not_before_1900"),
        ]

    def __str__(self) -> str:
        return f"Contact {self.key}"
