"""The demonstration holds what its scenario promises, counted here afresh from the stored rows."""

from collections import Counter
from datetime import date, timedelta
from io import BytesIO, StringIO
from itertools import pairwise
from statistics import median, quantiles

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test import override_settings
from django.utils.timezone import localtime
from PIL import Image

from clinic.access.models import Draft, Member, Practice
from clinic.access.rules import Role
from clinic.demo import afterwards, harbour, scenario
from clinic.demo.awkward import AWKWARD, DRAFT, INJECTION
from clinic.demo.load import load
from clinic.demo.picture import PLACE, picture_with_place
from clinic.demo.shapes import CUT_OFF
from clinic.dosing.models import DoseLimit
from clinic.management.commands.demo import PASSWORD
from clinic.patients.identity import Identity, find_patients
from clinic.patients.models import Patient
from clinic.photographs import storage
from clinic.photographs.models import Photograph
from clinic.preparation.models import Assessment, AssessmentItem, Consent, ConsentElement
from clinic.procedures.clearance import clearance_before, clearance_of, usable_for
from clinic.procedures.models import (
    AnaestheticDose,
    Application,
    NailProcedure,
    Operation,
    OperationEvent,
    TreatedSide,
)
from clinic.procedures.site_decision import SiteDecision
from clinic.redflags.models import RedFlag, RedFlagSeen
from clinic.redflags.reading import waiting
from clinic.redflags.watching import watch_operation, watch_review
from clinic.reviews.models import Booking, Contact, Review, SideFinding, ToeFinding
from clinic.theatre.models import CheckedItem, ChecklistPhase

# Without the mark no test database would be made, and the fixtures below would meet the developer's own.
pytestmark = pytest.mark.django_db

TODAY = date(2026, 11, 25)
KEYED = (Practice, Member, Patient, Identity, Operation, NailProcedure, TreatedSide, Review, ToeFinding, SideFinding)
KEYED += (Booking, Contact, Photograph, Assessment, Consent, ChecklistPhase, DoseLimit, RedFlag)
REGROWN = {"spicule", "strip", "full"}
PUS = {"green", "yellow"}, {"thick", "creamy", "milky", "opaque", "viscous"}


def load_quickly() -> None:
    """Hashing passwords as slowly as in earnest would double the time."""
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        load(TODAY, PASSWORD)


def all_keys() -> dict[str, list[str]]:
    return {model.__name__: list(model.objects.order_by("key").values_list("key", flat=True)) for model in KEYED}


class Undo(Exception):
    """Leaves an atomic block and takes everything in it back."""


@pytest.fixture(scope="module")
def first_keys(django_db_setup, django_db_blocker):
    """Keys of a load that was taken back; afterwards the same is loaded for the tests of this file."""
    keys = {}
    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                load_quickly()
                keys = all_keys()
                raise Undo
        except Undo:
            pass
        try:
            with transaction.atomic():
                load_quickly()
                yield keys
                raise Undo
        except Undo:
            pass


@pytest.fixture(scope="module")
def demo(first_keys) -> Practice:
    return Practice.objects.get(code="tarnwick")


@pytest.fixture(scope="module")
def plan():
    """The scenario is built from a fixed seed, so its keys are those of the stored rows."""
    return scenario.build()


@pytest.fixture(scope="module")
def toes(demo) -> list["Toe"]:
    return toes_of(demo)


