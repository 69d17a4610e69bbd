"""Plain functions that make records for tests; every argument has a default, every record is invented."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from io import BytesIO
from itertools import count

from PIL import Image

from audit.cycle import digest_of_standards
from audit.models import Action, AuditYear
from audit.records import standards_of
from clinic.access.models import Member, Practice
from clinic.dosing.models import DoseLimit
from clinic.patients.identity import Identity
from clinic.patients.models import Patient
from clinic.photographs import storage
from clinic.photographs.cleaning import clean
from clinic.photographs.models import Photograph
from clinic.photographs.recording import add_photograph
from clinic.practice.models import OperationTemplate
from clinic.preparation.models import Assessment, Consent
from clinic.preparation.recording import AssessmentValues, every_line, record_assessment, record_consent
from clinic.procedures.models import Application, NailProcedure, Operation, TreatedSide
from clinic.reports.forms import ToeAnswers
from clinic.reports.links import make_link
from clinic.reports.models import PatientReport, ReportLink
from clinic.reports.recording import take_report
from clinic.reviews.models import Review, SideFinding, ToeFinding
from clinic.vocabulary import review as r
from clinic.vocabulary.preparation import ConsentPoint
from clinic.vocabulary.procedure import Agent, Answer, Technique
from clinic.vocabulary.recall import SeenAtSide
from clinic.vocabulary.review import Extent, Observer, Retreatment, Symptoms

NUMBERS = count(1)
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def create_practice(*, code: str = "", name: str = "Practice of the test (fictional)") -> Practice:
    return Practice.objects.create(code=code or f"practice-{next(NUMBERS)}", name=name)


def create_member(practice: Practice | None, *, role: str = "practitioner", username: str = "") -> Member:
    username = username or f"member{next(NUMBERS)}"
    return Member.objects.create_user(
        username, password="a long enough word", practice=practice, role=role, first_name="Terry", last_name="Testcase"
    )


def create_patient(
    practice: Practice,
    *,
    family_name: str = "Example",
    given_name: str = "Avery",
    born_on: date = date(1990, 5, 17),
    **fields,
) -> Patient:
    patient = Patient.objects.create(practice=practice, **fields)
    identity = Identity(
        patient=patient,
        family_name=family_name,
        given_name=given_name,
        born_on_text=born_on.isoformat(),
        record_number=f"T-{next(NUMBERS):05}",
    )
    identity.index()
    identity.save()
    identity.index_names()
    return patient


def create_operation(
    practice: Practice | None = None,
    *,
    patient: Patient | None = None,
    operator: Member | None = None,
    performed_on: date = date(2024, 6, 3),
    foot: str = "right",
    toe: int = 1,
    sides: tuple[str, ...] = ("fibular",),
    technique: str = Technique.PNA_CHEMICAL,
    agent: str = Agent.PHENOL,
    seconds: tuple[int, ...] = (60, 60),
) -> Operation:
    """One operation on one toe, with the same applications at each side."""
    practice = practice or (patient.practice if patient else create_practice())
    patient = patient or create_patient(practice)
    operator = operator or practice.members.first() or create_member(practice)
    operation = Operation.objects.create(
        practice=practice,
        patient=patient,
        performed_on=performed_on,
        operator=operator,
        age_years=34,
        recorded_by=operator,
        recorded_at=NOON,
    )
    add_toe(operation, foot=foot, toe=toe, sides=sides, technique=technique, agent=agent, seconds=seconds)
    return operation


def add_toe(
    operation: Operation,
    *,
    foot: str = "left",
    toe: int = 1,
    sides: tuple[str, ...] = ("fibular",),
    technique: str = Technique.PNA_CHEMICAL,
    agent: str = Agent.PHENOL,
    seconds: tuple[int, ...] = (60, 60),
) -> NailProcedure:
    chemical = Technique(technique).takes_agent
    nail = NailProcedure.objects.create(
        operation=operation,
        foot=foot,
        toe=toe,
        technique=technique,
        matrix_destroyed=Technique(technique).destroys_matrix is not False,
        agent=agent if chemical else Agent.NONE,
        strength_percent="80.0" if chemical else None,
        strength_basis="w_w" if chemical else "not_applicable",
    )
    for side in sides:
        treated = TreatedSide.objects.create(nail_procedure=nail, side=side)
        for number, each in enumerate(seconds if chemical else (), start=1):
            Application.objects.create(treated_side=treated, number=number, seconds=each)
    return nail


def create_review(
    operation: Operation,
    *,
    day: int = 365,
    extent: str = Extent.NONE,
    symptoms: str = Symptoms.NONE,
    retreatment: str = Retreatment.NONE,
    means: str = r.Means.IN_PERSON,
    observer: str = Observer.OPERATOR,
    origin: str = r.Origin.PLANNED,
    accepted: bool = True,
    **toe_fields,
) -> Review:
    """A review `day` days after the operation with the same finding at every treated side."""
    review = Review.objects.create(
        operation=operation,
        operated_on=operation.performed_on,
        seen_on=operation.performed_on + timedelta(days=day),
        origin=origin,
        observer=observer,
        means=means,
        recorded_by=operation.operator,
        recorded_at=NOON,
        accepted_at=NOON if accepted else None,
    )
    for nail in operation.nail_procedures.all():
        ToeFinding.objects.create(review=review, nail_procedure=nail, **{**calm_toe(), **toe_fields})
        for treated in nail.treated_sides.all():
            SideFinding.objects.create(
                review=review, treated_side=treated, extent=extent, symptoms=symptoms, retreatment=retreatment
            )
    return review


def calm_toe() -> dict[str, object]:
    """Every component looked for and absent."""
    signs = ("spreading", "swelling", "warmth", "tenderness", "odour", "lymphangitis", "wound_opened")
    others = ("over_granulation", "skin_burn", "numbness")
    return {
        "healing": r.Healing.DRY,
        "signs": r.Signs.NONE_SEEN,
        "fluid_colour": r.FluidColour.NONE,
        "fluid_consistency": r.FluidConsistency.NONE,
        "fluid_amount": r.FluidAmount.DRY,
        "erythema_mm": 0,
        **dict.fromkeys(signs + others, Answer.NO),
        "swab": r.Swab.NOT_TAKEN,
        "antibiotic": r.Antibiotic.NONE,
        "diagnosis": r.Diagnosis.NONE,
        "pain_state": r.PainState.SCORED,
        "pain": 1,
        "untreated_side": r.UntreatedSide.NONE,
    }


def create_assessment(
    patient: Patient | None = None,
    *,
    by: Member | None = None,
    assessed_on: date = date(2026, 11, 20),
    feet: dict[str, dict[str, object]] | None = None,
    toes: dict[tuple[str, int], dict[str, object]] | None = None,
    yes: dict[str, tuple[str, ...]] | None = None,
    reactions: dict[str, str] | None = None,
    **fields,
) -> Assessment:
    """A patient in whom everything was asked and nothing found; the arguments say what was found after all.

    feet: columns by foot. toes: columns by foot and toe. yes: by topic, the codes answered with yes. reactions: by
    allergen.
    """
    patient = patient or create_patient(create_practice())
    by = by or patient.practice.members.first() or create_member(patient.practice)
    well = {"dorsalis_pedis": "palpable", "posterior_tibial": "palpable", "doppler": "not_examined"}
    calm = {"infection": "none", "bone_infection": "no", "prior_surgery": "none"}
    present = {(topic, code) for topic, codes in (yes or {}).items() for code in codes}
    lines = {line: ("yes" if line in present else "no", "") for line in every_line()}
    lines |= {("allergy", code): ("yes", reaction) for code, reaction in (reactions or {}).items()}
    asked = {
        "indication": "onychocryptosis",
        "diabetes": "none",
        "foot_risk": "not_applicable",
        "immunosuppression": "none",
        "pregnancy": "no",
        "breastfeeding": "no",
        "tobacco": "never",
        "weight_kg": Decimal("70"),
        "weight_basis": "measured",
        "weight_on": assessed_on,
    }
    values = AssessmentValues(
        fields={"assessed_on": assessed_on, "assessed_by": by, **asked, **fields},
        feet={foot: well | (feet or {}).get(foot, {}) for foot in ("right", "left")},
        toes={site: calm | found for site, found in (toes or {("right", 1): {}}).items()},
        lines=lines,
    )
    return record_assessment(by=by, patient=patient, values=values, now=NOON)


def create_consent(
    patient: Patient | None = None,
    *,
    by: Member | None = None,
    foot: str = "right",
    toe: int = 1,
    part: str = "fibular",
    discussed_on: date = date(2026, 11, 20),
    points: tuple[str, ...] | None = None,
    **fields,
) -> Consent:
    """A consent in which everything was talked about."""
    patient = patient or create_patient(create_practice())
    by = by or patient.practice.members.first() or create_member(patient.practice)
    said = {
        "foot": foot,
        "toe": toe,
        "part": part,
        "intent": "permanent",
        "given_by": "patient",
        "discussed_on": discussed_on,
        "discussed_by": by,
        "photographs": "no",
        "interpreter": "not_needed",
        **fields,
    }
    ticked = ConsentPoint.codes() if points is None else points
    return record_consent(by=by, patient=patient, fields=said, points=ticked, now=NOON)


def create_limit(practice: Practice, *, by: Member | None = None, **fields) -> DoseLimit:
    """A row of plain lidocaine, 4.5 mg/kg and at most 200 mg; approved where `by` is given."""
    row = {
        "profile": f"Row {next(NUMBERS)}",
        "agent": "lidocaine",
        "vasoconstrictor": "none",
        "mg_per_kg": Decimal("4.5"),
        "absolute_mg": Decimal(200),
        "source_text": "Protocol of the test (invented)",
    }
    approval = {"approved_by": by, "approved_on": NOON.date(), "checked_against": "Label of the test"} if by else {}
    return DoseLimit.objects.create(practice=practice, **{**row, **approval, **fields})


def create_template(practice: Practice, **fields) -> OperationTemplate:
    """Partial avulsion with phenol and everything a template can fill in."""
    usual = {
        "name": f"Template {next(NUMBERS)}",
        "technique": Technique.PNA_CHEMICAL,
        "agent": Agent.PHENOL,
        "strength_percent": Decimal("89"),
        "strength_basis": "w_w",
        "lavage": "isopropyl",
        "tourniquet": "ring",
        "skin_protected": Answer.YES,
        "haemostasis": "pressure",
        "dressing": "non_adherent",
        "outer_dressing": "tubular",
        "aftercare": "both",
        "aftercare_sheet": "Sheet A, version 3",
    }
    return OperationTemplate.objects.create(practice=practice, **{**usual, **fields})


def create_link(
    operation: Operation,
    *,
    by: Member | None = None,
    about: str = "twelve_months",
    now: datetime = NOON,
    days: int = 14,
) -> tuple[ReportLink, str]:
    """A patient's link with its token."""
    return make_link(by=by or operation.operator, operation=operation, about=about, now=now, days=days)


