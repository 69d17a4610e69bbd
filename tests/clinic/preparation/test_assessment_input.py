"""Every answer of the assessment: what is refused with which sentence at the field, and what asks for a reason."""

import pytest
from django.urls import reverse

from clinic.preparation.models import Assessment
from tests.clinic.preparation.posts import assess, assessment_answers, errors, text
from tests.factories import create_patient

pytestmark = pytest.mark.django_db

TODAY, TOMORROW = "2026-11-25", "2026-11-26"


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


REFUSED = [
    # missing
    ({"visit__assessed_on": None}, "When was the assessment? Give day, month and year"),
    ({"visit__assessed_by": None}, "Choose who assessed the patient"),
    ({"toe1__toe": None}, "Choose the toe"),
    ({"toe1__infection": None}, "Choose whether there is infection, or “Not assessed”"),
    ({"toe1__bone_infection": None}, "Choose whether infection of the bone is suspected, or “Not assessed”"),
    ({"toe1__prior_surgery": None}, "Choose what was done to this nail before, or “Not asked”"),
    ({"why__indication": None}, "Choose the main reason for surgery"),
    ({"why__tried": None}, "Choose what was tried before, or “Nothing tried”, or “Not asked”"),
    ({"why__indication": "other"}, "Say which other reason"),
    ({"why__further": ["other"]}, "Say which other reason"),
    ({"right__dorsalis_pedis": None}, "Right foot: Choose the dorsalis pedis pulse, or “Not examined”"),
    ({"left__posterior_tibial": None}, "Left foot: Choose the posterior tibial pulse, or “Not examined”"),
    ({"health__diabetes": None}, "Choose whether there is diabetes, or “Not asked”"),
    ({"health__diabetes": "type_1"}, "Choose the foot risk category, or “Not assessed”"),
    ({"health__hba1c": "50"}, "Choose the unit of the HbA1c"),
    (
        {"health__antithrombotic": None},
        "Choose the medicines against clotting, or “None of these”, or “Not asked”",
    ),
    ({"health__immunosuppression": None}, "Choose whether the immune system is suppressed, or “Not asked”"),
    ({"health__condition": None}, "Tick the conditions, or “None of these”, or “Not asked”"),
    ({"health__pregnancy": None}, "Choose whether the patient is pregnant, or “Not applicable”"),
    ({"health__breastfeeding": None}, "Choose whether the patient is breastfeeding, or “Not applicable”"),
    ({"health__tobacco": None}, "Choose whether the patient uses tobacco, or “Not asked”"),
    ({"allergy__allergies": None}, "Choose whether there are allergies, or “Not asked”"),
    ({"allergy__allergies": "some"}, "Choose the reaction at the substance, or say in words which allergy"),
    (
        {"body__weight_kg": "70", "body__weight_on": TODAY},
        "Choose whether the weight was measured or stated",
    ),
    (
        {"body__weight_kg": "70", "body__weight_basis": "stated"},
        "When was the weight taken? Give day, month and year",
    ),
    # contradictions
    (
        {"health__condition": ["none", "epilepsy"]},
        "“None of these” cannot go with “Epilepsy”; take one away",
    ),
    (
        {"health__antithrombotic": ["not_assessed", "doac"]},
        "“Not asked” cannot go with “Direct oral anticoagulant”; take one away",
    ),
    ({"why__tried": ["none", "taping"]}, "“Nothing tried” cannot go with “Taping”; take one away"),
    (
        {"why__further": ["onychocryptosis"]},
        "“Onychocryptosis (ingrowing nail)” is the main reason already; take it away here",
    ),
    (
        {"allergy__to_latex": "rash"},
        "“None known” cannot go with a reaction to “Latex or rubber”; change one of them",
    ),
    ({"toes": 2, "toe2__toe": "right-1"}, "Toe 2: The right 1st toe (hallux) is entered twice; take one away"),
    # a result needs its date only together with the result
    ({"health__hba1c_on": TODAY}, "A date is given, but no HbA1c; enter the HbA1c or clear the date"),
    ({"health__inr_on": TODAY}, "A date is given, but no INR; enter the INR or clear the date"),
    (
        {"right__measured_on": TODAY},
        "Right foot: A date is given, but no ratio or pressure; enter one or clear the date",
    ),
    # days
    ({"visit__assessed_on": TOMORROW}, "The assessment date lies in the future"),
    ({"visit__assessed_on": "2026-02-30"}, "30 February does not exist; check the assessment date"),
    ({"visit__assessed_on": "1990-05-16"}, "The assessment date lies before the patient was born; check it"),
    (
        {"visit__assessed_on": "2026-11-20", "health__inr": "2", "health__inr_on": "2026-11-21"},
        "The INR is dated after the assessment (20 Nov 2026); check both",
    ),
    (
        {"visit__assessed_on": "2026-11-20", "health__hba1c": "50", "health__hba1c_unit": "mmol_mol",
         "health__hba1c_on": "2026-11-21"},
        "The HbA1c is dated after the assessment (20 Nov 2026); check both",
    ),
    (
        {"visit__assessed_on": "2026-11-20", "left__abpi": "1", "left__measured_on": "2026-11-21"},
        "Left foot: The pressures of the left foot are dated after the assessment (20 Nov 2026); check both",
    ),
    (
        {"visit__assessed_on": "2026-11-20", "body__weight_kg": "70", "body__weight_basis": "stated",
         "body__weight_on": "2026-11-21"},
        "The weight is dated after the assessment (20 Nov 2026); check both",
    ),
    (
        {"health__hba1c": "50", "health__hba1c_unit": "mmol_mol", "health__hba1c_on": TOMORROW},
        "The date of the HbA1c lies in the future",
    ),
    (
        {"health__inr": "2", "health__inr_on": "1990-01-01"},
        "The date of the INR lies before the patient was born; check it",
    ),
    ({"toe1__prior_surgery": "avulsion", "toe1__prior_year": "1989"},
     "The year must be between 1990, when the patient was born, and 2026"),
    ({"toe1__prior_surgery": "avulsion", "toe1__prior_year": "2027"},
     "The year must be between 1990, when the patient was born, and 2026"),
    # a unit mixed up
    (
        {"health__hba1c": "8.5", "health__hba1c_unit": "mmol_mol"},
        "HbA1c must be between 20 and 200 mmol/mol; 8.5 looks like a result in %",
    ),
    (
        {"health__hba1c": "58", "health__hba1c_unit": "percent"},
        "HbA1c must be between 4 and 20 %; 58 looks like a result in mmol/mol",
    ),
    ({"health__hba1c": "300", "health__hba1c_unit": "percent"}, "HbA1c must be between 4 and 20 %"),
    # two decimal signs, words, more decimals than can be measured
    ({"right__abpi": "1.2.3"}, "Right foot: 1.2.3 has two decimal signs; enter one, like 2.5"),
    ({"right__abpi": "low"}, "Right foot: ABPI must be a plain number; enter a number like 2.5"),
    ({"right__abpi": "0.855"}, "Right foot: ABPI may have at most 2 decimal places"),
    ({"body__weight_kg": "70.25"}, "Weight may have at most 1 decimal place"),
    ({"left__toe_pressure": "40.5"}, "Left foot: Toe pressure must be a whole number; enter a number like 60"),
    # codes nobody offers
    ({"health__diabetes": "not_recorded"}, "Choose whether there is diabetes, or “Not asked”"),
    ({"right__doppler": "quadriphasic"}, "Right foot: Choose the Doppler signal from the list"),
    ({"why__considered": ["ghost"]}, "Choose from the list"),
    ({"allergy__allergies": "some", "allergy__to_latex": "ghost"},
     "Choose the reaction to “Latex or rubber” from the list"),
    ({"toe1__toe": "right-6"}, "Choose the toe"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "sentence"), REFUSED, ids=[str(changes)[:70] for changes, _ in REFUSED])