class Toe:
    """One stored nail procedure with everything known about it as of the cut-off."""

    def __init__(self, nail: NailProcedure, as_of: date) -> None:
        self.nail, self.operation, self.as_of = nail, nail.operation, as_of
        self.sides = list(nail.treated_sides.all())
        self.reviews = [
            review
            for review in nail.operation.reviews.all()
            if review.seen_on <= as_of and (review.observer != "patient" or review.accepted_at)
        ]
        self.group = (nail.technique, nail.agent)

    @property
    def mature(self) -> bool:
        return self.operation.performed_on + timedelta(days=425) <= self.as_of

    def toe_findings(self, last_day: int = 10_000):
        for review in self.reviews:
            for finding in review.toe_findings.all():
                if finding.nail_procedure_id == self.nail.pk and review.day <= last_day:
                    yield review, finding

    def side_findings(self, side: TreatedSide):
        for review in self.reviews:
            yield from ((review, f) for f in review.side_findings.all() if f.treated_side_id == side.pk)

    def side_status(self, side: TreatedSide, outcome: str, opens: int = 335, closes: int = 425) -> str:
        found = list(self.side_findings(side))
        events = [review.day for review, finding in found if review.day > 0 and is_event(outcome, finding)]
        again = [
            (later.nail_procedure.operation.performed_on - self.operation.performed_on).days
            for later in side.revised_by.all()
            if later.nail_procedure.operation.performed_on <= self.as_of
        ]
        if outcome == "re_operation":
            events += again
        if any(day <= closes for day in events):
            return "event"
        last = min(again, default=10_000)
        if any(opens <= review.day <= last and is_clear(outcome, finding) for review, finding in found):
            return "clear"
        return "lost"

    def status(self, outcome: str, opens: int = 335, closes: int = 425) -> str:
        if not self.mature and closes == 425:
            return "pending"
        sides = [self.side_status(side, outcome, opens, closes) for side in self.sides]
        if "event" in sides:
            return "event"
        return "clear" if set(sides) == {"clear"} else "lost"

    @property
    def source(self) -> str:
        within = [review for review in self.reviews if 335 <= review.day <= 425]
        seen = [
            review for review in self.reviews if any(is_event("symptomatic", f) for f in review.side_findings.all())
        ]
        review = within[-1] if within else seen[0]
        return review.means if review.means in {"photo", "questionnaire", "phone"} else review.observer

    @property
    def loss_reason(self) -> str:
        results = {contact.result for contact in self.operation.contacts.all() if contact.made_on <= self.as_of}
        for reason in ("moved", "declined", "did_not_attend"):
            if reason in results:
                return reason
        return "no_reply" if results else "never_tried"

    @property
    def exposure(self) -> int | None:
        return max((side.exposure_seconds for side in self.sides if side.exposure_seconds), default=None)

    @property
    def side_names(self) -> tuple[str, ...]:
        return tuple(sorted(side.side for side in self.sides))

    @property
    def dry_day(self) -> int | None:
        return min((review.day for review, finding in self.toe_findings() if finding.healing == "dry"), default=None)


def toes_of(practice: Practice, as_of: date = CUT_OFF, first=date(2022, 4, 1), last=date(2025, 3, 31)) -> list[Toe]:
    nails = NailProcedure.objects.filter(
        operation__practice=practice, operation__performed_on__gte=first, operation__performed_on__lte=last
    ).select_related("operation__patient", "operation__operator")
    nails = nails.prefetch_related(
        "treated_sides__applications",
        "treated_sides__revised_by__nail_procedure__operation",
        "operation__contacts",
        "operation__reviews__toe_findings",
        "operation__reviews__side_findings",
    )
    return [Toe(nail, as_of) for nail in nails]


def is_event(outcome: str, finding: SideFinding) -> bool:
    if outcome == "regrowth":
        return finding.extent in REGROWN
    if outcome == "re_operation":
        return finding.retreatment in {"done", "elsewhere"}
    return finding.symptoms == "ingrowth" or (finding.symptoms in {"pain", "infected"} and finding.extent in REGROWN)


def is_clear(outcome: str, finding: SideFinding) -> bool:
    if outcome == "regrowth":
        return finding.extent == "none"
    if outcome == "re_operation":
        return finding.retreatment != "not_assessed"
    return finding.symptoms in {"none", "pain", "infected"}


def in_scenario(model, path: str, practice: Practice):
    return model.objects.filter(**{
        f"{path}practice": practice,
        f"{path}performed_on__gte": date(2022, 4, 1),
        f"{path}performed_on__lte": date(2025, 3, 31),
    })  # fmt: skip


# Structure.


def test_there_are_171_patients_of_the_agreed_sex_and_age(demo):
    patients = Patient.objects.filter(operations__in=in_scenario(Operation, "", demo)).distinct()
    ages = [patient.operations.order_by("performed_on").first().age_years for patient in patients]
    limits = (0, 12, 18, 40, 60, 80, 120)
    by_age = [sum(low <= age < high for age in ages) for low, high in pairwise(limits)]
    assert Counter(patient.sex for patient in patients) == {"male": 98, "female": 71, "other": 2}
    assert by_age == [9, 44, 58, 31, 24, 5]


def test_patients_have_the_agreed_risks(demo):
    patients = Patient.objects.filter(operations__in=in_scenario(Operation, "", demo)).distinct()
    risks = ("diabetes", "antithrombotic", "poor_circulation", "immunosuppressed")
    assert [patients.filter(**{risk: "yes"}).count() for risk in risks] == [15, 14, 4, 3]


def test_196_operations_have_240_nail_procedures_on_284_sides(demo, toes):
    operations = in_scenario(Operation, "", demo)
    per_patient = Counter(Counter(operations.values_list("patient_id", flat=True)).values())
    per_operation = Counter(Counter(toe.operation.pk for toe in toes).values())
    assert (len(operations), len(toes), sum(len(toe.sides) for toe in toes)) == (196, 240, 284)
    assert per_patient == {1: 148, 2: 21, 3: 2}
    assert per_operation == {1: 152, 2: 44}


def test_years_feet_and_toes_are_as_agreed(toes):
    years = Counter((toe.operation.performed_on - timedelta(days=90)).year for toe in toes)
    assert [years[year] for year in (2022, 2023, 2024)] == [70, 82, 88]
    assert Counter(toe.nail.foot for toe in toes) == {"right": 124, "left": 116}
    assert Counter(toe.nail.toe for toe in toes) == {1: 226, 2: 8, 3: 3, 4: 1, 5: 2}


