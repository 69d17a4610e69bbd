"""One person entered twice: one patient for every list and count, and two again where that was wrong."""

import re
from datetime import date

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from audit import cohort
from clinic.access.models import Conflict
from clinic.merging.recording import NotMergeable, merge, take_apart
from clinic.patients.own import lock_person
from clinic.preparation.models import Assessment, Consent
from clinic.procedures.models import Operation
from clinic.procedures.signing import sign
from clinic.recall.queries import contacts_of, followed
from clinic.recall.recording import log_contact
from clinic.reviews.models import Contact
from clinic.vocabulary.recall import Stop
from tests.clinic.merging.conftest import NOW
from tests.clinic.operation_posts import answers_for
from tests.factories import create_assessment, create_consent, create_operation, create_patient

pytestmark = pytest.mark.django_db
MAY, JUNE = date(2026, 5, 4), date(2026, 6, 8)


def merged(kept, other, lead):
    for entry in (kept, other):
        entry.refresh_from_db()
    merge(by=lead, kept=kept, other=other, versions=(kept.version, other.version), reason="Called them", now=NOW)
    kept.refresh_from_db()
    other.refresh_from_db()


def apart(other, lead):
    take_apart(by=lead, other=other, version=other.version, reason="Two cousins", now=NOW)
    other.refresh_from_db()


def page_of(client, patient, **posted):
    url = reverse("patient-merge", args=[patient.key])
    return client.post(url, posted) if posted else client.get(url)


def test_everything_moves_and_everything_moves_back(kept, lead, other, practitioner):
    rows = [
        create_operation(patient=other, operator=practitioner, performed_on=MAY),
        create_assessment(patient=other, by=practitioner),
        create_consent(patient=other, by=practitioner),
    ]
    own = create_operation(patient=kept, operator=practitioner, performed_on=JUNE)

    merged(kept, other, lead)

    assert [type(row).objects.get(pk=row.pk).patient for row in rows] == [kept] * 3
    later = create_operation(patient=kept, operator=practitioner, performed_on=date(2026, 7, 6))
    apart(other, lead)
    assert [type(row).objects.get(pk=row.pk).patient for row in rows] == [other] * 3
    assert set(Operation.objects.filter(patient=kept)) == {own, later}, "what came after the merge stays"
    assert other.merged_into is None
    reasons = Operation.objects.get(pk=rows[0].pk).history.values_list("history_change_reason", flat=True)
    assert {"Entered twice: merged. Called them", "Not the same person: taken apart. Two cousins"} <= set(reasons)


def test_the_audit_counts_one_patient(kept, lead, other, practice, practitioner):
    for patient, day in ((kept, MAY), (other, JUNE)):
        create_operation(patient=patient, operator=practitioner, performed_on=day)
    dates = {"performed_from": MAY, "performed_to": JUNE, "as_of": NOW.date()}
    assert cohort.build(practice, **dates).sides["patient_key"].nunique() == 2

    merged(kept, other, lead)

    sides = cohort.build(practice, **dates).sides
    assert len(sides) == 2
    assert set(sides["patient_key"]) == {kept.key}


def test_a_try_logged_at_either_entry_is_one_log(kept, lead, other, practitioner):
    for patient, day in ((kept, MAY), (other, JUNE)):
        operation = create_operation(patient=patient, operator=practitioner, performed_on=day)
        log_contact(by=lead, operation=operation, answers={"channel": "phone", "result": "no_answer"}, now=NOW)

    merged(kept, other, lead)

    assert len(contacts_of([kept.pk])[kept.pk]) == 2 == Contact.objects.count()


@pytest.mark.parametrize(
    ("field", "value"), [("no_contact_wished", True), ("died_on", date(2026, 8, 3)), ("diabetes", "yes")]
)
@pytest.mark.parametrize("stays", ["first", "second"])
def test_no_wish_death_or_risk_is_lost(field, value, stays, kept, lead, other, practice):
    type(other).objects.filter(pk=other.pk).update(**{field: value, "diabetes": "yes"})
    type(kept).objects.filter(pk=kept.pk).update(diabetes="no")
    one, two = (kept, other) if stays == "first" else (other, kept)

    merged(one, two, lead)

    assert getattr(one, field) == value
    assert one.diabetes == "yes"


