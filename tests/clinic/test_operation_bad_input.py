"""Answers that cannot be right: each has its own sentence, nothing is stored, everything typed is kept."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse

from clinic.access.models import Submission
from clinic.access.rules import Role
from clinic.patients.models import Patient
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from tests.clinic.operation_posts import answers_for, errors, send, text
from tests.factories import create_member, create_operation, create_patient

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
PNA = "“Partial nail avulsion with chemical matricectomy”"
NO_SECONDS = {"toe1_seconds_1": "", "toe1_seconds_2": ""}


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def patient(practice):
    return create_patient(practice, born_on=date(1986, 8, 2))


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def another_day(text: str) -> dict[str, str]:
    return {"visit_when": "another", "visit_performed_on": text}


REFUSED = [
    # the day
    ({"visit_when": None}, "When was the operation? Give day, month and year"),
    (another_day(""), "When was the operation? Give day, month and year"),
    (another_day("3.9."), "The operation date has no year"),
    (another_day("2026-06-31"), "31 June does not exist; check the operation date"),
    (another_day("2025-02-29"), "29 February 2025 does not exist; check the operation date"),
    (another_day("2026-11-26"), "The operation date lies in the future"),
    (another_day("1986-08-01"), "The operation date lies before the patient was born; check it"),
    ({"visit_when": "2026-11-23"}, "When was the operation? Give day, month and year"),
    # people
    ({"visit_operator": ""}, "Choose who operated"),
    ({"visit_operator": "nobody"}, "Choose an operator of this practice who may operate"),
    ({"visit_consent_given_by": None}, "Choose who gave consent, or “Not recorded”"),
    ({"visit_consent_given_by": "other"}, "Note who gave consent and with what authority"),
    ({"visit_note": "x" * 1851}, "The note may have at most 1850 characters"),
    # the site
    ({"toe1_toe": None}, "Choose the toe"),
    ({"toe1_toe": "right-6"}, "Choose the toe"),
    ({"toe1_side": None}, "Choose which part of the nail"),
    ({"toe1_side": ["whole", "tibial"]}, "The whole nail and a single side cannot both be treated; choose one"),
    ({"toe1_side": "whole"}, f"{PNA} treats a side, not the whole nail; choose the side"),
    (
        {"toe1_technique": "tna_chemical"},
        "“Total nail avulsion with chemical matricectomy” treats the whole nail; choose it, or another technique",
    ),
    # technique and agent
    ({"toe1_technique": None}, "Choose the technique"),
    ({"toe1_agent": None}, f"{PNA} uses an agent; choose which one"),
    ({"toe1_agent": "none"}, f"{PNA} uses an agent; choose which one"),
    ({"toe1_agent": "bleach"}, "Choose the agent from the list"),
    (
        {"toe1_technique": "wedge"},
        "“Wedge excision (Winograd)” takes no agent; choose “None”, or another technique",
    ),
    (
        {"toe1_technique": "wedge", "toe1_agent": "none"},
        "“Wedge excision (Winograd)” takes no agent, but a strength or seconds are typed; clear them",
    ),
    (
        {"toe1_technique": "other", "toe1_agent": None, "toe1_strength_percent": "", **NO_SECONDS},
        "Choose whether the matrix was destroyed",
    ),
    # strength
    ({"toe1_strength_percent": "0.5"}, "Strength must be between 1 and 100%"),
    ({"toe1_strength_percent": "101"}, "Strength must be between 1 and 100%"),
    ({"toe1_strength_percent": "2,5.1"}, "2,5.1 has two decimal signs; enter one, like 2.5"),
    ({"toe1_strength_percent": "80.55"}, "Strength may have at most 1 decimal place"),
    ({"toe1_strength_percent": "1e2"}, "Strength must be a plain number; enter a number like 2.5"),
    ({"toe1_strength_percent": ""}, "Enter the strength, like 80, or choose “Basis not recorded” beside it"),
    (
        {"toe1_strength_basis": None},
        "Choose what the strength is a percentage of, or “Basis not recorded”",
    ),
    # exposure
    ({"toe1_exposure": None}, "Choose what is known of the exposure, or “Not recorded”"),
    ({"toe1_seconds_1": "60.0"}, "Seconds of application 1 must be a whole number; enter a number like 60"),
    ({"toe1_seconds_2": "0"}, "Seconds of application 2 must be between 1 and 600 s"),
    ({"toe1_seconds_2": "601"}, "Seconds of application 2 must be between 1 and 600 s"),
    ({"toe1_seconds_2": "-60"}, "Seconds of application 2 must be between 1 and 600 s"),
    (NO_SECONDS, "Enter the seconds of each application, like 60, or choose “Not recorded”"),
    (
        {"toe1_exposure": "not_recorded"},
        "Seconds are typed, but “Not recorded” is chosen; clear one of them",
    ),
    (
        {"toe1_exposure": "total", "toe1_total_seconds": "120"},
        "Single applications are typed, but “Only the total” is chosen; clear one of them",
    ),
    (
        {"toe1_total_seconds": "120"},
        "A total is typed, but “Each application” is chosen; clear one of them",
    ),
    (
        {"toe1_exposure": "total", **NO_SECONDS},
        "Enter the total seconds, like 60, or choose “Not recorded”",
    ),
    (
        {"toe1_exposure": "total", "toe1_total_seconds": "4000", **NO_SECONDS},
        "Total seconds must be between 1 and 3600 s",
    ),
    (
        {"toe1_side": "both"},
        "Enter the seconds of each application at the fibular side, or tick “The same at both sides” or “Not recorded”",
    ),
    (
        {"toe1_side": "both", "toe1_same": "on", "toe1_fibular_1": "30"},
        "Seconds of the fibular side are typed, but “The same at both sides” is ticked; clear one of them",
    ),
    (
        {"toe1_fibular_1": "30"},
        "Seconds of the fibular side are typed, but only one part was treated; clear one of them",
    ),
    (
        {"toe1_side": "both", "toe1_unknown_tibial": "on", "toe1_fibular_1": "30"},
        "Seconds count for the tibial side, but it is ticked as not recorded; clear one",
    ),
    (
        {"toe1_side": "both", "toe1_unknown_fibular": "on", "toe1_same": "on"},
        "Seconds count for the fibular side, but it is ticked as not recorded; clear one",
    ),
    (
        {"toe1_side": "both", "toe1_unknown_fibular": "on", "toe1_unknown_tibial": "on", **NO_SECONDS},
        "Choose “Not recorded” here if nothing is known of the exposure",
    ),
    (
        {"toe1_unknown_fibular": "on"},
        "Choose “Not recorded” here if nothing is known of the exposure",
    ),
    # before the operation
    (
        {"toe1_infection_before": None},
        "Choose whether there was infection before, or “Not assessed”",
    ),
    (
        {"toe1_prior_surgery": None},
        "Choose whether there was earlier surgery on the same side, or “Not assessed”",
    ),
    ({"toe1_stage": "heifetz:IV"}, "Choose a stage from the list"),
    # several toes
    (
        {"toes": 2, "toe2_toe": "right-1"},
        "Toe 2: The right 1st toe (hallux) is entered twice; put both sides into one entry",
    ),
]


@pytest.mark.parametrize(("changes", "sentence"), REFUSED)
def test_each_impossible_answer_has_its_sentence(client, patient, practitioner, changes, sentence):
    response = send(client, patient, practitioner, **changes)

    assert response.status_code == 200
    assert errors(response) == [sentence]
    assert text(response).count(sentence.removeprefix("Toe 2: ")) >= 2, "in the summary and at the answer"
    assert (Operation.objects.count(), NailProcedure.objects.count(), Submission.objects.count()) == (0, 0, 0)


def test_everything_typed_is_kept(client, patient, practitioner):
    response = send(
        client, patient, practitioner, toe1_strength_percent="2,5.1", toe1_seconds_2="59", visit_note="Kept"
    )

    page = response.content.decode()
    for kept in ('value="2,5.1"', 'value="59"', ">\nKept</textarea>"):
        assert kept in page
    assert response.context["entry"].toes[0]["toe"].value() == "right-1"


def test_an_operator_of_another_practice_is_refused(client, patient, colleague_elsewhere):
    response = send(client, patient, colleague_elsewhere)

    assert errors(response) == ["Choose an operator of this practice who may operate"]


@pytest.mark.parametrize("role", [Role.ASSISTANT, Role.RECEPTION, Role.ADMINISTRATOR, Role.REVIEWER])
def test_an_operator_who_may_not_operate_is_refused(client, patient, practice, role):
    response = send(client, patient, create_member(practice, role=role))

    assert errors(response) == ["Choose an operator of this practice who may operate"]


def test_a_child_s_own_consent_asks_for_a_note(client, practice, practitioner):
    child = create_patient(practice, born_on=date(2011, 3, 1))

    assert errors(send(client, child, practitioner)) == ["The patient was 15 on that day. Note how consent was settled"]
    assert send(client, child, practitioner, visit_note="Mother present and agreed").status_code == 302


def test_the_same_toe_on_the_same_day_is_refused(client, patient, practitioner):
    create_operation(patient=patient, operator=practitioner, performed_on=date(2026, 11, 25))

    response = send(client, patient, practitioner)

    assert errors(response) == [
        "An operation on the right 1st toe (hallux) on 25 Nov 2026 is already recorded; open that one to correct it"
    ]


UNUSUAL = [
    ({"toe1_strength_percent": "9.9"}, "Right 1st toe (hallux): phenol of 9.9% is unusually weak"),
    (
        {"toe1_seconds_2": "91"},
        "Right 1st toe (hallux), fibular (lateral) side: an application of 91 s is unusual (10 to 90 s is usual)",
    ),
    (
        {"toe1_seconds_2": "9"},
        "Right 1st toe (hallux), fibular (lateral) side: an application of 9 s is unusual (10 to 90 s is usual)",
    ),
    (
        {"toe1_seconds_3": "61"},
        "Right 1st toe (hallux), fibular (lateral) side: the total of 181 s is above 180 s, from where this practice "
        "asks for a note",
    ),
]


@pytest.mark.parametrize(("changes", "warning"), UNUSUAL)
def test_unusual_answers_are_saved_after_a_tick_and_a_reason(client, patient, practitioner, changes, warning):
    first = send(client, patient, practitioner, **changes)
    assert warning in text(first)
    tick, reason = errors(first)
    assert tick.startswith("Tick that this is correct, or change the answer: Right 1st toe (hallux)")
    assert reason == "Give the reason"
    only_ticked = send(client, patient, practitioner, confirm_confirmed="on", **changes)
    assert errors(only_ticked) == ["Give the reason"]
    assert Operation.objects.count() == 0

    send(
        client,
        patient,
        practitioner,
        confirm_confirmed="on",
        confirm_confirm_reason="Thick nail",
        visit_note="A",
        **changes,
    )

    operation = Operation.objects.get()
    assert operation.history.get().history_change_reason == "Thick nail"
    assert operation.note == "A\nUnusual, confirmed: Thick nail"


@pytest.mark.parametrize(
    "changes",
    [
        {"toe1_seconds_1": "90", "toe1_seconds_2": "90"},
        {"toe1_seconds_1": "10", "toe1_seconds_2": ""},
        {"toe1_strength_percent": "10"},
    ],
)
def test_the_limits_themselves_are_usual(client, patient, practitioner, changes):
    assert send(client, patient, practitioner, **changes).status_code == 302


def test_earlier_surgery_in_our_record_asks_again(client, patient, practitioner):
    create_operation(patient=patient, operator=practitioner, performed_on=date(2024, 6, 3))

    response = send(client, patient, practitioner)

    assert "our record holds an operation on 3 Jun 2024, but earlier surgery is not answered “Yes”" in text(response)
    assert Operation.objects.count() == 1


def test_a_typed_name_is_never_markup(client, patient, practitioner):
    response = send(client, patient, practitioner, visit_note="<script>alert(1)</script>", toe1_toe=None)

    assert b"<script>alert" not in response.content


def test_nul_and_foreign_digits_are_refused(client, patient, practitioner):
    assert send(client, patient, practitioner, visit_note="a\x00b").status_code == 400
    assert send(client, patient, practitioner, toe1_seconds_1="６０").status_code == 200
    assert Operation.objects.count() == 0


def test_a_page_without_its_token_is_told_so(client, patient, practitioner):
    response = send(client, patient, practitioner, once=None)

    assert errors(response) == ["This page is too old. Open it again."]
    assert Operation.objects.count() == 0


@pytest.mark.parametrize("name", ["operation", "operation-amend"])
def test_rows_of_another_practice_do_not_exist(client, other_practice, name):
    operation = create_operation(other_practice)

    assert client.get(reverse(name, args=[operation.key])).status_code == 404


def test_a_patient_of_another_practice_does_not_exist(client, other_practice, practitioner):
    stranger = create_patient(other_practice)

    assert send(client, stranger, practitioner).status_code == 404
    assert Patient.objects.count() == 1


def test_reception_and_assistants_record_no_operation(client_of, reception, assistant, patient, practitioner):
    for member in (reception, assistant):
        assert send(client_of(member), patient, practitioner).status_code == 403


def test_decimal_comma_and_point_mean_the_same(client, patient, practitioner):
    answers = answers_for(practitioner, toe1_agent="tca", toe1_strength_percent="88,0")
    client.post(reverse("operation-new", args=[patient.key]), answers)

    assert NailProcedure.objects.get().strength_percent == Decimal("88")
    assert TreatedSide.objects.count() == 1