def test_sides_are_as_agreed(toes):
    assert Counter(toe.side_names for toe in toes) == {
        ("fibular",): 120, ("tibial",): 56, ("fibular", "tibial"): 44, ("whole",): 20,
    }  # fmt: skip


def test_operators_are_as_agreed_and_the_trainee_is_supervised(toes):
    assert Counter(toe.operation.operator.username for toe in toes) == {"orla": 118, "idris": 84, "wanda": 38}
    trainee = [toe.operation for toe in toes if toe.operation.operator.username == "wanda"]
    assert all(operation.supervisor_id for operation in trainee)


def test_stage_earlier_surgery_and_infection_are_as_agreed(toes):
    stages = Counter(toe.nail.stage if toe.nail.stage_system == "mozena" else "" for toe in toes)
    assert stages == {"I": 38, "IIa": 84, "IIb": 62, "III": 41, "": 15}
    assert sum(toe.nail.prior_surgery_same_side == "yes" for toe in toes) == 17
    assert sum(toe.nail.infection_before in {"purulent", "spreading"} for toe in toes) == 21


def test_anaesthetics_are_as_agreed(demo):
    doses: dict[int, set] = {}
    for dose in in_scenario(AnaestheticDose, "operation__", demo):
        doses.setdefault(dose.operation_id, set()).add((dose.agent, float(dose.strength_percent)))
    kinds = Counter(next(iter(kinds)) if len(kinds) == 1 else "mixed" for kinds in doses.values())
    assert kinds == {
        ("mepivacaine", 3.0): 121, ("lidocaine", 2.0): 58, ("lidocaine", 1.0): 9, ("bupivacaine", 0.5): 4, "mixed": 4,
    }  # fmt: skip


def test_tourniquets_are_as_agreed(toes):
    nails = [toe.nail for toe in toes]
    timed = [nail for nail in nails if nail.tourniquet_on_at and nail.tourniquet_off_at]
    minutes = [(nail.tourniquet_off_at - nail.tourniquet_on_at).total_seconds() / 60 for nail in timed]
    assert Counter(nail.tourniquet for nail in nails) == {"ring": 203, "drain_clamp": 8, "none": 29}
    assert (len(minutes), sum(each <= 20 for each in minutes), max(minutes)) == (207, 204, 34)
    assert quantiles(minutes, n=4, method="inclusive") == [7, 9, 12]
    assert sum(nail.tourniquet_removal_witnessed == "yes" for nail in nails) == 205


def test_incidents_are_as_agreed(demo):
    events = in_scenario(OperationEvent, "operation__", demo)
    assert Counter(events.values_list("kind", "harm")) == {
        ("side_mismatch", "near_miss"): 1, ("tourniquet_noticed", "near_miss"): 1, ("skin_burn", "low"): 2,
        ("vasovagal", "none"): 1, ("osteomyelitis", "moderate"): 1,
    }  # fmt: skip
    bone = events.get(kind="osteomyelitis")
    assert bone.candour_completed_on
    assert bone.operation.patient.diabetes == "yes"


# Before and around the operation.


def test_near_misses_stand_in_the_checklist_too(demo):
    """Stopped at the line that asks for the site again; found at the line that asks for the tourniquet."""
    for kind, code in (("side_mismatch", "site_repeated"), ("tourniquet_noticed", "tourniquet_off")):
        operation = in_scenario(OperationEvent, "operation__", demo).get(kind=kind).operation
        line = CheckedItem.objects.get(phase__operation=operation, code=code)
        assert line.answer == "no"
        assert line.phase.note


def test_what_stands_in_the_way_of_a_signature_was_decided(demo):
    """Nobody signed with a difference or a stop left open, also where the toe was operated on before."""
    operations = Operation.objects.filter(practice=demo).select_related("patient__identity")
    sample = list(operations.order_by("key")[:60]) + [row.operation for row in SiteDecision.objects.all()]

    assert [each for operation in sample for each in clearance_of(operation).obstacles()] == []
    assert sum(bool(site.differences) for operation in sample for site in clearance_of(operation).sites) >= 2


def test_consent_and_assessment_come_before_the_operation(demo):
    days = {
        (consent.patient_id, consent.reconfirmed_on): consent.discussed_on
        for consent in Consent.objects.filter(patient__practice=demo, reconfirmed_on__isnull=False)
    }
    operated = set(Operation.objects.filter(practice=demo).values_list("patient_id", "performed_on"))

    assert {(patient, day) for patient, day in days if day < TODAY} <= operated
    assert all(talked < confirmed for (_, confirmed), talked in days.items())


