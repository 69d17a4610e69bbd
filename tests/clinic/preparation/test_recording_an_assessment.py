"""The assessment page: every answer is kept as it was given, once, by whom, and the four empty answers stay apart."""

from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from clinic.access.models import Draft
from clinic.access.once import new_token
from clinic.preparation.models import AssessedToe, Assessment, AssessmentItem, FlagDecision, FootFinding
from clinic.preparation.recording import every_line
from tests.clinic.preparation.posts import assess, assessment_answers, errors, text
from tests.factories import create_assessment

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def lines_of(topic: str) -> dict[str, str]:
    return dict(AssessmentItem.objects.filter(topic=topic).values_list("code", "answer"))


# --- what is kept

FULL = {
    "visit__note": "Walks with a stick",
    "why__indication": "other",
    "why__further": ["paronychia"],
    "why__indication_other": "Nail catches in the sock",
    "why__tried": ["taping", "antibiotics"],
    "why__symptoms_weeks": "26",
    "why__considered": ["exostosis"],
    "right__dorsalis_pedis": "not_palpable",
    "right__posterior_tibial": "not_examined",
    "right__doppler": "monophasic",
    "right__abpi": "0,85",
    "right__toe_pressure": "55",
    "right__tbi": "0.64",
    "right__ankle_pressure": "110",
    "right__measured_on": "2026-11-03",
    "right__monofilament_sites": "7",
    "health__diabetes": "type_2",
    "health__foot_risk": "high",
    "health__hba1c": "72,5",
    "health__hba1c_unit": "mmol_mol",
    "health__hba1c_on": "2026-10-01",
    "health__antithrombotic": ["warfarin"],
    "health__inr": "2.4",
    "health__inr_on": "2026-11-24",
    "health__immunosuppression": "steroid",
    "health__condition": ["epilepsy", "raynaud"],
    "health__pregnancy": "not_applicable",
    "health__breastfeeding": "declined",
    "health__tobacco": "current",
    "allergy__allergies": "some",
    "allergy__to_phenol": "rash",
    "allergy__allergy_words": "Years ago",
    "body__weight_kg": "71.5",
    "body__weight_basis": "stated",
    "body__weight_on": "2026-11-25",
    "toe1__infection": "purulent",
    "toe1__bone_infection": "not_assessed",
    "toe1__prior_surgery": "chemical",
    "toe1__prior_part": "fibular",
    "toe1__prior_year": "2019",
    "toe1__prior_elsewhere": "yes",
}


def test_every_answer_is_kept(client, patient, practitioner):
    response = assess(client, patient, practitioner, **FULL)

    made = Assessment.objects.get()
    assert response["Location"] == reverse("assessment", args=[made.key])
    kept = {name: getattr(made, name) for name in (
        "patient", "assessed_on", "assessed_by", "recorded_by", "indication", "indication_other", "symptoms_weeks",
        "diabetes", "foot_risk", "hba1c", "hba1c_unit", "hba1c_on", "inr", "inr_on", "immunosuppression", "pregnancy",
        "breastfeeding", "tobacco", "allergy_words", "weight_kg", "weight_basis", "weight_on", "note",
    )}  # fmt: skip
    assert kept == {
        "patient": patient, "assessed_on": date(2026, 11, 25), "assessed_by": practitioner,
        "recorded_by": practitioner, "indication": "other", "indication_other": "Nail catches in the sock",
        "symptoms_weeks": 26, "diabetes": "type_2", "foot_risk": "high", "hba1c": Decimal("72.5"),
        "hba1c_unit": "mmol_mol", "hba1c_on": date(2026, 10, 1), "inr": Decimal("2.4"), "inr_on": date(2026, 11, 24),
        "immunosuppression": "steroid", "pregnancy": "not_applicable", "breastfeeding": "declined",
        "tobacco": "current", "allergy_words": "Years ago", "weight_kg": Decimal("71.5"), "weight_basis": "stated",
        "weight_on": date(2026, 11, 25), "note": "Walks with a stick",
    }  # fmt: skip
    foot = FootFinding.objects.values().get(foot="right")
    assert {name: foot[name] for name in ("dorsalis_pedis", "posterior_tibial", "doppler", "abpi", "toe_pressure",
            "tbi", "ankle_pressure", "measured_on", "monofilament_sites")} == {
        "dorsalis_pedis": "not_palpable", "posterior_tibial": "not_examined", "doppler": "monophasic",
        "abpi": Decimal("0.85"), "toe_pressure": 55, "tbi": Decimal("0.64"), "ankle_pressure": 110,
        "measured_on": date(2026, 11, 3), "monofilament_sites": 7,
    }  # fmt: skip
    toe = AssessedToe.objects.values().get()
    assert {name: toe[name] for name in toe if name not in {"id", "assessment_id"}} == {
        "foot": "right", "toe": 1, "infection": "purulent", "bone_infection": "not_assessed",
        "prior_surgery": "chemical", "prior_part": "fibular", "prior_year": 2019, "prior_elsewhere": "yes",
    }  # fmt: skip
    assert {code for code, answer in lines_of("conservative").items() if answer == "yes"} == {"taping", "antibiotics"}
    phenol = AssessmentItem.objects.get(topic="allergy", code="phenol")
    assert (phenol.answer, phenol.reaction) == ("yes", "rash")


