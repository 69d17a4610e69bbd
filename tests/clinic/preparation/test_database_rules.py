"""The database refuses by itself what must never be stored before an operation."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from clinic.preparation.models import AssessedToe, AssessmentItem, Consent, ConsentElement, FlagDecision, FootFinding
from tests.factories import NOON, create_assessment, create_consent

pytestmark = pytest.mark.django_db


def refused(row, **values) -> bool:
    for name, value in values.items():
        setattr(row, name, value)
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:
        return True
    return False


LATER = date(2026, 11, 21)


@pytest.mark.parametrize(
    "values",
    [
        {"assessed_on": date(1899, 12, 31)},
        {"indication": "boredom"},
        {"indication": "other", "indication_other": ""},
        {"symptoms_weeks": 1001},
        {"diabetes": "type_3"},
        {"foot_risk": "extreme"},
        {"hba1c": Decimal("50")},
        {"hba1c_unit": "mmol_mol"},
        {"hba1c": Decimal("8.5"), "hba1c_unit": "mmol_mol"},
        {"hba1c": Decimal("58"), "hba1c_unit": "percent"},
        {"hba1c_on": date(2026, 11, 1)},
        {"hba1c": Decimal("50"), "hba1c_unit": "mmol_mol", "hba1c_on": LATER},
        {"inr": Decimal("0.4")},
        {"inr": Decimal("10.1")},
        {"inr_on": date(2026, 11, 1)},
        {"inr": Decimal("2"), "inr_on": LATER},
        {"immunosuppression": "some"},
        {"pregnancy": "maybe"},
        {"breastfeeding": "maybe"},
        {"tobacco": "often"},
        {"weight_kg": Decimal("4.9")},
        {"weight_kg": Decimal("300.1")},
        {"weight_kg": None},
        {"weight_basis": "guessed"},
        {"weight_on": LATER},
    ],
)
def test_impossible_assessments(values):
    assert refused(create_assessment(), **values)


@pytest.mark.parametrize(
    "values",
    [
        {"foot": "both"},
        {"foot": "left"},  # there twice
        {"dorsalis_pedis": "weak"},
        {"posterior_tibial": "weak"},
        {"doppler": "loud"},
        {"abpi": Decimal("2.01")},
        {"toe_pressure": 251},
        {"tbi": Decimal("1.51")},
        {"ankle_pressure": 301},
        {"monofilament_sites": 11},
        {"measured_on": date(2026, 11, 1)},
    ],
)
def test_impossible_findings_of_a_foot(values):
    create_assessment()

    assert refused(FootFinding.objects.get(foot="right"), **values)


@pytest.mark.parametrize(
    "values",
    [
        {"foot": "both"},
        {"toe": 0},
        {"toe": 6},
        {"infection": "bad"},
        {"bone_infection": "maybe"},
        {"prior_surgery": "magic"},
        {"prior_part": "left"},
        {"prior_year": 1899},
        {"prior_elsewhere": "maybe"},
    ],
)
def test_impossible_toes(values):
    create_assessment()

    assert refused(AssessedToe.objects.get(), **values)


def test_the_same_toe_twice():
    assessment = create_assessment()

    assert refused(AssessedToe(assessment=assessment, foot="right", toe=1))


@pytest.mark.parametrize(
    "values",
    [
        {"code": "phenol"},  # an allergen, not a condition
        {"code": "liver"},  # there twice
        {"topic": "nonsense"},
        {"answer": "maybe"},
        {"reaction": "rash"},  # only an allergy has one
    ],
)
def test_impossible_lines(values):
    create_assessment()

    assert refused(AssessmentItem.objects.get(topic="condition", code="epilepsy"), **values)


def test_a_reaction_without_the_allergy():
    create_assessment()
    line = AssessmentItem.objects.get(topic="allergy", code="latex")

    assert refused(line, reaction="rash")
    assert refused(line, answer="yes", reaction="itch")
    assert not refused(line, answer="yes", reaction="rash")


@pytest.mark.parametrize(
    ("level", "outcome", "text", "wrong"),
    [
        ("caution", "acknowledged", "Seen", False),
        ("caution", "proceed", "Seen", True),
        ("stop", "proceed", "Seen", False),
        ("stop", "not_here", "Seen", False),
        ("stop", "acknowledged", "Seen", True),
        ("stop", "whatever", "Seen", True),
        ("note", "acknowledged", "Seen", True),
        ("caution", "acknowledged", "", True),
    ],
)
def test_decisions_fit_the_level_and_say_why(level, outcome, text, wrong):
    assessment = create_assessment()
    row = FlagDecision(assessment=assessment, code="x", level=level, fact="A fact", outcome=outcome, text=text,
                       decided_by=assessment.assessed_by, decided_at=NOON)  # fmt: skip

    assert refused(row) == wrong


@pytest.mark.parametrize(
    "values",
    [
        {"foot": "both"},
        {"toe": 6},
        {"part": "left"},
        {"intent": "maybe"},
        {"given_by": "neighbour"},
        {"discussed_on": date(1899, 12, 31)},
        {"reconfirmed_on": date(2026, 11, 25)},  # by nobody
        {"withdrawn_on": date(2026, 11, 25)},
        {"photographs": "maybe"},
        {"interpreter": "dog"},
    ],
)
def test_impossible_consents(values):
    assert refused(create_consent(), **values)


@pytest.mark.parametrize("what", ["reconfirmed", "withdrawn"])
def test_nothing_happens_to_a_consent_before_it_was_given(what):
    consent = create_consent(discussed_on=date(2026, 11, 20))
    by = {f"{what}_by": consent.discussed_by}

    assert refused(consent, **by)
    assert refused(consent, **by, **{f"{what}_on": date(2026, 11, 19)})
    assert not refused(consent, **by, **{f"{what}_on": date(2026, 11, 20)})


def test_an_element_once_per_consent_and_only_a_known_one():
    consent = create_consent(points=("pain",))

    assert refused(ConsentElement(consent=consent, code="pain"))
    assert refused(ConsentElement(consent=consent, code="weather"))
    assert not refused(ConsentElement(consent=consent, code="bleeding"))
    assert Consent.objects.count() == 1
