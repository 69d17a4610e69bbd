"""What keeps a photograph from being added: a sentence for the sender, and nothing is left, no row and no file."""

import re
from datetime import date

import pytest
from django.db import OperationalError, connection
from django.urls import reverse

from clinic.access.models import Conflict
from clinic.access.once import new_token
from clinic.photographs import storage
from clinic.photographs.models import Photograph
from tests.clinic.photographs.conftest import OPERATED_ON
from tests.clinic.photographs.pictures import OTHER_TYPES, png_of_size, several_pictures
from tests.clinic.photographs.posts import add, errors, files, sent
from tests.factories import (
    add_toe,
    create_consent,
    create_operation,
    create_patient,
    create_photograph,
    create_review,
    picture_bytes,
)

pytestmark = pytest.mark.django_db

# --- refused


REFUSED = [
    ({"picture": None}, "Take or choose the picture"),
    ({"picture": sent(b"")}, "The file is empty; choose another one"),
    ({"picture": sent(picture_bytes("PNG"))}, "The picture is a PNG, but its name does not end in .png; rename it"),
    ({"picture": sent(picture_bytes(), "toe.svg")},
     "The picture is a JPEG, but its name does not end in .jpg; rename it"),
    ({"picture": sent(picture_bytes()[:-9])}, "The picture is damaged or incomplete; take it or save it again"),
    ({"picture": sent(png_of_size(30_000, 30_000), "toe.png")},
     "The picture has more than 40 megapixels; make it smaller and choose it again"),
    ({"picture": sent(several_pictures())},
     "The file holds more than one picture; save the one you want as JPEG and choose that"),
    ({"picture": "not a file"}, "Take or choose the picture"),
    ({"taken_on": None}, "When was the photograph taken? Give day, month and year"),
    ({"taken_on": "2026-11-26"}, "The date of the photograph lies in the future"),
    ({"taken_on": "1990-05-16"}, "The date of the photograph lies before the patient was born; check it"),
    ({"consent_for": None}, "Choose what consent was given for"),
    ({"consent_for": "publication"}, "Choose what consent was given for"),
    ({"consent_given_by": None}, "Choose who gave consent"),
    ({"consent_given_by": "not_recorded"}, "Choose who gave consent"),
    ({"consent_given_by": "other"}, "Note who gave consent and with what authority"),
    ({"consent_given_on": None}, "When was consent given? Give day, month and year"),
    ({"consent_given_on": "2026-11-26"}, "The date of consent lies in the future"),
    ({"consent_given_on": "1990-05-16"}, "The date of the consent lies before the patient was born; check it"),
    ({"note": "x" * 201}, "The note may have at most 200 characters"),
    ({"review": "nosuchreview"}, "Select a valid choice"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "sentence"), REFUSED)
def test_refused_with_one_sentence_and_nothing_left(client, nail, folder, changes, sentence):
    response = add(client, nail, **changes)

    assert response.status_code == 200
    assert [text for text in errors(response) if text.startswith(sentence)]
    assert len(errors(response)) == 1
    assert (Photograph.objects.count(), Photograph.history.count(), files(folder)) == (0, 0, [])


@pytest.mark.parametrize("name", sorted(OTHER_TYPES))
def test_another_type_called_jpg_leaves_nothing(client, nail, folder, name):
    response = add(client, nail, picture=sent(OTHER_TYPES[name], "toe.jpg"))

    assert len(errors(response)) == 1
    assert (Photograph.objects.count(), files(folder)) == (0, [])


def test_what_was_typed_is_kept(client, nail, folder):
    page = add(client, nail, picture=sent(OTHER_TYPES["GIF"]), note="After <dressing>", consent_for="care_teaching")
    text = page.content.decode()

    assert 'value="After &lt;dressing&gt;"' in text
    assert re.search(r'<input[^>]*value="care_teaching"[^>]* checked', text)
    assert not re.search(r'<input[^>]*value="care"[^>]* checked', text)
    assert "choose the picture again" in text


def test_consent_of_a_child_needs_a_note(client, practice, folder):
    child = create_patient(practice, born_on=date(2012, 1, 1))
    nail = create_operation(patient=child, performed_on=OPERATED_ON).nail_procedures.get()

    refused = add(client, nail)
    add(client, nail, note="Understood it, mother present")
    add(client, nail, picture=sent(picture_bytes(colour="teal")), consent_given_by="parent")

    assert errors(refused) == ["The patient was 14 on that day. Note how consent was settled"]
    assert Photograph.objects.count() == 2


def test_not_after_death(client, nail, folder):
    patient = nail.operation.patient
    patient.died_on = date(2026, 11, 20)
    patient.save()

    response = add(client, nail, consent_given_on="2026-11-10")

    assert errors(response) == ["The date of the photograph lies after the date of death on record"]


def test_a_review_of_another_operation_is_not_offered(client, nail, practice, folder):
    elsewhere = create_review(create_operation(practice), day=10)
    struck = create_review(nail.operation, day=10)
    struck.struck_at, struck.struck_reason = struck.recorded_at, "Wrong toe"
    struck.save()

    for review in (elsewhere, struck):
        assert "Select a valid choice" in errors(add(client, nail, review=review.key))[0]
    assert Photograph.objects.count() == 0