def test_somebody_comes_today_prepared(demo):
    (consent,) = Consent.objects.filter(patient__practice=demo, reconfirmed_on=TODAY)
    found = clearance_before(consent.patient, TODAY, usable_for(consent.patient, TODAY, without=None))

    assert found.consents == (consent,)
    assert (found.open_stops, found.open_cautions) == ([], [])
    assert found.assessment.assessed_on == TODAY - timedelta(days=5)


def test_the_newest_operation_is_still_in_the_room(demo):
    (operation,) = Operation.objects.filter(practice=demo, signed_at__isnull=True)

    assert operation.checklist.count() == 2
    assert operation.dressing == "not_recorded"


def test_limits_are_approved_for_two_drugs_only(demo):
    approved = DoseLimit.objects.approved().filter(practice=demo)

    assert sorted(approved.values_list("agent", "vasoconstrictor")) == [("lidocaine", "none"), ("mepivacaine", "none")]
    assert not approved.filter(checked_against="").exists()


def test_one_red_flag_waits_and_the_others_were_answered(demo):
    (flag,) = RedFlag.objects.filter(operation__practice=demo).still_open()

    assert (flag.alert, flag.origin, flag.level) == ("ischaemia", "contact", "red")
    assert waiting(Member.objects.get(username="idris")) == [flag]
    answered = RedFlag.objects.filter(operation__practice=demo, answered_at__isnull=False)
    assert answered.filter(alert="cellulitis").exists()
    assert RedFlagSeen.objects.filter(flag__operation__practice=demo).count() == answered.count()


def test_the_flags_are_those_that_the_rules_find_in_the_stored_records(demo):
    """Looked at again from the rows, nothing new is raised and nothing lapses."""
    operations = Operation.objects.filter(practice=demo).order_by("key")
    flagged = list(operations.filter(red_flags__origin="operation").distinct()[:25])
    for operation in [*flagged, *operations.filter(red_flags__isnull=True)[:25]]:
        assert watch_operation(operation, by=operation.operator, now=localtime()) == []
    reviews = Review.objects.filter(operation__practice=demo, toe_findings__signs="some").distinct()
    for review in reviews.order_by("key")[:25]:
        assert watch_review(review, by=review.recorded_by, now=localtime()) == []
    assert not RedFlag.objects.filter(operation__practice=demo, lapsed_at__isnull=False).exists()


# Outcomes at 12 months, as of the cut-off.

PNA_PHENOL = ("pna_chemical", "phenol")
EXPECTED = {  # all, eligible, known, symptomatic
    PNA_PHENOL: (168, 104, 82, 3),
    ("pna_chemical", "sodium_hydroxide"): (30, 20, 16, 1),
    ("pna_only", "none"): (14, 10, 8, 3),
    ("tna_chemical", "phenol"): (16, 10, 7, 1),
    ("wedge", "none"): (8, 5, 3, 1),
    ("tna_only", "none"): (4, 3, 2, 0),
}


def counted(toes: list[Toe], outcome: str) -> tuple[int, int, int, int]:
    status = Counter(toe.status(outcome) for toe in toes)
    known = status["event"] + status["clear"]
    return len(toes), known + status["lost"], known, status["event"]


def test_symptomatic_recurrence_by_technique_is_as_agreed(toes):
    found = {group: counted([toe for toe in toes if toe.group == group], "symptomatic") for group in EXPECTED}
    assert found == EXPECTED
    assert counted(toes, "symptomatic") == (240, 152, 118, 9)


def test_any_regrowth_by_technique_is_as_agreed(toes):
    events = {
        PNA_PHENOL: 6,
        ("pna_chemical", "sodium_hydroxide"): 1,
        ("tna_chemical", "phenol"): 1,
        ("wedge", "none"): 1,
    }
    for group, number in events.items():
        found = counted([toe for toe in toes if toe.group == group], "regrowth")
        assert found == (*EXPECTED[group][:3], number)


def test_matricectomy_headlines_are_as_agreed(toes):
    destroyed = [toe for toe in toes if toe.nail.matrix_destroyed]
    assert counted(destroyed, "symptomatic") == (222, 139, 108, 6)
    assert counted(destroyed, "regrowth") == (222, 139, 108, 9)
    assert counted(destroyed, "re_operation") == (222, 139, 108, 2)
    assert counted([toe for toe in toes if not toe.nail.matrix_destroyed], "re_operation")[3] == 2


def test_nail_came_back_where_the_matrix_was_left(toes):
    known = [toe for toe in toes if not toe.nail.matrix_destroyed and toe.status("symptomatic") in {"event", "clear"}]
    grew = [toe for toe in known if all(any(f.extent == "full" for _, f in toe.side_findings(s)) for s in toe.sides)]
    assert Counter(toe.nail.technique for toe in grew) == {"pna_only": 8, "tna_only": 2}


