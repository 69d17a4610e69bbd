"""All records of a practice as files: complete, its own alone, harmless in a spreadsheet, noted each time."""

import csv
import io
import json
import zipfile

import pytest
from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from clinic.handover.models import Handover
from clinic.handover.tables import NOT_TAKEN, TABLES, sheets
from clinic.handover.views import MAKERS
from clinic.planning.models import FollowUp, PlannedSchedule
from clinic.recall.models import Closure
from tests.factories import (
    NOON,
    create_assessment,
    create_consent,
    create_operation,
    create_patient,
    create_photograph,
    create_report,
    create_review,
)

PASSWORD = "a long enough word"


@pytest.fixture
def records(practice, lead):
    patient = create_patient(practice, family_name="=cmd|'/c calc'!A1", given_name="Zoë")
    operation = create_operation(patient=patient, operator=lead)
    create_review(operation, day=365)
    create_assessment(patient, by=lead)
    create_consent(patient, by=lead)
    create_photograph(operation.nail_procedures.get(), by=lead)
    return patient


def taken(client, **answers):
    return client.post(
        reverse("own-data"), {"kind": "csv", "purpose": "Change of program", "password": PASSWORD, **answers}
    )


def tables_of(data: bytes) -> dict[str, list[dict[str, str]]]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {
            name.removesuffix(".csv"): list(csv.DictReader(io.StringIO(archive.read(name).decode())))
            for name in archive.namelist() if name.endswith(".csv")
        }  # fmt: skip


def test_every_kind_of_record_is_taken():
    """A new model is a table or is left out for a reason: nobody's record is forgotten by silence."""
    models = {
        model for model in apps.get_app_config("clinic").get_models() if not model.__name__.startswith("Historical")
    }
    listed = {model for _, model, _ in TABLES}

    assert {model.__name__ for model in models - listed} == set(NOT_TAKEN)
    assert all(NOT_TAKEN.values())
    for _, model, path in TABLES:
        try:
            model._meta.get_field(path.split("__")[0])
        except FieldDoesNotExist:
            pytest.fail(f"{model.__name__} has no path {path}")


def test_the_zip_holds_all_rows_and_names_of_this_practice_alone(records, other_practice, lead, client_of):
    create_review(create_operation(other_practice, patient=create_patient(other_practice, family_name="Elsewhere")))

    found = tables_of(taken(client_of(lead)).content)

    assert set(found) == {name for name, *_ in TABLES}
    assert len(found["operations"]) == len(found["reviews"]) == len(found["photographs"]) == 1
    assert found["identities"][0]["given_name"] == "Zoë"
    assert found["operations"][0]["patient"] == records.key
    assert found["treated_sides"][0]["nail_procedure"] == found["nail_procedures"][0]["key"]
    assert "Elsewhere" not in str(found)


def test_what_patients_reported_and_how_they_were_followed_up_is_taken(records, lead, client_of):
    operation = records.operations.get()
    report = create_report(operation)
    FollowUp.objects.create(practice=lead.practice, phone="01632 960000")
    PlannedSchedule.objects.create(operation=operation, rows=[{"code": "month_12"}], planned_at=NOON)
    Closure.objects.create(operation=operation, reason="moved", closed_on=NOON, closed_by=lead, closed_at=NOON)

    found = tables_of(taken(client_of(lead)).content)
    workbook = load_workbook(io.BytesIO(taken(client_of(lead), kind="xlsx").content), read_only=True)

    assert found["patient_reports"][0]["review"] == report.review.key
    assert len(found["reported_toes"]) == report.toes.count() > 0
    assert found["follow_up_settings"][0]["phone"] == "01632 960000"
    assert json.loads(found["planned_schedules"][0]["rows"]) == [{"code": "month_12"}]
    assert found["closures"][0]["reason"] == "moved"
    assert "link" not in found["patient_reports"][0]
    assert {"messages", "planned_schedules"} <= set(workbook.sheetnames)


def test_a_name_that_begins_like_a_formula_is_made_harmless(records, lead, client_of):
    found = tables_of(taken(client_of(lead)).content)
    workbook = load_workbook(io.BytesIO(taken(client_of(lead), kind="xlsx").content))

    assert found["identities"][0]["family_name"] == "'=cmd|'/c calc'!A1"
    for page in workbook:
        for row in page.iter_rows():
            assert all(cell.data_type != "f" for cell in row)


def test_workbook_and_zip_hold_the_same(records, lead, client_of):
    zipped = tables_of(taken(client_of(lead)).content)
    workbook = load_workbook(io.BytesIO(taken(client_of(lead), kind="xlsx").content), read_only=True)

    assert workbook.sheetnames == [name for name, *_ in TABLES]
    for page in workbook:
        rows = list(page.iter_rows(values_only=True))
        assert len(rows) - 1 == len(zipped[page.title])
    assert not workbook.properties.creator


def test_nothing_leaves_without_a_note(records, lead, client_of, monkeypatch):
    answer = taken(client_of(lead))
    row = Handover.objects.get()
    assert (row.member, row.kind, row.purpose) == (lead, "csv", "Change of program")
    assert row.rows > 8
    monkeypatch.setattr("clinic.handover.views.note", lambda *args, **more: 1 / 0)

    assert taken(client_of(lead, raise_request_exception=False)).status_code == 500
    assert answer.status_code == 200
    assert Handover.objects.count() == 1


def test_the_file_is_made_before_anything_is_locked(records, lead, client_of, monkeypatch):
    """A lock held while all records are packed would keep everybody else from writing."""
    make, *rest = MAKERS["csv"]
    depth: list[int] = []

    def watched(found):
        depth.append(len(connection.savepoint_ids))
        return make(found)

    monkeypatch.setitem(MAKERS, "csv", (watched, *rest))
    outside = len(connection.savepoint_ids)

    assert taken(client_of(lead)).status_code == 200
    assert depth == [outside]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"purpose": ""}, "Say what the data is taken for"),
        ({"kind": ""}, "Choose the kind of file"),
        ({"password": "wrong"}, "This is not your password"),
        ({"password": ""}, "Type your password again"),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_taken(records, lead, client_of, change, says):
    page = taken(client_of(lead), **change)

    assert says in page.content.decode()
    assert not Handover.objects.exists()


def test_guessing_the_password_is_slowed_down(records, lead, client_of):
    browser = client_of(lead)
    pages = [taken(browser, password="wrong").content.decode() for _ in range(7)]

    assert "There were too many tries" in pages[-1]
    assert "There were too many tries" in taken(browser).content.decode()


def test_statements_do_not_grow_with_records(practice, lead):
    def statements() -> int:
        with CaptureQueriesContext(connection) as queries:
            for sheet in sheets(practice):
                list(sheet.rows)
        return len(queries)

    create_review(create_operation(practice))
    few = statements()
    for _ in range(5):
        create_review(create_operation(practice))

    assert statements() == few == len(TABLES)