def test_is_refused_with_a_sentence_at_the_field(client, patient, practitioner, changes, sentence):
    response = assess(client, patient, practitioner, **changes)

    assert errors(response) == [sentence]
    page = response.content.decode()
    assert page.count(sentence.split(": ", 1)[-1]) == 2  # in the summary and at the field
    assert not Assessment.objects.exists()


# name, lowest and highest that is taken, one below and one above, the sentence
RANGES = [
    ("right__abpi", "0", "2", "-0.01", "2.01", "Right foot: ABPI must be between 0 and 2"),
    ("right__toe_pressure", "0", "250", "-1", "251", "Right foot: Toe pressure must be between 0 and 250 mmHg"),
    ("right__tbi", "0", "1.5", "-0.01", "1.51", "Right foot: TBI must be between 0 and 1.5"),
    ("left__ankle_pressure", "0", "300", "-1", "301", "Left foot: Ankle pressure must be between 0 and 300 mmHg"),
    ("left__monofilament_sites", "0", "10", "-1", "11",
     "Left foot: Monofilament sites felt must be between 0 and 10 of 10"),
    ("health__inr", "0.5", "10", "0.4", "10.1", "INR must be between 0.5 and 10"),
    ("body__weight_kg", "5", "300", "4.9", "300.1", "Weight must be between 5 and 300 kg"),
    ("why__symptoms_weeks", "0", "1000", "-1", "1001", "The duration of symptoms must be between 0 and 1000 weeks"),
]  # fmt: skip
WITH = {
    "right__abpi": {"right__measured_on": TODAY},
    "right__toe_pressure": {"right__measured_on": TODAY},
    "right__tbi": {"right__measured_on": TODAY},
    "left__ankle_pressure": {"left__measured_on": TODAY},
    "health__inr": {"health__inr_on": TODAY, "health__antithrombotic": ["warfarin"]},
    "body__weight_kg": {"body__weight_basis": "measured", "body__weight_on": TODAY},
}
CONFIRMED = {"confirm__confirmed": "on", "confirm__confirm_reason": "Measured twice"}