def test_exposure_lines_are_as_agreed(toes):
    phenol = [toe for toe in toes if toe.group == PNA_PHENOL]
    found = {
        band: counted([toe for toe in phenol if toe.exposure == band], "regrowth") for band in (60, 90, 120, 180, None)
    }
    assert found == {
        60: (36, 22, 17, 2), 90: (22, 14, 11, 1), 120: (40, 26, 21, 1), 180: (66, 40, 31, 2), None: (4, 2, 2, 0),
    }  # fmt: skip


def test_side_lines_are_as_agreed(toes):
    status = {"fibular": Counter(), "tibial": Counter()}
    for toe in toes:
        for side in toe.sides:
            if toe.group == PNA_PHENOL and toe.mature:
                status[side.side][toe.side_status(side, "regrowth")] += 1
    found = {side: (each["event"], each["event"] + each["clear"]) for side, each in status.items()}
    assert found == {"fibular": (3, 62), "tibial": (3, 36)}


def test_sources_and_losses_are_as_agreed(toes):
    known = [toe for toe in toes if toe.status("symptomatic") in {"event", "clear"}]
    lost = [toe for toe in toes if toe.status("symptomatic") == "lost"]
    assert Counter(toe.source for toe in known) == {
        "operator": 52, "independent": 9, "photo": 14, "questionnaire": 31, "phone": 12,
    }  # fmt: skip
    assert Counter(toe.loss_reason for toe in lost) == {
        "no_reply": 19, "did_not_attend": 8, "moved": 4, "declined": 2, "never_tried": 1,
    }  # fmt: skip


@pytest.mark.parametrize("last_day", [240, 10_000], ids=["within the window", "at any later review"])
def test_six_month_completeness_is_as_agreed(toes, last_day):
    mature = [toe for toe in toes if toe.operation.performed_on + timedelta(days=240) <= CUT_OFF]
    seen = [toe for toe in mature if any(150 <= review.day <= last_day for review in toe.reviews)]
    assert (len(seen), len(mature)) == (163, 196)
    assert sum(toe.status("symptomatic", 150, 240) != "lost" for toe in mature) == 163


def test_healing_is_as_agreed(toes):
    days = {toe.nail.pk: toe.dry_day for toe in toes if toe.dry_day is not None}

    def of(group: tuple[str, str]) -> list[int]:
        return [days[toe.nail.pk] for toe in toes if toe.group == group and toe.nail.pk in days]

    late = [
        toe for toe in toes if toe.nail.pk in days and days[toe.nail.pk] > (84 if toe.side_names == ("whole",) else 56)
    ]
    assert len(days) == 219
    assert quantiles(of(PNA_PHENOL), n=4, method="inclusive") == [24, 31, 42]
    assert median(of(("pna_chemical", "sodium_hydroxide"))) == 20
    assert median(of(("tna_chemical", "phenol"))) == 52
    assert median(of(("tna_chemical", "phenol")) + of(("tna_only", "none"))) == 52
    assert len(late) == 11


def test_satisfaction_is_as_agreed(toes):
    answers = [f.satisfaction for toe in toes for _, f in toe.toe_findings() if f.satisfaction != "not_asked"]
    assert (len(answers), sum(answer in {"very_satisfied", "satisfied"} for answer in answers)) == (112, 101)


# Infection.


def signs(finding: ToeFinding) -> int:
    red = bool(finding.erythema_mm) or finding.spreading == "yes"
    return red + sum(getattr(finding, name) == "yes" for name in ("tenderness", "swelling", "warmth"))


def flags(toe: Toe) -> set[str]:
    found = set()
    for review, finding in toe.toe_findings(last_day=30):
        pus = finding.fluid_colour in PUS[0] and finding.fluid_consistency in PUS[1]
        organism = finding.swab in {"organism", "organism_pus"}
        diagnosed = finding.diagnosis not in {"none", "not_assessed"}
        opened = finding.wound_opened == "yes"
        deep = finding.diagnosis in {"deep", "osteomyelitis"}
        shown = pus or organism or (opened and finding.swab == "not_taken" and signs(finding))
        found |= {"rule_a_signs"} if shown and not deep and review.day <= 29 else set()
        found |= (
            {"rule_b"}
            if pus or finding.swab == "organism_pus" or (signs(finding) > 1 and (opened or diagnosed))
            else set()
        )
        found |= {"culture"} if organism else set()
        found |= {"antibiotic"} if finding.antibiotic in {"ours", "gp", "other"} else set()
        if diagnosed:
            moderate = deep or (finding.erythema_mm or 0) >= 20
            mild = signs(finding) > 1 and 5 < finding.erythema_mm < 20
            found |= {"clinician", "moderate" if moderate else "mild" if mild else "unclear"}
    return found