def test_who_wishes_no_contact_at_one_entry_is_not_tried_at_the_other(kept, lead, other, practice, practitioner):
    create_operation(patient=kept, operator=practitioner, performed_on=date(2025, 11, 20))
    type(other).objects.filter(pk=other.pk).update(no_contact_wished=True)
    assert [row.stop for row in followed(practice, today=NOW.date(), now=NOW)] == [None]

    merged(kept, other, lead)

    assert [row.stop for row in followed(practice, today=NOW.date(), now=NOW)] == [Stop.NO_CONTACT]


def test_empty_phone_is_filled_and_a_given_one_stays(kept, lead, other):
    type(kept.identity).objects.filter(pk=kept.identity.pk).update(email="kept@example.org")
    for entry in (kept, other):
        entry.identity.refresh_from_db()
    other.identity.phone, other.identity.email = "020 7946 0100", "other@example.org"
    other.identity.save()

    merged(kept, other, lead)

    kept.identity.refresh_from_db()
    assert (kept.identity.phone, kept.identity.email) == ("020 7946 0100", "kept@example.org")


def test_a_signed_operation_gets_an_amendment(kept, lead, other, practitioner):
    operation = create_operation(patient=other, operator=practitioner, performed_on=MAY)
    sign(by=practitioner, operation=operation, version=operation.version, now=NOW, obstacles=[])

    merged(kept, other, lead)

    operation.refresh_from_db()
    assert operation.patient == kept
    assert [row.reason for row in operation.amendments.all()] == ["Entered twice: merged. Called them"]
    assert not operation.amendments.get().site_changed


def test_contradictions_are_named_and_nothing_moves(client_of, kept, lead, other, practitioner):
    for entry, day in ((kept, date(2026, 5, 1)), (other, date(2026, 5, 2))):
        type(entry).objects.filter(pk=entry.pk).update(died_on=day)
        create_operation(patient=entry, operator=practitioner, performed_on=MAY)
    kept.refresh_from_db()
    other.refresh_from_db()

    page = page_of(client_of(lead), kept, record_number=other.identity.record_number).content.decode()

    assert "The entries name different days of death, 1 May 2026 and 2 May 2026" in page
    assert "One entry says died on 1 May 2026, and there is an operation on 4 May 2026" in page
    assert "Both entries hold an operation of the right 1st toe (hallux) on 4 May 2026" in page
    with pytest.raises(NotMergeable):
        merged(kept, other, lead)
    assert Operation.objects.filter(patient=other).count() == 1


def test_no_chains(kept, lead, other, practice):
    third = create_patient(practice, family_name="Thirdname")
    merged(other, third, lead)

    with pytest.raises(NotMergeable, match="Another entry was merged"):
        merged(kept, other, lead)
    merged(other, kept, lead)

    assert {kept.person, third.person} == {other}


def test_an_entry_is_merged_once(kept, lead, other, practice):
    merged(kept, other, lead)

    with pytest.raises(Conflict):
        merged(create_patient(practice), other, lead)


def test_merging_on_the_page(client_of, kept, lead, other, practitioner):
    create_operation(patient=other, operator=practitioner, performed_on=MAY)
    client, number = client_of(lead), other.identity.record_number
    both = page_of(client, kept, record_number=number)
    form = both.context["form"]
    answers = {"record_number": number, "merge": "1", "reason": "Same card", "same_person": "on",
               "version": form["version"].value(), "other_version": form["other_version"].value()}  # fmt: skip

    assert "Twynname, Rowan" in both.content.decode()
    missed = page_of(client, kept, **answers | {"same_person": ""}).content.decode()
    assert "Tick that both are one person, or leave them apart" in missed
    assert 'value="Same card"' in missed
    assert page_of(client, kept, **answers)["Location"] == reverse("patient", args=[kept.key])

    page = client.get(reverse("patient", args=[other.key]), follow=True)
    assert page.redirect_chain == [(reverse("patient", args=[kept.key]), 302)]
    assert "Also entered as" in page.content.decode()
    assert number in page.content.decode()