def test_what_was_left_empty_is_not_recorded_and_nothing_else(client, patient, practitioner):
    assess(client, patient, practitioner)

    made, left = Assessment.objects.get(), FootFinding.objects.get(foot="left")
    empty = (made.symptoms_weeks, made.hba1c, made.hba1c_on, made.inr, made.inr_on, made.weight_kg, made.weight_on)
    assert set(empty) == {None}
    assert (made.hba1c_unit, made.weight_basis, left.doppler, left.abpi) == ("", "not_recorded", "not_recorded", None)
    assert AssessedToe.objects.get().prior_elsewhere == "not_recorded"
    assert set(lines_of("look_alike").values()) == {"not_recorded"}


def test_the_date_of_the_weight_filled_in_beforehand_is_no_weight(client, patient, practitioner):
    page = client.get(reverse("assessment-new", args=[patient.key])).content.decode()
    assert 'name="body-weight_on" value="2026-11-25"' in page

    assess(client, patient, practitioner, body__weight_on="2026-11-25")

    assert Assessment.objects.get().weight_on is None


@pytest.mark.parametrize(
    ("ticked", "epilepsy", "liver"),
    [(["epilepsy"], "yes", "no"), (["none"], "no", "no"), (["not_assessed"], "not_assessed", "not_assessed")],
)
def test_ticks_say_what_is_absent_too(client, patient, practitioner, ticked, epilepsy, liver):
    assess(client, patient, practitioner, health__condition=ticked)

    stored = lines_of("condition")
    assert (stored["epilepsy"], stored["liver"]) == (epilepsy, liver)


@pytest.mark.parametrize(("answer", "stored"), [("none", "no"), ("not_assessed", "not_assessed")])
def test_no_allergy_is_another_thing_than_not_asked(client, patient, practitioner, answer, stored):
    assess(client, patient, practitioner, allergy__allergies=answer)

    assert set(lines_of("allergy").values()) == {stored}


def test_every_code_has_its_line(client, patient, practitioner):
    assess(client, patient, practitioner)

    assert sorted(AssessmentItem.objects.values_list("topic", "code")) == sorted(every_line())


@pytest.mark.parametrize(("diabetes", "risk"), [("none", "not_applicable"), ("not_assessed", "not_recorded")])
def test_a_foot_risk_that_was_not_asked_is_ignored(client, patient, practitioner, diabetes, risk):
    assess(client, patient, practitioner, health__diabetes=diabetes, health__foot_risk="high")

    assert Assessment.objects.get().foot_risk == risk


def test_what_was_done_before_is_ignored_where_nothing_was(client, patient, practitioner):
    assess(client, patient, practitioner, toe1__prior_part="tibial", toe1__prior_year="2019")

    toe = AssessedToe.objects.get()
    assert (toe.prior_part, toe.prior_year) == ("", None)


def test_nothing_clinical_is_filled_in(client, patient):
    page = client.get(reverse("assessment-new", args=[patient.key])).content.decode()

    assert " checked" not in page
    assert page.count("selected") == 1 + 8  # who assessed, and "No allergy" under a question that is still closed


def test_the_history_names_who_and_why_unusual(client, patient, practitioner):
    assess(client, patient, practitioner, body__weight_kg="230", body__weight_basis="measured",
           body__weight_on="2026-11-25", confirm__confirmed="on", confirm__confirm_reason="Weighed twice")  # fmt: skip

    made = Assessment.objects.get()
    for model in (Assessment, FootFinding, AssessedToe, AssessmentItem):
        newest = model.history.first()
        assert (newest.history_user, newest.history_change_reason) == (practitioner, "Weighed twice")
    assert made.note == "Unusual, confirmed: Weighed twice"


def test_an_assistant_may_assess(client_of, patient, assistant):
    assess(client_of(assistant), patient, assistant)

    assert Assessment.objects.get().assessed_by == assistant


# --- several toes, drafts