def test_infections_are_as_agreed(toes):
    contacted = [toe for toe in toes if any(1 <= review.day <= 30 for review in toe.reviews)]
    found = Counter(flag for toe in contacted for flag in flags(toe))
    assert len(contacted) == 232
    assert found == {
        "rule_a_signs": 6, "rule_b": 7, "clinician": 9, "antibiotic": 15, "culture": 4, "mild": 7, "moderate": 2,
    }  # fmt: skip


def test_three_of_the_nine_were_infected_at_operation(toes):
    ill = [toe for toe in toes if "clinician" in flags(toe)]
    assert sum(toe.nail.infection_before in {"purulent", "spreading"} for toe in ill) == 3


def test_six_antibiotics_were_for_serous_fluid_only(toes):
    without = [toe for toe in toes if "antibiotic" in flags(toe) and "clinician" not in flags(toe)]
    given = [f for toe in without for _, f in toe.toe_findings(30) if f.antibiotic == "gp"]
    assert {(f.fluid_colour, f.fluid_consistency) for f in given} == {("straw", "thin")}
    assert len(without) == len(given) == 6


# The second practice.


def test_the_second_practice_is_as_agreed(demo):
    toes = toes_of(Practice.objects.get(code="example-harbour"))
    groups = {
        agent: [toe for toe in toes if toe.group == ("pna_chemical", agent)]
        for agent in ("phenol", "tca", "sodium_hydroxide")
    }
    assert len(toes) == 41
    assert counted(groups["phenol"], "regrowth") == (33, 33, 30, 0)
    assert [len(groups[agent]) for agent in ("tca", "sodium_hydroxide")] == [2, 5]


# Awkward records.


def stored(plan, number: int, model) -> list:
    rows = [model.objects.get(key=row.key) for row in plan.rows[number]]
    assert rows
    return rows


def at_day(operation: Operation, day: int) -> Review:
    return next(review for review in operation.reviews.all() if review.day == day)


def test_every_awkward_record_is_accounted_for(plan):
    assert [record.number for record in AWKWARD] == list(range(1, 31))
    kept = {record.number for record in AWKWARD if record.status != DRAFT}
    assert kept == set(plan.rows) == set(range(1, 31)) - {13}


def test_awkward_regrowth(demo, plan, toes):
    by_key = {toe.nail.key: toe for toe in toes}
    both = by_key[plan.rows[1][0].key]
    assert {s.side: both.side_status(s, "regrowth") for s in both.sides} == {"tibial": "event", "fibular": "clear"}
    other_edge = by_key[plan.rows[2][0].key]
    assert other_edge.status("regrowth") == "clear"
    assert "ingrowth" in {finding.untreated_side for _, finding in other_edge.toe_findings()}
    late = by_key[plan.rows[3][0].key]
    assert late.status("regrowth") == "clear"
    assert max(review.day for review in late.reviews) > 425
    elsewhere = by_key[plan.rows[5][0].key]
    assert elsewhere.status("regrowth") == "event"
    assert max(review.day for review in elsewhere.reviews) < 335
    ten = by_key[plan.rows[6][0].key]
    assert ten.status("regrowth") == "lost"
    assert 300 <= max(review.day for review in ten.reviews) < 335
    (again,) = stored(plan, 4, TreatedSide)
    earlier = again.revises.nail_procedure
    assert again.nail_procedure.operation.patient == earlier.operation.patient
    assert (again.side, again.nail_procedure.foot, again.nail_procedure.toe) == (
        again.revises.side,
        earlier.foot,
        earlier.toe,
    )
    assert all(by_key[row.key].nail.matrix_destroyed is False for row in plan.rows[30])
    pain = by_key[plan.rows[19][0].key]
    told = [(r.means, f.symptoms) for s in pain.sides for r, f in pain.side_findings(s) if r.day >= 335]
    assert told == [("questionnaire", "pain"), ("in_person", "none")]


def test_awkward_infections(demo, plan):
    (serous,) = stored(plan, 8, NailProcedure)
    assert at_day(serous.operation, 9).toe_findings.get().antibiotic == "gp"
    for nail, day in zip(stored(plan, 9, NailProcedure), (29, 30), strict=True):
        colours = {review.day: review.toe_findings.get().fluid_colour for review in nail.operation.reviews.all()}
        assert [seen for seen, colour in colours.items() if colour == "yellow"] == [day]
    (before,) = stored(plan, 10, NailProcedure)
    assert before.infection_before == "purulent"


