"""Each field in the words of the page: what was found, what was absent, what nobody asked, what was not recorded."""

from datetime import date
from decimal import Decimal

import pytest

from clinic.preparation.models import Assessment
from clinic.preparation.reading import consent_lines, points_of, sections_of
from tests.factories import create_assessment, create_consent, create_member

pytestmark = pytest.mark.django_db
D = Decimal


def read(assessment: Assessment) -> dict[str, dict[str, str]]:
    fetched = Assessment.objects.with_parts().get(pk=assessment.pk)
    return {section.title: dict(section.lines) for section in sections_of(fetched)}


def said(section: str, label: str, **options) -> str:
    return read(create_assessment(**options))[section][label]


@pytest.mark.parametrize(
    ("section", "label", "options", "words"),
    [
        # the toe
        ("Right 1st toe (hallux)", "Infection", {}, "None"),
        ("Left 4th toe", "Infection", {"toes": {("left", 4): {"infection": "purulent"}}}, "Pus"),
        ("Left 4th toe", "Infection of the bone suspected",
         {"toes": {("left", 4): {"bone_infection": "not_assessed"}}}, "Not assessed"),
        ("Right 1st toe (hallux)", "Done to this nail before", {}, "None"),
        ("Left 1st toe (hallux)", "Done to this nail before",
         {"toes": {("left", 1): {"prior_surgery": "chemical", "prior_part": "tibial", "prior_year": 2019,
                                 "prior_elsewhere": "yes"}}},
         "Chemical matricectomy, tibial (medial) side, 2019, by another provider"),
        ("Left 1st toe (hallux)", "Done to this nail before", {"toes": {("left", 1): {"prior_surgery": "avulsion"}}},
         "Avulsion, part not recorded, year not recorded, provider not recorded"),
        # why
        ("Why surgery", "Main reason", {}, "Onychocryptosis (ingrowing nail)"),
        ("Why surgery", "Main reason", {"indication": "other", "indication_other": "catches in the sock"},
         "Other: catches in the sock"),
        ("Why surgery", "Further reasons", {"yes": {"indication": ("paronychia", "other")},
                                            "indication_other": "catches"}, "Recurrent paronychia and Other: catches"),
        ("Why surgery", "Tried before surgery", {}, "nothing"),
        ("Why surgery", "Tried before surgery", {"yes": {"conservative": ("cutting", "taping")}},
         "Nail cutting and packing and Taping"),
        ("Why surgery", "Symptoms for", {}, "not recorded"),
        ("Why surgery", "Symptoms for", {"symptoms_weeks": 0}, "0 weeks"),
        ("Why surgery", "Look-alikes considered", {"yes": {"look_alike": ("glomus",)}}, "Glomus tumour"),
        # feet
        ("Right foot", "Dorsalis pedis pulse", {}, "Palpable"),
        ("Left foot", "Posterior tibial pulse", {"feet": {"left": {"posterior_tibial": "not_palpable"}}},
         "Not palpable"),
        ("Left foot", "Doppler signal", {"feet": {"left": {"doppler": "biphasic"}}}, "Biphasic"),
        ("Right foot", "ABPI", {}, "not recorded"),
        ("Right foot", "ABPI", {"feet": {"right": {"abpi": D("0.9")}}}, "0.90"),
        ("Right foot", "Toe pressure", {"feet": {"right": {"toe_pressure": 0}}}, "0 mmHg"),
        ("Right foot", "TBI", {"feet": {"right": {"tbi": D("0.7")}}}, "0.70"),
        ("Right foot", "Ankle pressure", {"feet": {"right": {"ankle_pressure": 120}}}, "120 mmHg"),
        ("Right foot", "Ratios and pressures measured on",
         {"feet": {"right": {"abpi": D("0.9"), "measured_on": date(2026, 11, 3)}}}, "3 Nov 2026"),
        ("Right foot", "Ratios and pressures measured on", {"feet": {"right": {"abpi": D("0.9")}}},
         "date not recorded"),
        ("Right foot", "Monofilament sites felt", {"feet": {"right": {"monofilament_sites": 0}}}, "0 of 10"),
        # health
        ("Health", "Diabetes", {"diabetes": "not_assessed"}, "Not asked"),
        ("Health", "Foot risk category", {}, "Not applicable"),
        ("Health", "HbA1c", {}, "not recorded"),
        ("Health", "HbA1c", {"hba1c": D("72.5"), "hba1c_unit": "mmol_mol", "hba1c_on": date(2026, 10, 1)},
         "72.5 mmol/mol, 1 Oct 2026"),
        ("Health", "HbA1c", {"hba1c": D("8"), "hba1c_unit": "percent"}, "8 %, date not recorded"),
        ("Health", "Medicines against clotting", {}, "none of those asked about"),
        ("Health", "Medicines against clotting", {"yes": {"antithrombotic": ("warfarin", "antiplatelet")}},
         "Antiplatelet and Warfarin"),
        ("Health", "INR", {"inr": D("2.4"), "inr_on": date(2026, 11, 19)}, "2.4, 19 Nov 2026"),
        ("Health", "Immune system suppressed", {"immunosuppression": "biologic"}, "Biologic"),
        ("Health", "Conditions", {"yes": {"condition": ("crps", "cardiac")}}, "Heart disease and CRPS"),
        ("Health", "Pregnant", {"pregnancy": "declined"}, "Declined to answer"),
        ("Health", "Breastfeeding", {"breastfeeding": "not_applicable"}, "Not applicable"),
        ("Health", "Tobacco", {"tobacco": "ex"}, "Stopped"),
        # allergies and weight
        ("Allergies", "Allergies", {}, "none known"),
        ("Allergies", "Latex or rubber", {"reactions": {"latex": "contact"}}, "Contact dermatitis"),
        ("Allergies", "In words", {"allergy_words": "to strawberries"}, "to strawberries"),
        ("Weight", "Weight", {}, "70 kg, measured, 20 Nov 2026"),
        ("Weight", "Weight", {"weight_kg": None, "weight_basis": "not_recorded", "weight_on": None}, "not recorded"),
    ],
)  # fmt: skip
def test_each_field_is_said(section, label, options, words):
    assert said(section, label, **options) == words