def create_report(
    operation: Operation, *, pain: int = 1, fluid: str = "none", nail: str = "no", sore: str = "no",
    wants_call: bool = False, now: datetime = NOON, about: str = "twelve_months", note: str = "",
    signs: tuple[str, ...] = (),
) -> PatientReport:  # fmt: skip
    """What a patient sent through a link: the same at every toe and side."""
    link, _ = create_link(operation, about=about, now=now)
    toes = {
        toe: ToeAnswers(
            pain, fluid,
            {side: SeenAtSide(nail) if toe.matrix_destroyed else None for side in toe.treated_sides.all()},
            {side: SeenAtSide(sore) for side in toe.treated_sides.all()},
        )
        for toe in operation.nail_procedures.all()
    }  # fmt: skip
    return take_report(link=link, toes=toes, wants_call=wants_call, note=note, now=now, signs=signs)


def picture_bytes(kind: str = "JPEG", *, size: tuple[int, int] = (90, 60), colour: str = "salmon", **options) -> bytes:
    """A picture file of one colour; the options are Pillow's for this kind of file."""
    target = BytesIO()
    Image.new("RGB", size, colour).save(target, kind, **options)
    return target.getvalue()


def create_photograph(nail: NailProcedure | None = None, *, by: Member | None = None, **fields) -> Photograph:
    """A stored picture, cleaned as in earnest, of a colour of its own."""
    nail = nail or create_operation().nail_procedures.get()
    by = by or nail.operation.operator
    colour = f"#{next(NUMBERS) * 7919 % 0xFFFFFF:06x}"
    picture = clean(picture_bytes(colour=colour), most_bytes=2**20, most_pixels=10**6)
    answers = {
        "taken_on": nail.operation.performed_on + timedelta(days=42),
        "consent_for": "care",
        "consent_given_by": "patient",
        "consent_given_on": nail.operation.performed_on + timedelta(days=42),
        **fields,
    }
    with storage.gone_unless_successful() as write:
        return add_photograph(by=by, nail=nail, picture=picture, answers=answers, now=NOON, write=write)


def create_audit_year(
    practice: Practice, *, starting_year: int = 2023, by: Member | None = None, **fields
) -> AuditYear:
    """An audit year of which every step before the signature is done; the arguments say what is not."""
    by = by or practice.members.first() or create_member(practice, role="lead")
    facts = {
        "as_of": date(starting_year + 2, 5, 30),
        "interpretation": "Nothing unusual.",
        "no_action_reason": "Nothing to change.",
        "quality_read_by": by,
        "quality_read_at": NOON,
        "quality_open": 1000,
        "standards_confirmed_by": by,
        "standards_confirmed_at": NOON,
        "standards_digest": digest_of_standards(standards_of(practice)),
        "opened_by": by,
        "opened_at": NOON,
    }
    return AuditYear.objects.create(practice=practice, starting_year=starting_year, **{**facts, **fields})


def create_action(year: AuditYear, *, by: Member | None = None, **fields) -> Action:
    by = by or year.opened_by
    said = {"what": "Call a second time", "who": by, "due_on": date(2027, 2, 28), "how_known": "90 % known"}
    return Action.objects.create(audit_year=year, agreed_by=by, agreed_at=NOON, **{**said, **fields})
