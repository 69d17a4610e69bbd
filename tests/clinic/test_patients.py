"""Finding, registering and correcting a patient; what reception sees and does not see."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.once import new_token
from clinic.patients.identity import Identity, find_patients
from clinic.patients.models import Patient
from clinic.reviews.models import Booking
from tests.clinic.operation_posts import text
from tests.factories import add_toe, create_operation, create_patient, create_review

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
RISKS = {"diabetes": "yes", "antithrombotic": "no", "poor_circulation": "not_assessed", "immunosuppressed": "no"}


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def answers(**changes: object) -> dict[str, object]:
    posted = {
        "once": new_token(),
        "family_name": "Sample",
        "given_name": "Ada",
        "born_on": "1986-08-02",
        "sex": "female",
        "record_number": "0387",
        "phone": "+44 1632 960001",
        "email": "ada@example.org",
        **RISKS,
        **changes,
    }
    return {name: value for name, value in posted.items() if value is not None}


def register(client, **changes: object):
    return client.post(reverse("patient-new"), answers(**changes))


def change(client, patient: Patient, **changes: object):
    identity = patient.identity
    posted = answers(
        family_name=identity.family_name, given_name=identity.given_name, born_on=identity.born_on_text,
        record_number=identity.record_number, version=identity.version, patient_version=patient.version,
        reason="Told us today",
    )  # fmt: skip
    return client.post(reverse("patient-change", args=[patient.key]), posted | changes)


def find(client, query: str):
    return client.post(reverse("find-patient"), {"q": query})


def field_errors(response) -> dict[str, list[str]]:
    return {name: list(found) for name, found in response.context["form"].errors.items()}


# --- registering


def test_a_registered_patient_is_stored_and_shown(client, practice):
    response = register(client)

    patient = Patient.objects.get()
    identity = patient.identity
    assert response["Location"] == reverse("patient", args=[patient.key])
    assert (patient.practice, patient.sex, patient.diabetes, patient.poor_circulation) == (
        practice, "female", "yes", "not_assessed",
    )  # fmt: skip
    assert (identity.name, identity.born_on, identity.record_number) == ("Sample, Ada", date(1986, 8, 2), "0387")
    page = text(client.get(response["Location"]))
    for said in ("Patient registered 09:33: Ada Sample.", "2 Aug 1986 (40)", "+44 1632 960001", "ada@example.org"):
        assert said in page


def test_nothing_is_chosen_beforehand(client):
    page = client.get(reverse("patient-new")).content.decode()

    assert page.count('type="radio"') == 4 + 4 * 3
    assert " checked" not in page


def test_a_single_name_is_a_name(client):
    register(client, given_name="")

    assert Identity.objects.get().name == "Sample"


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"family_name": " "}, "family_name", "Enter the family name"),
        ({"born_on": ""}, "born_on", "When was the patient born? Give day, month and year"),
        ({"born_on": "2026-11-26"}, "born_on", "The date of birth lies in the future"),
        ({"born_on": "2025-02-29"}, "born_on", "29 February 2025 does not exist; check the date of birth"),
        ({"born_on": "1886-08-02"}, "born_on", "The date of birth lies before 1907; check the year"),
        ({"sex": None}, "sex", "Choose the sex as registered, or “Not recorded”"),
        ({"record_number": ""}, "record_number", "Enter the record number"),
        ({"record_number": "--"}, "record_number", "The record number needs a letter or a digit"),
        ({"phone": "ring twice"}, "phone", "A phone number has digits, spaces and the signs + ( ) / - only"),
        ({"email": "ada"}, "email", "Enter an e-mail address like name@example.org"),
        ({"diabetes": None}, "diabetes", "Choose an answer for “Diabetes”"),
        ({"diabetes": "perhaps"}, "diabetes", "Choose an answer for “Diabetes”"),
    ],
)
def test_each_wrong_answer_has_its_sentence(client, changes, field, sentence):
    response = register(client, **changes)

    assert field_errors(response) == {field: [sentence]}
    assert text(response).count(sentence) == 2
    assert Patient.objects.count() == 0


def test_a_record_number_belongs_to_one_patient_of_a_practice(client, other_practice, practice):
    create_patient(other_practice)
    register(client)

    response = register(client, family_name="Mock", record_number=" 0387 ")

    assert field_errors(response) == {
        "record_number": ["Record number 0387 belongs to another patient of this practice; check it"]
    }
    assert Patient.objects.filter(practice=practice).count() == 1


def test_a_number_that_differs_in_a_sign_asks_whether_it_is_the_same_person(client, practice):
    register(client)

    response = register(client, family_name="Mock", record_number="03/87")
    assert field_errors(response) == {
        "another_person": [
            "Somebody with this record number, but for its signs, is registered. Open that record, "
            "or tick that this is another person"
        ]
    }
    register(client, family_name="Mock", record_number="03/87", another_person="on")

    assert Patient.objects.filter(practice=practice).count() == 2


def test_a_namesake_asks_whether_it_is_the_same_person(client):
    register(client, family_name="Éxample-Name")

    response = register(client, family_name="example name", record_number="2")
    assert field_errors(response) == {
        "another_person": [
            "Somebody with this name and date of birth is registered. Open that record, "
            "or tick that this is another person"
        ]
    }
    assert "Éxample-Name, Ada, born 2 Aug 1986, record number 0387" in text(response)

    assert register(client, family_name="example name", record_number="2", another_person="on").status_code == 302
    assert Patient.objects.count() == 2


def test_a_namesake_of_another_day_or_practice_is_nobody_s_business(client, other_practice):
    create_patient(other_practice, family_name="Sample", given_name="Ada", born_on=date(1986, 8, 2))
    register(client, born_on="1986-08-03")

    assert register(client, record_number="2").status_code == 302


def test_six_posts_register_one_patient(client):
    once = new_token()

    places = {register(client, once=once)["Location"] for _ in range(6)}

    assert places == {reverse("patient", args=[Patient.objects.get().key])}


# --- finding


def test_nothing_typed_is_said(client):
    assert "Type a record number or the beginning of a name" in text(find(client, " "))
    assert "Type at least one letter or digit" in text(find(client, "-!-"))
    assert "Type at most 6 words" in text(find(client, "a b c d e f g"))


def test_find_by_number_by_beginnings_and_without_accents(client, practice):
    patient = create_patient(practice, family_name="Éxemple", given_name="Renée-Maud")
    create_patient(practice, family_name="Mock")

    for query in (patient.identity.record_number, "exe", "REN éx", "maud", "Exemple, Renee"):
        assert [row.key for row in find(client, query).context["rows"]] == [patient.key], query
    assert find(client, "xemple").context["rows"] == []


def test_a_find_leaves_the_name_out_of_the_address(client):
    assert client.get(reverse("find-patient"), {"q": "Sample"}).status_code == 405
    assert b'method="post"' in client.get(reverse("patients")).content


def test_nobody_found_says_so_and_escapes(client):
    response = find(client, "<b>zz")

    assert "Nobody of this practice has the record number “<b>zz”" in text(response).replace("&lt;", "<") or (
        b"&lt;b&gt;zz" in response.content
    )
    assert b"<b>zz" not in response.content


def test_many_found_are_cut_and_said(client, practice):
    for _ in range(52):
        create_patient(practice)

    response = find(client, "example")

    assert len(response.context["rows"]) == 50
    assert "the first 50; type more letters to narrow it down" in text(response)


def test_the_list_shows_the_patients_operated_on_last(client, practice, practitioner):
    for number in range(22):
        patient = create_patient(practice, family_name=f"Person{number:02}")
        create_operation(patient=patient, operator=practitioner, performed_on=date(2026, 1, 1) + timedelta(number))
    create_patient(practice, family_name="Never")
    struck = create_operation(patient=create_patient(practice, family_name="Struck"), operator=practitioner)
    struck.struck_at = NOW
    struck.save()

    names = [row.identity.family_name for row in client.get(reverse("patients")).context["rows"]]

    assert names == [f"Person{number:02}" for number in range(21, 1, -1)]


def test_another_practice_is_not_found(client, other_practice):
    stranger = create_patient(other_practice, family_name="Stranger")

    assert find(client, "stranger").context["rows"] == []
    assert client.get(reverse("patient", args=[stranger.key])).status_code == 404
    assert client.get(reverse("patient-change", args=[stranger.key])).status_code == 404


# --- the page


def test_the_page_shows_toes_risks_operations_and_reviews(client, practice, practitioner):
    patient = create_patient(practice, family_name="Sample", given_name="Ada", diabetes="yes")
    operation = create_operation(patient=patient, operator=practitioner, performed_on=date(2026, 10, 13))
    nail = add_toe(operation, foot="left", sides=("whole",), technique="tna_chemical")
    create_review(operation, day=4)
    Booking.objects.create(
        operation=operation, starts_at=datetime(2026, 12, 1, 9, 20, tzinfo=UTC), booked_by=practitioner
    )

    response = client.get(reverse("patient", args=[patient.key]))

    page = text(response)
    assert reverse("toe", args=[nail.key]) in response.content.decode()
    for said in (
        "Left 1st toe (hallux), whole nail",
        "Total avulsion, phenol",
        "6-week review, window 17 Nov 2026 to 8 Dec 2026",
        "Booked 1 Dec 2026, 09:20",
        "Diabetes",
        "New operation",
    ):
        assert said in page


def test_reception_sees_who_and_when_but_nothing_clinical(client_of, reception, practice, practitioner):
    patient = create_patient(practice, family_name="Sample", given_name="Ada", diabetes="yes")
    operation = create_operation(patient=patient, operator=practitioner, performed_on=date(2026, 10, 13))

    page = text(client_of(reception).get(reverse("patient", args=[patient.key])))

    for said in ("Ada Sample", "6-week review", "after the operation of 13 Oct 2026"):
        assert said in page
    for hidden in ("toe (", "phenol", "Diabetes", "fibular", "New operation"):
        assert hidden not in page
    assert client_of(reception).get(reverse("operation", args=[operation.key])).status_code == 403


def test_reception_registers_without_risk_answers(client_of, reception):
    client = client_of(reception)
    assert "Diabetes" not in text(client.get(reverse("patient-new")))

    register(client)

    assert Patient.objects.get().diabetes == "not_recorded", "what reception may not ask is not taken from its post"


@pytest.mark.parametrize("role", ["administrator", "reviewer"])
def test_people_without_patients_see_none(client_of, request, practice, role):
    patient = create_patient(practice)
    client = client_of(request.getfixturevalue(role))

    assert client.get(reverse("patient", args=[patient.key])).status_code == 403
    assert find(client, "example").status_code == 403


# --- changing


def test_a_change_keeps_the_earlier_values_and_moves_the_index(client, practice, practitioner):
    patient = create_patient(practice, family_name="Before")

    change(client, patient, family_name="After", phone="01632 960002")

    assert [row.key for row in find(client, "after").context["rows"]] == [patient.key]
    assert find(client, "before").context["rows"] == []
    page = text(client.get(reverse("patient", args=[patient.key])))
    assert "Terry Testcase: Told us today" in page
    assert "Family name: Before → After" in page
    assert Identity.objects.get().history.first().history_user == practitioner


def test_a_date_of_death_is_corrected_or_taken_away_with_the_reason(client, practice):
    patient = create_operation(patient=create_patient(practice), performed_on=date(2026, 11, 1)).patient
    assert "died_on" not in client.get(reverse("patient-change", args=[patient.key])).context["form"].fields
    patient.died_on = date(2026, 11, 20)
    patient.save()

    early = change(client, patient, died_on="2026-10-31")
    assert field_errors(early)["died_on"] == ["The date of death lies before the operation of 1 Nov 2026; check both"]
    change(client, patient, died_on="2026-11-21", reason="The certificate says so")
    patient.refresh_from_db()
    assert patient.died_on == date(2026, 11, 21)
    assert patient.history.first().history_change_reason == "The certificate says so"
    change(client, patient, died_on="", reason="Somebody else")
    patient.refresh_from_db()
    assert patient.died_on is None


def test_a_change_asks_for_a_reason(client, practice):
    patient = create_patient(practice)

    assert field_errors(change(client, patient, reason="")) == {"reason": ["Give the reason for the change"]}


def test_a_new_phone_number_changes_no_risk_answer(client, practice):
    patient = create_patient(practice)

    change(client, patient, phone="01632 960003", **dict.fromkeys(RISKS, "not_recorded"))

    patient.refresh_from_db()
    assert (patient.identity.phone, patient.diabetes) == ("01632 960003", "not_recorded")


def test_a_change_to_a_taken_number_is_refused(client, practice):
    taken = create_patient(practice).identity.record_number
    patient = create_patient(practice)

    response = change(client, patient, record_number=taken)

    assert list(field_errors(response)) == ["record_number"]
    assert change(client, patient, phone="1234").status_code == 302, "its own number is no duplicate"


def test_a_conflict_shows_both_and_saves_nothing(client, client_of, reception, practice):
    patient = create_patient(practice, family_name="Before")
    change(client_of(reception), patient, family_name="Reception", no_contact_wished="on")

    response = change(client, patient, family_name="Mine")

    assert response.status_code == 409
    found = {each.label: (each.stored, each.typed) for each in response.context["differences"]}
    assert found["Family name"] == ("Reception", "Mine")
    assert found["Wishes no contact from the practice"] == ("yes", "no")
    assert "changed this at 09:33" in text(response)
    assert Identity.objects.get().family_name == "Reception"
    form = response.context["form"]
    again = change(
        client, patient, family_name="Mine", version=form.data["version"], patient_version=form.data["patient_version"]
    )
    assert again.status_code == 302
    assert Identity.objects.get().family_name == "Mine"


def test_a_newer_patient_row_is_a_conflict_too(client, practice, practitioner):
    patient = create_patient(practice)
    Patient.objects.get().save_version(by=practitioner, reason="Moved away")

    assert change(client, patient, family_name="Mine").status_code == 409
    assert Identity.objects.get().family_name == "Example"


# --- bounded questions


def test_questions_to_the_database_do_not_grow(client, practice, practitioner):
    patient = create_patient(practice)
    operation = create_operation(patient=patient, operator=practitioner)
    create_review(operation, day=4)
    asks = [
        lambda: client.get(reverse("patients")),
        lambda: find(client, "example"),
        lambda: client.get(reverse("patient", args=[patient.key])),
    ]
    few = [queries(ask) for ask in asks]
    for number in range(15):
        create_operation(patient=create_patient(practice), operator=practitioner)
        more = create_operation(patient=patient, operator=practitioner, performed_on=date(2025, 1, 1 + number))
        create_review(more, day=4)

    assert [queries(ask) for ask in asks] == few


def queries(ask) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert ask().status_code == 200
    return len(caught)


def test_finding_is_for_the_practice_alone(practice, other_practice, practitioner):
    create_patient(other_practice)
    own = create_patient(practice)

    assert list(find_patients(practitioner, "example")) == [own]