@pytest.mark.parametrize(("name", "low", "high", "below", "above", "sentence"), RANGES)
def test_the_range_of_every_number(client, patient, practitioner, name, low, high, below, above, sentence):
    """Plausible ranges: common practice, no source."""
    for value in (below, above):
        assert errors(assess(client, patient, practitioner, **{name: value}, **WITH.get(name, {}))) == [sentence]
    for number, value in enumerate((low, high), start=1):
        assess(client, patient, practitioner, **{name: value}, **WITH.get(name, {}), **CONFIRMED)
        assert Assessment.objects.count() == number, value


@pytest.mark.parametrize(
    ("value", "unit", "taken"),
    [("19.9", "mmol_mol", False), ("20", "mmol_mol", True), ("200", "mmol_mol", True), ("200.1", "mmol_mol", False),
     ("3.9", "percent", False), ("4", "percent", True), ("20", "percent", True), ("20.1", "percent", False)],
)  # fmt: skip
def test_the_range_of_hba1c_depends_on_its_unit(client, patient, practitioner, value, unit, taken):
    result = {"health__hba1c": value, "health__hba1c_unit": unit, "health__hba1c_on": TODAY}
    assess(client, patient, practitioner, **result, **CONFIRMED)

    assert Assessment.objects.exists() == taken


UNUSUAL = [  # where "unusual" begins is common practice, no source
    ({"why__symptoms_weeks": "521"}, "symptoms for 521 weeks are more than ten years"),
    ({"right__abpi": "0.29", "right__measured_on": TODAY},
     "Right foot: ABPI 0.29 is unusual (0.30 to 1.60 is usual)"),
    ({"right__abpi": "1.61", "right__measured_on": TODAY},
     "Right foot: ABPI 1.61 is unusual (0.30 to 1.60 is usual)"),
    ({"left__toe_pressure": "120", "left__ankle_pressure": "110", "left__measured_on": TODAY},
     "Left foot: the toe pressure of 120 mmHg is above the ankle pressure of 110 mmHg"),
    ({"left__tbi": "0.8"}, "Left foot: ratios or pressures without the date they were measured on"),
    ({"health__hba1c": "131", "health__hba1c_unit": "mmol_mol", "health__hba1c_on": TODAY},
     "HbA1c 131 mmol/mol is unusually high"),
    ({"health__hba1c": "14.1", "health__hba1c_unit": "percent", "health__hba1c_on": TODAY},
     "HbA1c 14.1 % is unusually high"),
    ({"health__hba1c": "50", "health__hba1c_unit": "mmol_mol"}, "HbA1c without its date"),
    ({"health__antithrombotic": ["warfarin"], "health__inr": "5.1", "health__inr_on": TODAY},
     "INR 5.1 is unusually high"),
    ({"health__antithrombotic": ["warfarin"], "health__inr": "2"}, "INR without its date"),
    ({"health__inr": "1", "health__inr_on": TODAY}, "an INR is given, but warfarin is not ticked"),
    ({"body__weight_kg": "14.9", "body__weight_basis": "stated", "body__weight_on": TODAY},
     "a weight of 14.9 kg is unusual (15 to 200 kg is usual)"),
    ({"body__weight_kg": "200.1", "body__weight_basis": "stated", "body__weight_on": TODAY},
     "a weight of 200.1 kg is unusual (15 to 200 kg is usual)"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "warning"), UNUSUAL, ids=[warning for _, warning in UNUSUAL])