def test_awkward_operations(demo, plan):
    (both,) = stored(plan, 11, Operation)
    milligrams = sum(float(dose.volume_ml * dose.strength_percent * 10) for dose in both.doses.all())
    assert 3 * float(both.weight_kg) < milligrams < min(4.5 * float(both.weight_kg), 200)
    assert stored(plan, 12, Operation)[0].weight_kg is None
    assert stored(plan, 14, NailProcedure)[0].tourniquet_off_at is None
    (night,) = stored(plan, 15, NailProcedure)
    on, off = (localtime(each) for each in (night.tourniquet_on_at, night.tourniquet_off_at))
    assert (on.date(), off.date()) == (night.operation.performed_on, night.operation.performed_on + timedelta(days=1))
    (total,) = stored(plan, 16, TreatedSide)
    assert (total.applications.count(), total.exposure_seconds) == (0, 180)
    unclear, clear = stored(plan, 17, NailProcedure)
    assert (float(unclear.strength_percent), unclear.strength_basis) == (80, "not_recorded")
    assert (float(clear.strength_percent), clear.strength_basis) == (89, "w_w")
    (expired,) = stored(plan, 18, Operation)
    assert [dose.expires_on < expired.performed_on for dose in expired.doses.order_by("pk")] == [False, True]
    assert stored(plan, 22, Operation)[0].performed_on == date(2024, 2, 29)
    assert stored(plan, 28, NailProcedure)[0].stage_system == "heifetz"


def test_awkward_people(demo, plan):
    (died,) = stored(plan, 7, Patient)
    assert 140 < (died.died_on - died.operations.get().performed_on).days < 160
    assert stored(plan, 20, Patient)[0].operations.get().age_years == 91
    for nail in stored(plan, 21, NailProcedure):
        year = (nail.operation.performed_on - timedelta(days=90)).year
        peers = in_scenario(NailProcedure, "operation__", demo).filter(toe=5).select_related("operation")
        assert [n.pk for n in peers if (n.operation.performed_on - timedelta(days=90)).year == year] == [nail.pk]
    (child,) = stored(plan, 29, Operation)
    assert child.age_years < 16
    assert child.consent_given_by == "not_recorded"
    here = stored(plan, 23, Patient)[0]
    (there,) = stored(harbour.build(plan.rows[23][0]), 23, Patient)
    assert here.practice != there.practice
    assert (here.identity.name, here.identity.born_on) == (there.identity.name, there.identity.born_on)
    apostrophe, accent, lone = (Patient.objects.get(key=row.key).identity for row in plan.rows[24][:3])
    assert ("'" in apostrophe.name, accent.given_name, lone.given_name) == (True, "Zoë", "")
    assert Review.objects.get(key=plan.rows[24][3].key).note == INJECTION


def test_awkward_paperwork(demo, plan):
    (late,) = stored(plan, 25, Operation)
    assert any((review.recorded_at.date() - review.seen_on).days > 30 for review in late.reviews.all())
    (amended,) = stored(plan, 26, TreatedSide)
    versions = list(amended.history.order_by("history_date").values_list("side", "version", "history_change_reason"))
    assert [(side, version) for side, version, _ in versions] == [("tibial", 1), ("fibular", 2)]
    assert versions[1][2]
    draft = Draft.objects.get()
    assert draft.answers["dose1-strength_percent"] == "20"
    assert Patient.objects.filter(key=draft.subject_key).exists()


def test_the_practice_has_set_its_ways_and_they_cover_its_records(demo):
    newest = demo.history.order_by("history_id").last()
    assert (newest.staging_system, newest.history_user.username) == ("mozena", "orla")
    agents = set(NailProcedure.objects.filter(operation__practice=demo).values_list("agent", flat=True))
    assert agents <= {*demo.agents_offered, "none", "not_recorded"}
    doses = AnaestheticDose.objects.filter(operation__practice=demo).values_list("agent", flat=True)
    assert set(doses) <= set(demo.anaesthetics_offered)
    templates = demo.operation_templates.filter(offered=True)
    assert [row.history.get().history_user for row in templates] == [newest.history_user] * 3


def test_the_photograph_no_longer_carries_its_place(demo, plan):
    (photograph,) = stored(plan, 27, Photograph)
    sent = picture_with_place()
    assert PLACE.encode() in sent
    assert Image.open(BytesIO(sent)).getexif().get_ifd(0x8825)
    for size in storage.SIZES:
        kept = storage.read(photograph.file_name, size)
        assert PLACE.encode() not in kept
        assert not Image.open(BytesIO(kept)).getexif()
    assert photograph.taken_on == photograph.review.seen_on
    assert photograph.width > photograph.height  # sent lying on its side, stored upright


# The story since.


def test_the_third_year_has_matured_with_about_80_percent_known(demo):
    toes = toes_of(demo, TODAY, first=date(2024, 4, 1))
    _, eligible, known, events = counted([toe for toe in toes if not toe.operation.patient.died_on], "symptomatic")
    assert eligible == 87
    assert 0.77 <= known / eligible <= 0.85
    assert 1 <= events <= 5


def test_nothing_of_the_story_lies_before_the_cut_off(demo):
    later = Operation.objects.filter(practice=demo, performed_on__gt=date(2025, 3, 31))
    assert later.exists()
    assert not later.filter(performed_on__lt=afterwards.FIRST_DAY).exists()
    assert not later.filter(nail_procedures__treated_sides__revises__isnull=False).exists()