@pytest.mark.parametrize(
    ("answer", "words"), [("not_assessed", "not asked"), ("not_recorded", "not recorded"), ("no", "none known")]
)
def test_no_not_asked_and_not_recorded_are_said_apart(answer, words):
    assessment = create_assessment()
    for item in assessment.items.filter(topic="allergy"):
        item.answer = answer
        item.save()

    assert read(assessment)["Allergies"] == {"Allergies": words}


def test_a_code_that_the_vocabulary_did_not_have_then_is_not_recorded():
    assessment = create_assessment()
    for item in assessment.items.filter(topic="condition"):
        item.delete()

    assert read(assessment)["Health"]["Conditions"] == "not recorded"


def test_a_consent_is_said(practice):
    member = create_member(practice)
    consent = create_consent(by=member, foot="left", toe=2, part="both", intent="temporary", interpreter="family")

    assert dict(consent_lines(consent)) == {
        "Said by the patient": "Left 2nd toe, both sides",
        "Intent": "Temporary",
        "Consent given by": "The patient",
        "Talked about": f"20 Nov 2026, {member}",
        "Confirmed on the day": "not yet",
        "Consent to photographs": "No",
        "Interpreter": "Family or friend",
    }
    consent.reconfirmed_on, consent.reconfirmed_by = date(2026, 11, 25), member
    assert dict(consent_lines(consent))["Confirmed on the day"] == f"25 Nov 2026, {member}"


def test_what_was_and_was_not_talked_about():
    ticked, left_out = points_of(create_consent(points=("pain", "diagnosis")))

    assert ticked == ["Diagnosis", "Pain"]
    assert len(left_out) == 21
    assert "Infection" in left_out