@pytest.mark.parametrize(
    ("number", "said"),
    [("none such", "has the record number none such"), ("own", "is this entry"), ("", "Enter the record number")],
)
def test_a_wrong_number_is_named(client_of, kept, lead, number, said):
    typed = kept.identity.record_number if number == "own" else number

    assert said in page_of(client_of(lead), kept, record_number=typed, look="1").content.decode()


def test_the_number_of_another_practice_is_nobody(client_of, kept, lead, other_practice):
    theirs = create_patient(other_practice)

    page = page_of(client_of(lead), kept, record_number=theirs.identity.record_number).content.decode()

    assert "No patient of this practice" in page


def test_an_old_page_conflicts_and_says_so(client_of, kept, lead, other):
    number = other.identity.record_number
    answers = {"record_number": number, "merge": "1", "reason": "Same card", "same_person": "on",
               "version": kept.version, "other_version": other.version}  # fmt: skip
    other.no_contact_wished = True
    other.save_version(by=lead, reason="Asked")

    page = page_of(client_of(lead), kept, **answers).content.decode()

    assert "Somebody changed this a moment ago" in page
    assert 'value="Same card"' in page
    other.refresh_from_db()
    assert other.merged_into is None


def test_taking_apart_on_the_page(client_of, kept, lead, other):
    merged(kept, other, lead)
    client = client_of(lead)
    form = page_of(client, other).context["form"]

    response = page_of(client, other, version=form["version"].value(), reason="Two cousins")

    assert response["Location"] == reverse("patient", args=[other.key])
    other.refresh_from_db()
    assert other.merged_into is None


def test_the_old_name_and_number_find_the_entry_that_stays(client_of, kept, lead, other):
    merged(kept, other, lead)
    client = client_of(lead)

    for query in ("Twynn", other.identity.record_number, "Twinn"):
        page = client.post(reverse("find-patient"), {"q": query})
        assert [row.key for row in page.context["rows"]] == [kept.key]


def test_a_form_that_was_open_writes_into_the_entry_that_stays(client_of, kept, lead, other, practitioner):
    merged(kept, other, lead)

    response = client_of(practitioner).post(reverse("operation-new", args=[other.key]), answers_for(practitioner))

    assert response.status_code == 302
    assert Operation.objects.get().patient == kept
    with transaction.atomic():
        assert lock_person(other) == kept


def test_old_forms_of_preparation_do_so_too(kept, lead, other, practitioner):
    merged(kept, other, lead)

    create_assessment(patient=other, by=practitioner)
    create_consent(patient=other, by=practitioner)

    assert Assessment.objects.get().patient == Consent.objects.get().patient == kept


def told_of_death(operation, lead):
    answers = {"channel": "phone", "result": "died", "died_on": date(2026, 11, 20)}
    log_contact(by=lead, operation=operation, answers=answers, now=NOW)


def test_a_death_told_on_a_page_from_before_the_merge_is_the_merged_persons(kept, lead, other, practitioner):
    operation = create_operation(patient=other, operator=practitioner, performed_on=MAY)
    shown = Operation.objects.select_related("patient").get(pk=operation.pk)
    merged(kept, other, lead)

    told_of_death(shown, lead)

    kept.refresh_from_db()
    other.refresh_from_db()
    assert (kept.died_on, other.died_on) == (date(2026, 11, 20), None)


def test_people_are_locked_before_their_operations_as_merging_does(kept, lead, practitioner):
    if not connection.features.has_select_for_update:
        pytest.skip("SQLite has one writer, and locks no rows")
    operation = create_operation(patient=kept, operator=practitioner, performed_on=MAY)

    with CaptureQueriesContext(connection) as captured:
        told_of_death(operation, lead)

    locks = [query["sql"] for query in captured if "FOR UPDATE" in query["sql"]]
    assert [re.search(r'FROM "(\w+)"', each).group(1) for each in locks] == ["clinic_patient", "clinic_operation"]