def test_toes_are_added_and_taken_away_without_losing_an_answer(client, patient, practitioner):
    url = reverse("assessment-new", args=[patient.key])
    typed = assessment_answers(practitioner, toes=2, toe2__infection="inflamed", health__condition=["liver", "renal"])

    three = client.post(url, typed | {"add_toe": "1"})
    assert three.context["entry"].data is None
    assert [form["toe"].value() for form in three.context["entry"].toes] == ["right-1", "right-2", None]
    assert three.context["entry"].health["condition"].value() == ["liver", "renal"]

    one = client.post(url, typed | {"remove_toe": "1"})
    (left,) = one.context["entry"].toes
    assert (left["toe"].value(), left["infection"].value()) == ("right-2", "inflamed")
    assert not Assessment.objects.exists()


def test_at_most_four_toes_and_never_none(client, patient, practitioner):
    url = reverse("assessment-new", args=[patient.key])

    four = client.post(url, assessment_answers(practitioner, toes=4) | {"add_toe": "1"})
    one = client.post(url, assessment_answers(practitioner, toes=1) | {"remove_toe": "1"})

    assert len(four.context["entry"].toes) == 4
    assert len(one.context["entry"].toes) == 1


def test_a_draft_is_kept_for_its_author_and_goes_when_it_is_saved(client, client_of, patient, practitioner, assistant):
    url = reverse("assessment-new", args=[patient.key])
    typed = assessment_answers(practitioner, health__condition=["liver", "renal"], visit__note="half")

    client.post(url, typed | {"leave": "1"})
    again = client.get(url).context["entry"]
    assert again.health["condition"].value() == ["liver", "renal"]
    assert again.visit["note"].value() == "half"
    assert client_of(assistant).get(url).context["entry"].visit["note"].value() is None

    client.post(url, typed | {"once": new_token()})
    assert Assessment.objects.count() == 1
    assert not Draft.objects.exists()


def test_a_draft_can_be_thrown_away(client, patient, practitioner):
    url = reverse("assessment-new", args=[patient.key])
    client.post(url, assessment_answers(practitioner) | {"leave": "1"})

    client.post(url, {"start_again": "1"})

    assert not Draft.objects.exists()


# --- once, and nothing half


def test_a_form_sent_twice_makes_one(client, patient, practitioner):
    answers = assessment_answers(practitioner)
    url = reverse("assessment-new", args=[patient.key])

    first, second = client.post(url, answers), client.post(url, answers)

    assert Assessment.objects.count() == 1
    assert first["Location"] == second["Location"]


def test_a_failure_leaves_nothing(client, patient, practitioner, monkeypatch):
    def fails(*args, **kwargs):
        raise RuntimeError("in the middle")

    monkeypatch.setattr("clinic.preparation.recording.keep_all", fails)
    client.raise_request_exception = False

    assert assess(client, patient, practitioner).status_code == 500
    assert not any(model.objects.exists() for model in (Assessment, FootFinding, AssessedToe))
    assert not Assessment.history.exists()


def test_extra_fields_change_nothing(client, patient, practitioner, other_practice, colleague_elsewhere):
    posted = assessment_answers(practitioner) | {
        "patient": "1", "patient_id": "1", "recorded_by": colleague_elsewhere.key, "struck_at": "2026-11-25",
        "version": "9", "key": "aaaaaaaaaaaa",
    }  # fmt: skip
    client.post(reverse("assessment-new", args=[patient.key]), posted)

    made = Assessment.objects.get()
    assert (made.patient, made.recorded_by, made.struck_at, made.version) == (patient, practitioner, None, 1)
    assert made.key != "aaaaaaaaaaaa"


def test_nobody_of_another_practice_can_be_the_assessor(client, patient, practitioner, colleague_elsewhere):
    response = assess(client, patient, practitioner, visit__assessed_by=colleague_elsewhere.key)

    assert errors(response) == ["Choose who assessed the patient"]
    assert not Assessment.objects.exists()


# --- changing


@pytest.fixture
def stored(patient, practitioner):
    return create_assessment(patient, by=practitioner, yes={"condition": ("epilepsy",)})


def change(client, stored, by, *, version=None, reason="Misheard", **changes):
    posted = assessment_answers(by, health__condition=["epilepsy"], **changes)
    posted |= {"version": str(version or stored.version), "reason": reason}
    return client.post(reverse("assessment-change", args=[stored.key]), posted)


def test_the_change_page_holds_the_stored_answers(client, patient, practitioner):
    assess(client, patient, practitioner, **FULL)
    made = Assessment.objects.get()

    entry = client.get(reverse("assessment-change", args=[made.key])).context["entry"]

    shown = {bound.html_name: bound.value() for form in entry.questions() for bound in form}
    for name, typed in FULL.items():
        numbers = {"0,85": "0.85", "72,5": "72.5"}
        assert shown[name.replace("__", "-")] == numbers.get(str(typed), typed), name
    assert shown["left-abpi"] == ""
    assert shown["health-condition"] == ["epilepsy", "raynaud"]


