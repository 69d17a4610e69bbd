"""A caution needs a reason, a stop the decision of somebody who may operate; open_flags says what is left."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from clinic.access.once import new_token
from clinic.preparation.clearance import newest_assessment, open_flags
from clinic.preparation.forms import DecideForm
from clinic.preparation.models import Assessment, FlagDecision
from clinic.preparation.thresholds import thresholds_with
from tests.clinic.preparation.posts import assessment_answers, errors, text
from tests.factories import NOON, create_assessment, create_patient

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 25)
CAUTION = {"feet": {"right": {"abpi": Decimal("0.85"), "measured_on": date(2026, 11, 1)}}}
CAUTION_FACT = "Right foot: ABPI 0.85, below 0.90"


@pytest.fixture
def answer(client_of):
    """Posts the form about a flag as a page for the operation on that day holds it."""

    def post(member, assessment, code, fact, *, on=TODAY, text="Discussed with the patient", outcome=None, once=None):
        posted = {"code": code, "fact": fact, "on": on.isoformat(), "text": text, "once": once or new_token()}
        posted |= {"outcome": outcome} if outcome else {}
        return client_of(member).post(reverse("flag-decide", args=[assessment.key]), posted)

    return post


def open_codes(patient, on=TODAY, **options) -> list[str]:
    return [flag.code for flag in open_flags(patient, on, **options)]


def test_a_note_is_never_open(patient, practitioner):
    create_assessment(patient, by=practitioner, tobacco="current")

    assert open_codes(patient) == []


def test_a_caution_is_open_until_it_is_acknowledged_with_a_reason(patient, practitioner, assistant, answer):
    assessment = create_assessment(patient, by=practitioner, **CAUTION)
    assert open_codes(patient) == ["abpi_right"]

    answer(assistant, assessment, "abpi_right", CAUTION_FACT)

    assert open_codes(patient) == []
    kept = FlagDecision.objects.get()
    assert (kept.level, kept.outcome, kept.fact, kept.text) == (
        "caution", "acknowledged", CAUTION_FACT, "Discussed with the patient"
    )  # fmt: skip
    assert (kept.decided_by, kept.decided_at) == (assistant, NOON)


def test_without_a_reason_it_stays_open(patient, practitioner, answer):
    assessment = create_assessment(patient, by=practitioner, **CAUTION)

    response = answer(practitioner, assessment, "abpi_right", CAUTION_FACT, text="  ")

    assert errors(response) == ["Give the reason"]
    assert open_codes(patient) == ["abpi_right"]


@pytest.mark.parametrize(
    ("outcome", "settles"), [("proceed", True), ("changed", True), ("postpone", False), ("not_here", False)]
)
def test_a_stop_needs_a_decision_and_not_every_decision_lets_an_operation_begin(
    patient, practitioner, answer, outcome, settles
):
    assessment = create_assessment(patient, by=practitioner, pregnancy="yes")
    assert open_codes(patient) == ["pregnancy"]

    answer(practitioner, assessment, "pregnancy", "Pregnant", outcome=outcome)

    assert open_codes(patient) == ([] if settles else ["pregnancy"])
    assert FlagDecision.objects.get().outcome == outcome


@pytest.mark.parametrize("outcome", [None, "acknowledged", "whatever"])
def test_a_stop_is_not_merely_acknowledged(patient, practitioner, answer, outcome):
    assessment = create_assessment(patient, by=practitioner, pregnancy="yes")

    response = answer(practitioner, assessment, "pregnancy", "Pregnant", outcome=outcome)

    assert errors(response) == ["Choose what was decided"]
    assert open_codes(patient) == ["pregnancy"]


def test_a_caution_ignores_the_outcome_of_a_stop(patient, practitioner, answer):
    assessment = create_assessment(patient, by=practitioner, **CAUTION)

    answer(practitioner, assessment, "abpi_right", CAUTION_FACT, outcome="postpone")

    assert FlagDecision.objects.get().outcome == "acknowledged"


def test_an_assistant_does_not_decide_on_a_stop(patient, practitioner, assistant, client_of, answer):
    assessment = create_assessment(patient, by=practitioner, pregnancy="yes", **CAUTION)

    response = answer(assistant, assessment, "pregnancy", "Pregnant", outcome="proceed")

    assert response.status_code == 403
    assert "Practitioner" in text(response)
    assert not FlagDecision.objects.exists()
    page = client_of(assistant).get(reverse("assessment", args=[assessment.key]))
    assert "A practitioner or the practice lead enters the decision" in text(page)
    offered = [state.flag.code for state, form in page.context["flags"] if form]
    assert offered == ["abpi_right"]


def test_a_later_decision_takes_the_place_of_the_earlier_one_which_stays_readable(
    patient, practitioner, lead, client_of, answer
):
    assessment = create_assessment(patient, by=practitioner, pregnancy="yes")
    answer(practitioner, assessment, "pregnancy", "Pregnant", outcome="proceed", text="First thought")

    answer(lead, assessment, "pregnancy", "Pregnant", outcome="postpone", text="Second thought")

    assert open_codes(patient) == ["pregnancy"]
    page = text(client_of(lead).get(reverse("assessment", args=[assessment.key])))
    assert "First thought" in page
    assert "Second thought" in page


def test_another_value_opens_the_flag_again(patient, practitioner, client_of, answer):
    assessment = create_assessment(patient, by=practitioner, **CAUTION)
    answer(practitioner, assessment, "abpi_right", CAUTION_FACT)

    posted = assessment_answers(practitioner, right__abpi="0.80", right__measured_on="2026-11-01")
    posted |= {"version": "1", "reason": "Measured again"}
    client_of(practitioner).post(reverse("assessment-change", args=[assessment.key]), posted)

    assert open_codes(patient) == ["abpi_right"]


def test_the_same_value_again_needs_no_second_reason(patient, practitioner, answer):
    assessment = create_assessment(patient, by=practitioner, **CAUTION)
    answer(practitioner, assessment, "abpi_right", CAUTION_FACT)

    assert open_codes(patient, TODAY + timedelta(days=30)) == []


def test_a_decision_about_words_that_nobody_shows_any_more_is_not_kept(patient, practitioner, answer, client_of):
    assessment = create_assessment(patient, by=practitioner, **CAUTION)

    answer(practitioner, assessment, "abpi_right", "Right foot: ABPI 0.89, below 0.90")

    assert not FlagDecision.objects.exists()
    page = client_of(practitioner).get(reverse("assessment", args=[assessment.key]))
    assert open_codes(patient) == ["abpi_right"]
    assert page.status_code == 200


@pytest.mark.parametrize(("code", "fact"), [("tobacco", "Uses tobacco"), ("nonsense", "Nonsense"), ("", "")])
def test_only_what_is_raised_and_asks_for_it_can_be_decided(patient, practitioner, answer, code, fact):
    assessment = create_assessment(patient, by=practitioner, tobacco="current")

    assert answer(practitioner, assessment, code, fact).status_code == 302
    assert not FlagDecision.objects.exists()


def test_a_form_sent_twice_is_one_decision_and_two_flags_are_two(patient, practitioner, answer):
    assessment = create_assessment(patient, by=practitioner, diabetes="type_2", foot_risk="low", **CAUTION)
    once = new_token()

    for _ in range(2):
        answer(practitioner, assessment, "abpi_right", CAUTION_FACT, once=once)
    answer(practitioner, assessment, "diabetes", "Diabetes, type 2, foot risk low")

    assert FlagDecision.objects.count() == 2
    assert open_codes(patient) == []


def test_each_form_of_the_page_has_its_own_token_and_ids(patient, practitioner, client_of):
    assessment = create_assessment(patient, by=practitioner, diabetes="type_2", foot_risk="low", **CAUTION)

    page = client_of(practitioner).get(reverse("assessment", args=[assessment.key]))

    forms = [form for _, form in page.context["flags"] if form]
    assert len(forms) == 2
    assert len({form["once"].value() for form in forms}) == 2
    assert len({form["text"].auto_id for form in forms}) == 2
    assert all(isinstance(form, DecideForm) for form in forms)


# --- results grow old


WARFARIN = {"yes": {"antithrombotic": ("warfarin",)}, "inr": Decimal("2.5"), "inr_on": date(2026, 11, 20)}


def test_an_inr_is_open_again_on_every_later_day(patient, practitioner, answer):
    assessment = create_assessment(patient, by=practitioner, **WARFARIN)
    assert open_codes(patient, date(2026, 11, 23)) == []
    assert open_codes(patient, TODAY) == ["inr_stale"]

    fact = "INR of 20 Nov 2026 is more than 72 hours old on 25 Nov 2026"
    answer(practitioner, assessment, "inr_stale", fact, outcome="proceed", text="Repeated this morning elsewhere")

    assert open_codes(patient, TODAY) == []
    assert open_codes(patient, TODAY + timedelta(days=1)) == ["inr_stale"]


def test_the_page_asks_for_the_day_of_the_operation(patient, practitioner, client_of):
    address = reverse("assessment", args=[create_assessment(patient, by=practitioner, **WARFARIN).key])
    client = client_of(practitioner)

    assert "72 hours old on 25 Nov 2026" in text(client.get(address))
    assert "72 hours old on 1 Dec 2026" in text(client.get(address, {"on": "2026-12-01"}))
    assert "72 hours old" not in text(client.get(address, {"on": "2026-11-22"}))


@pytest.mark.parametrize(
    ("on", "sentence"),
    [("2026-02-30", "30 February does not exist"), ("soon", "must be written as year-month-day")],
)
def test_a_day_that_is_none_is_said_and_today_is_taken(patient, practitioner, client_of, on, sentence):
    address = reverse("assessment", args=[create_assessment(patient, by=practitioner, **WARFARIN).key])

    page = client_of(practitioner).get(address, {"on": on})

    assert page.status_code == 200
    assert sentence in text(page)
    assert page.context["on"] == TODAY


# --- which assessment


def test_without_an_assessment_that_is_the_flag(patient):
    (flag,) = open_flags(patient, TODAY)

    assert (flag.code, flag.level.value) == ("no_assessment", "caution")


def test_the_newest_by_that_day_counts(patient, practitioner):
    create_assessment(patient, by=practitioner, assessed_on=date(2026, 11, 1), pregnancy="yes")
    create_assessment(patient, by=practitioner, assessed_on=date(2026, 11, 20))

    assert open_codes(patient, TODAY) == []
    assert open_codes(patient, date(2026, 11, 20)) == []
    assert open_codes(patient, date(2026, 11, 19)) == ["pregnancy"]
    assert open_codes(patient, date(2026, 10, 31)) == ["no_assessment"]


def test_one_that_is_struck_out_does_not_count(patient, practitioner):
    older = create_assessment(patient, by=practitioner, assessed_on=date(2026, 11, 1))
    wrong = create_assessment(patient, by=practitioner, pregnancy="yes")
    wrong.struck_at, wrong.struck_reason = NOON, "Wrong patient"
    wrong.save()

    assert newest_assessment(patient, TODAY) == older
    assert open_codes(patient) == []


def test_another_patients_assessment_does_not_count(patient, practice, practitioner):
    create_assessment(create_patient(practice), by=practitioner)

    assert open_codes(patient) == ["no_assessment"]


def test_thresholds_of_the_practice_and_a_vasoconstrictor_are_arguments(patient, practitioner):
    create_assessment(patient, by=practitioner, yes={"condition": ("raynaud",)},
                      feet={"left": {"toe_pressure": 65}})  # fmt: skip

    own = thresholds_with({"toe_pressure_caution_below": 70})
    assert open_codes(patient) == ["condition_raynaud"]
    assert set(open_codes(patient, thresholds=own)) == {"condition_raynaud", "toe_pressure_left"}
    assert set(open_codes(patient, vasoconstrictor=True)) == {"condition_raynaud", "vasoconstrictor_raynaud"}


def test_a_vasoconstrictor_can_be_decided_before_it_is_chosen(patient, practitioner, answer):
    assessment = create_assessment(patient, by=practitioner, yes={"condition": ("raynaud",)})
    fact = "Raynaud's phenomenon, and an anaesthetic with vasoconstrictor is planned"

    answer(practitioner, assessment, "vasoconstrictor_raynaud", fact, outcome="changed", text="None is used")

    assert open_codes(patient, vasoconstrictor=True) == ["condition_raynaud"]


def test_the_number_of_statements_is_bounded(patient, practitioner, django_assert_num_queries):
    create_assessment(patient, by=practitioner, **CAUTION)

    with django_assert_num_queries(5):  # the assessment with its people, and four kinds of parts
        open_flags(patient, TODAY)


def test_what_contradicts_the_patients_own_page_is_said(practice, practitioner, client_of):
    patient = create_patient(practice, diabetes="no", antithrombotic="yes")
    assessment = create_assessment(patient, by=practitioner, diabetes="type_2", foot_risk="low")

    page = text(client_of(practitioner).get(reverse("assessment", args=[assessment.key])))

    assert "The patient's page answers diabetes with “No”" in page
    assert "The patient's page answers medicines against clotting with “Yes”" in page


@pytest.mark.parametrize("diabetes", ["yes", "not_assessed", "not_recorded"])
def test_what_was_not_asked_there_contradicts_nothing(practice, practitioner, client_of, diabetes):
    patient = create_patient(practice, diabetes=diabetes)
    assessment = create_assessment(patient, by=practitioner, diabetes="type_2", foot_risk="low")

    page = text(client_of(practitioner).get(reverse("assessment", args=[assessment.key])))

    assert "The patient's page answers" not in page


def test_a_struck_out_assessment_raises_nothing_and_takes_no_decision(patient, practitioner, answer, client_of):
    assessment = create_assessment(patient, by=practitioner, pregnancy="yes")
    assessment.struck_at, assessment.struck_reason = NOON, "Wrong patient"
    assessment.save()

    answer(practitioner, assessment, "pregnancy", "Pregnant", outcome="proceed")

    assert not FlagDecision.objects.exists()
    assert "Stop and discuss" not in text(client_of(practitioner).get(reverse("assessment", args=[assessment.key])))
    assert Assessment.objects.count() == 1