def said_by_the_cut_off(today: date) -> list:
    """Everything that was known of the scenario's operations at the cut-off, had the demonstration begun on `today`."""
    plan = scenario.build()
    count = len(plan.patients)
    afterwards.extend(plan, today)
    known = []
    for operation in (operation for patient in plan.patients[:count] for operation in patient.operations):
        reviews = [review for review in operation.reviews if review.seen_on <= CUT_OFF]
        contacts = [(c.made_on, c.channel, c.result) for c in operation.contacts if c.made_on <= CUT_OFF]
        found = [[finding for _, finding in [*review.toes, *review.sides]] for review in reviews]
        known.append((operation.key, [(r.key, r.seen_on, r.observer, r.means) for r in reviews], found, contacts))
    return known


@pytest.mark.parametrize("today", [date(2025, 6, 2), date(2026, 2, 28), TODAY])
def test_the_day_of_loading_does_not_change_what_was_known_at_the_cut_off(today):
    assert said_by_the_cut_off(today) == said_by_the_cut_off(date(2028, 1, 1))


def test_the_practice_operates_seven_to_eight_times_a_month(demo):
    months = (TODAY - afterwards.FIRST_DAY).days / 30.4
    number = Operation.objects.filter(practice=demo, performed_on__gte=afterwards.FIRST_DAY).count()
    assert 6.5 <= number / months <= 8.5


def test_nothing_has_happened_tomorrow(demo):
    assert not Operation.objects.filter(performed_on__gte=TODAY).exists()
    assert not Review.objects.filter(seen_on__gte=TODAY).exists()
    assert not Contact.objects.filter(made_on__gte=TODAY).exists()


def test_six_reviews_are_booked_today_and_some_later(demo):
    times = [localtime(booking.starts_at) for booking in Booking.objects.order_by("starts_at")]
    today = [f"{each:%H:%M}" for each in times if each.date() == TODAY]
    assert today == ["09:20", "09:40", "10:10", "13:30", "14:00", "15:20"]
    assert any(each.date() > TODAY for each in times)


def test_something_unexpected_waits(demo):
    problems = Contact.objects.filter(result="problem", handled_at__isnull=True)
    assert {(TODAY - contact.made_on).days for contact in problems} == {1, 2}
    report = Review.objects.get(observer="patient", accepted_at__isnull=True)
    assert (report.origin, report.means) == ("patient", "questionnaire")


# Loading.


def test_two_loads_of_one_day_have_the_same_keys(first_keys, demo):
    assert all_keys() == first_keys


def test_every_row_has_its_history(demo):
    parts = (AssessmentItem, ConsentElement, CheckedItem)
    for model in (*KEYED[1:], Application, AnaestheticDose, OperationEvent, *parts):
        assert model.history.filter(history_type="+").count() == model.objects.count()
    for model in parts:
        assert not model.history.filter(history_user__isnull=True).exists()
    assert not Operation.history.filter(history_user__isnull=True).exists()


def test_identities_are_sealed_and_can_be_found(demo):
    with connection.cursor() as cursor:
        cursor.execute("SELECT family_name, given_name, born_on_text, phone, email FROM clinic_identity")
        text = str(cursor.fetchall())
    assert "Example" not in text
    assert "01632" not in text
    lead = Member.objects.get(username="orla")
    assert find_patients(lead, "avery example-001").count() == 1
    assert find_patients(lead, "TS-0171").get().identity.spoken_name.endswith("Example-171")


def test_every_role_can_sign_in(demo):
    assert set(Member.objects.values_list("role", flat=True)) == set(Role.values)
    assert all(member.check_password(PASSWORD) for member in Member.objects.all())


def test_the_password_would_be_accepted_from_anybody(demo):
    for member in Member.objects.select_related("practice"):
        validate_password(PASSWORD, member)


def run() -> str:
    out = StringIO()
    call_command("demo", "--no-serve", stdout=out)
    return out.getvalue()


def test_a_second_run_changes_nothing(demo, settings):
    settings.DEBUG = True
    before = all_keys(), list(Member.objects.order_by("pk").values_list("password", flat=True))
    assert "already loaded" in run()
    assert before == (all_keys(), list(Member.objects.order_by("pk").values_list("password", flat=True)))


def test_the_command_prints_who_may_sign_in(demo, settings):
    settings.DEBUG = True
    said = run()
    assert PASSWORD in said
    assert all(username in said for username in Member.objects.values_list("username", flat=True))


def test_it_refuses_outside_development(demo, settings):
    settings.DEBUG = False
    with pytest.raises(CommandError, match="only in development"):
        run()


def test_it_refuses_a_database_of_somebody_else(demo, settings):
    settings.DEBUG = True
    Practice.objects.create(code="real", name="Somebody else's practice")
    with pytest.raises(CommandError, match="Somebody else's practice"):
        run()