def test_what_is_possible_but_unusual_is_saved_after_a_tick_and_a_reason(
    client, patient, practitioner, changes, warning
):
    asked = assess(client, patient, practitioner, **changes)
    assert errors(asked) == [f"Tick that this is correct, or change the answer: {warning}", "Give the reason"]
    assert not Assessment.objects.exists()

    assess(client, patient, practitioner, **changes, **CONFIRMED)
    assert Assessment.objects.get().note == "Unusual, confirmed: Measured twice"


@pytest.mark.parametrize(
    "changes",
    [
        {"why__symptoms_weeks": "520"},
        {"right__abpi": "0.30", "right__measured_on": TODAY},
        {"right__abpi": "1.60", "right__measured_on": TODAY},
        {"health__antithrombotic": ["warfarin"], "health__inr": "5", "health__inr_on": TODAY},
        {"health__hba1c": "130", "health__hba1c_unit": "mmol_mol", "health__hba1c_on": TODAY},
        {"body__weight_kg": "15", "body__weight_basis": "stated", "body__weight_on": TODAY},
        {"body__weight_kg": "200", "body__weight_basis": "stated", "body__weight_on": TODAY},
        {"health__pregnancy": "yes"},
    ],
)
def test_what_is_usual_needs_no_reason(client, patient, practitioner, changes):
    assess(client, patient, practitioner, **changes)

    assert Assessment.objects.exists()


def test_a_pregnancy_that_does_not_fit_the_register_is_saved_with_a_reason(client, practice, practitioner):
    man = create_patient(practice, sex="male")

    asked = assess(client, man, practitioner, health__pregnancy="yes")
    assert "pregnancy or breastfeeding, and the patient is registered as male" in text(asked)

    assess(client, man, practitioner, health__pregnancy="yes", **CONFIRMED)
    assert Assessment.objects.get().pregnancy == "yes"


def test_not_after_death(client, patient, practitioner):
    patient.died_on = "2026-11-20"
    patient.save()

    assert errors(assess(client, patient, practitioner)) == ["The assessment lies after the date of death on record"]


def test_what_was_typed_is_still_there(client, patient, practitioner):
    response = assess(client, patient, practitioner, right__abpi="1.2.3", visit__note="Long story",
                      health__condition=["liver"], allergy__allergies="some", allergy__to_latex="rash")  # fmt: skip

    entry = response.context["entry"]
    assert entry.visit["note"].value() == "Long story"
    assert entry.feet[0]["abpi"].value() == "1.2.3"
    assert entry.health["condition"].value() == ["liver"]
    assert entry.allergy["to_latex"].value() == "rash"


def test_text_is_shown_as_text(client, patient, practitioner):
    script = "<script>alert(1)</script>"
    assess(client, patient, practitioner, visit__note=script, why__indication="other", why__indication_other=script,
           allergy__allergies="some", allergy__allergy_words=script)  # fmt: skip

    page = client.get(reverse("assessment", args=[Assessment.objects.get().key])).content.decode()
    assert script not in page
    assert page.count("&lt;script&gt;alert(1)&lt;/script&gt;") >= 4


@pytest.mark.parametrize("odd", ["\x00", "9" * 30, "x" * 5000, "-", "٣"])
def test_odd_input_is_an_answer_and_never_a_crash(client, patient, practitioner, odd):
    names = [name for name in assessment_answers(practitioner) if name != "once"]
    others = ("right-abpi", "health-hba1c", "health-inr", "body-weight_kg", "toe1-prior_year", "why-symptoms_weeks")
    for name in [*names, *others, "version", "remove_toe"]:
        response = client.post(
            reverse("assessment-new", args=[patient.key]), assessment_answers(practitioner) | {name: odd}
        )
        assert response.status_code in {200, 302, 400}, name