def test_the_same_picture_twice_at_one_toe_is_a_slip(client, nail, folder):
    add(client, nail)
    response = add(client, nail)
    other_toe = add_toe(nail.operation)
    both_toes = add(client, other_toe)

    assert errors(response) == ["This picture is on record already, dated 25 Nov 2026"]
    assert both_toes.status_code == 302
    assert len(files(folder)) == 4


def test_a_struck_out_operation_takes_none(client, nail, folder):
    nail.operation.struck_at, nail.operation.struck_reason = nail.operation.recorded_at, "Wrong patient"
    nail.operation.save()

    assert client.get(reverse("photograph-add", args=[nail.key])).status_code == 404
    assert add(client, nail).status_code == 404
    assert files(folder) == []


def test_an_operation_struck_out_meanwhile_takes_none(nail, folder):
    """After the page was checked and before the row is written."""
    nail.operation.struck_at, nail.operation.struck_reason = nail.operation.recorded_at, "Wrong patient"
    nail.operation.save()

    with pytest.raises(Conflict):
        create_photograph(nail)
    assert files(folder) == []


# --- possible, but unusual


CONFIRMED = {"confirmed": "on", "confirm_reason": "Asked again today"}


def test_a_patient_who_said_no_is_asked_about(client, nail, folder):
    create_consent(nail.operation.patient, discussed_on=date(2026, 10, 1), photographs="no")

    page = add(client, nail).content.decode()
    add(client, nail, **CONFIRMED)

    assert "the consent to the operation of 1 Oct 2026 says no to photographs" in page
    made = Photograph.objects.get()
    assert Photograph.history.get().history_change_reason == "Asked again today"
    assert made.consent_given_on == date(2026, 11, 25)


@pytest.mark.parametrize(
    "said",
    [
        {"photographs": "yes"},
        {"photographs": "not_assessed"},
        {"discussed_on": date(2026, 11, 25), "photographs": "yes"},
    ],
)
def test_a_later_word_counts(client, nail, folder, said):
    create_consent(nail.operation.patient, discussed_on=date(2026, 9, 1), photographs="no")
    create_consent(nail.operation.patient, **{"discussed_on": date(2026, 10, 1), **said})

    assert add(client, nail).status_code == 302


def test_the_picture_of_another_patient_is_asked_about(client, nail, practice, other_practice, folder):
    patient = create_patient(practice, family_name="Otherwise")
    other = create_operation(patient=patient, performed_on=OPERATED_ON).nail_procedures.get()
    client.get(add(client, other)["Location"])  # shows the message that names this patient

    page = add(client, nail).content.decode()

    assert "the same picture is on record for another patient; check whose toe it shows" in page
    assert "Otherwise" not in page
    assert Photograph.objects.count() == 1
    assert add(client, nail, **CONFIRMED).status_code == 302


def test_other_practices_are_not_asked(client, client_of, colleague_elsewhere, nail, other_practice, folder):
    elsewhere = create_operation(other_practice, performed_on=OPERATED_ON).nail_procedures.get()
    assert add(client_of(colleague_elsewhere), elsewhere).status_code == 302

    assert add(client, nail).status_code == 302


# --- what fails leaves nothing


def test_a_full_disk_is_said_and_leaves_nothing(client, nail, folder, monkeypatch):
    put = storage.put

    def full(path, data):
        if path.name.endswith(storage.PREVIEW):
            raise OSError(28, "No space left on device")
        put(path, data)

    monkeypatch.setattr(storage, "put", full)
    response = add(client, nail)

    assert "could not be written to the disk, so nothing was saved" in response.content.decode()
    assert (Photograph.objects.count(), Photograph.history.count(), files(folder)) == (0, 0, [])


def test_a_row_that_cannot_be_written_leaves_no_file(client_of, practitioner, nail, folder, monkeypatch):
    browser = client_of(practitioner, raise_request_exception=False)
    once = new_token()

    def broken(*args, **kwargs):
        raise OperationalError("gone")

    with monkeypatch.context() as patch:
        patch.setattr("clinic.photographs.views.messages.success", lambda *args: None)
        patch.setattr(Photograph.history.model, "save", broken)
        assert add(browser, nail, once=once).status_code == 500
    assert (Photograph.objects.count(), files(folder)) == (0, [])

    assert add(browser, nail, once=once).status_code == 302  # the token was not used up
    assert Photograph.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_commit_that_fails_leaves_no_file(client_of, practitioner, nail, folder, monkeypatch):
    browser = client_of(practitioner, raise_request_exception=False)
    commit = connection.commit

    def fails_with_a_photograph():
        if Photograph.objects.exists():
            assert len(files(folder)) == 2
            raise OperationalError("disk I/O error")
        commit()

    monkeypatch.setattr(connection, "commit", fails_with_a_photograph)
    response = add(browser, nail)
    monkeypatch.undo()

    assert response.status_code == 500
    assert (Photograph.objects.count(), files(folder)) == (0, [])


def test_a_review_of_another_operation_is_refused_by_the_act_itself(nail, practitioner, folder):
    with pytest.raises(ValueError, match="belongs to another operation"):
        create_photograph(nail, by=practitioner, review=create_review(create_operation(), day=10))
    assert files(folder) == []