def test_saving_a_change_without_changing_anything_writes_one_version_of_the_assessment_alone(
    client, patient, practitioner
):
    assess(client, patient, practitioner, **FULL)
    made = Assessment.objects.get()
    counts = [model.history.count() for model in (FootFinding, AssessedToe, AssessmentItem)]
    entry = client.get(reverse("assessment-change", args=[made.key])).context["entry"]
    shown = {bound.html_name: bound.value() for form in entry.questions() for bound in form if bound.value()}

    posted = shown | {"toes": "1", "version": "1", "reason": "Looked again"}
    assert client.post(reverse("assessment-change", args=[made.key]), posted).status_code == 302

    assert Assessment.history.count() == 2
    assert [model.history.count() for model in (FootFinding, AssessedToe, AssessmentItem)] == counts


def test_a_change_keeps_the_earlier_value_with_author_and_reason(client, stored, assistant, client_of):
    change(client_of(assistant), stored, assistant, right__abpi="0.4", right__measured_on="2026-11-25")

    stored.refresh_from_db()
    newest, first = FootFinding.history.filter(foot="right")
    assert (newest.abpi, first.abpi) == (Decimal("0.40"), None)
    assert (newest.history_user, newest.history_change_reason) == (assistant, "Misheard")
    assert stored.version == 2
    page = text(client.get(reverse("assessment", args=[stored.key])))
    assert "Misheard" in page
    assert "Right foot: ABPI: 0.40" in page


def test_a_change_needs_a_reason(client, stored, practitioner):
    response = change(client, stored, practitioner, reason="", right__abpi="0.8", right__measured_on="2026-11-25")

    assert "Give the reason for the change" in errors(response)
    assert FootFinding.history.count() == 2


def test_a_toe_can_be_added_and_taken_away_later(client, stored, practitioner):
    change(client, stored, practitioner, toes=2)
    assert set(AssessedToe.objects.values_list("foot", "toe")) == {("right", 1), ("right", 2)}

    change(client, stored, practitioner, version=2, toe1__toe="left-3")
    assert set(AssessedToe.objects.values_list("foot", "toe")) == {("left", 3)}
    assert AssessedToe.history.filter(history_type="-").count() == 2


def test_two_people_at_once_lose_nothing(client, client_of, stored, practitioner, assistant):
    change(client_of(assistant), stored, assistant, health__tobacco="current", health__pregnancy="yes")

    late = change(client, stored, practitioner, version=1, health__tobacco="ex")

    stored.refresh_from_db()
    assert late.status_code == 409
    assert stored.tobacco == "current"
    page = text(late)
    assert "Nothing was saved. Your answers are kept below" in page
    assert "Tobacco Uses tobacco Stopped" in page
    assert "Pregnant Yes No" in page

    again = change(client, stored, practitioner, version=late.context["entry"].version["version"].value(),
                   health__tobacco="ex")  # fmt: skip
    stored.refresh_from_db()
    assert again.status_code == 302
    assert (stored.tobacco, stored.version) == ("ex", 3)


# --- striking out


def strike(client, stored, **changes):
    posted = {"reason": "Wrong patient", "version": stored.version, **changes}
    return client.post(reverse("assessment-strike", args=[stored.key]), posted, follow=True)


def test_a_struck_out_assessment_stays_readable_and_counts_nowhere(client, stored):
    page = text(strike(client, stored))

    assert "Struck out: Wrong patient" in page
    assert not Assessment.objects.standing().exists()
    refused = client.get(reverse("assessment-change", args=[stored.key]), follow=True)
    assert "A struck-out assessment cannot be changed" in text(refused)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"reason": ""}, "Give the reason for striking out this assessment"),
        ({"version": 7}, "Somebody changed this a moment ago"),
    ],
)
def test_what_keeps_it_from_being_struck_out(client, stored, changes, sentence):
    assert sentence in text(strike(client, stored, **changes))
    assert Assessment.objects.standing().exists()


def test_only_the_lead_or_the_author_strikes_out(client_of, stored, assistant, lead):
    assert "Only the practice lead or the person who recorded" in text(strike(client_of(assistant), stored))
    assert "Assessment struck out" in text(strike(client_of(lead), stored))


def test_no_decision_is_made_by_recording(client, patient, practitioner):
    assess(client, patient, practitioner, **FULL)

    assert not FlagDecision.objects.exists()
