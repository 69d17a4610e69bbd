"""A signed operation changes only by an amendment: refused at the model and by the database itself."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.urls import reverse

from clinic.access.models import Conflict
from clinic.procedures import guard
from clinic.procedures.models import (
    Amendment,
    AnaestheticDose,
    Application,
    NailProcedure,
    Operation,
    OperationEvent,
    SignedRecord,
    TreatedSide,
)
from clinic.procedures.signing import NotReady, NotTheirs, amending, cosign, seen_by_lead, sign
from clinic.vocabulary.procedure import AmendmentKind
from tests.factories import NOON, create_member, create_operation

pytestmark = pytest.mark.django_db
LATER = NOON + timedelta(hours=3)


@pytest.fixture
def operation(practice, practitioner):
    made = create_operation(practice, operator=practitioner)
    AnaestheticDose.objects.create(operation=made, agent="lidocaine", strength_percent=2, volume_ml=3)
    OperationEvent.objects.create(operation=made, kind="vasovagal", harm="none", happened_on=made.performed_on)
    return made


@pytest.fixture
def signed(operation, practitioner):
    sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])
    return Operation.objects.get(pk=operation.pk)


def rows_of(operation) -> list:
    return [
        operation,
        NailProcedure.objects.get(operation=operation),
        TreatedSide.objects.get(nail_procedure__operation=operation),
        Application.objects.filter(treated_side__nail_procedure__operation=operation).first(),
        AnaestheticDose.objects.get(operation=operation),
        OperationEvent.objects.get(operation=operation),
    ]


ROWS = ["operation", "nail", "side", "application", "dose", "event"]


@pytest.mark.parametrize("place", range(6), ids=ROWS)
def test_the_model_refuses_to_save_and_to_delete(signed, place):
    row = rows_of(signed)[place]

    with pytest.raises(SignedRecord):
        row.save()
    with pytest.raises(SignedRecord):
        row.delete()


@pytest.mark.parametrize("place", range(6), ids=ROWS)
@pytest.mark.parametrize("act", ["update", "delete"])
def test_the_database_refuses_what_goes_past_the_model(signed, place, act):
    row = rows_of(signed)[place]
    table = row._meta.db_table
    statement = f"UPDATE {table} SET id = id WHERE id = %s" if act == "update" else f"DELETE FROM {table} WHERE id = %s"  # noqa: S608

    with pytest.raises(DatabaseError, match=guard.REFUSED), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, [row.pk])


def test_the_database_refuses_a_row_put_into_a_signed_record(signed):
    dose = AnaestheticDose(operation=signed, agent="lidocaine", strength_percent=1, volume_ml=1)

    with pytest.raises(IntegrityError, match=guard.REFUSED), transaction.atomic():
        AnaestheticDose.objects.bulk_create([dose])
    with pytest.raises(IntegrityError, match=guard.REFUSED), transaction.atomic():
        NailProcedure.objects.filter(operation=signed).update(curettage="after")
    with pytest.raises(IntegrityError, match=guard.REFUSED), transaction.atomic():
        Operation.objects.filter(pk=signed.pk).update(signed_at=None, signed_by=None)


def test_every_table_of_the_record_is_guarded():
    """A new table that hangs on an operation must be added here, or named as not part of the signed record."""
    follow_up = {"review", "booking", "contact", "amendment", "sidefinding", "toefinding", "photograph", "redflag"}
    follow_up |= {"plannedschedule", "reportlink", "message", "closure"}
    hanging = {
        field.related_model._meta.model_name
        for model in (Operation, NailProcedure, TreatedSide)
        for field in model._meta.related_objects
        if not field.related_model._meta.model_name.startswith("historical")
    }

    assert hanging - follow_up <= {each.model for each in guard.GUARDED}


def test_before_signing_everything_may_change(operation):
    for row in rows_of(operation):
        row.save()


def test_an_amendment_keeps_old_and_new_who_when_and_why(signed, lead):
    nail = signed.nail_procedures.get()
    with transaction.atomic(), amending(signed, by=lead, now=LATER, reason="Read the sheet again"):
        nail.curettage = "after"
        nail.save_version(by=lead, reason="Read the sheet again")

    row = signed.amendments.get()
    assert (row.by, row.opened_at, row.closed_at, row.reason) == (lead, LATER, LATER, "Read the sheet again")
    assert not row.site_changed
    old, new = nail.history.order_by("history_id")[0], nail.history.latest("history_id")
    assert (old.curettage, new.curettage) == ("not_recorded", "after")
    with pytest.raises(SignedRecord):
        NailProcedure.objects.get(pk=nail.pk).save()


def test_an_amendment_that_fails_leaves_the_record_sealed(signed, lead):
    with pytest.raises(ZeroDivisionError), transaction.atomic(), amending(signed, by=lead, now=LATER, reason="x"):
        raise ZeroDivisionError

    assert not Amendment.objects.exists()
    with pytest.raises(SignedRecord):
        signed.save()


def test_an_amendment_needs_a_reason(signed, lead):
    with pytest.raises(IntegrityError), transaction.atomic(), amending(signed, by=lead, now=LATER, reason=""):
        pass


def test_a_closed_amendment_never_changes(signed, lead):
    with transaction.atomic(), amending(signed, by=lead, now=LATER, reason="x"):
        pass
    row = signed.amendments.get()

    for act in (lambda: Amendment.objects.filter(pk=row.pk).update(reason="y"), row.delete):
        with pytest.raises(IntegrityError, match=guard.CLOSED), transaction.atomic():
            act()
    seen_by_lead(by=lead, amendment=row, now=LATER)
    assert signed.amendments.get().seen_by_lead == lead


def test_a_change_of_the_site_is_marked_for_the_lead(signed, lead):
    treated = TreatedSide.objects.get(nail_procedure__operation=signed)
    with transaction.atomic(), amending(signed, by=lead, now=LATER, reason="The other side"):
        treated.side = "tibial"
        treated.save_version(by=lead, reason="The other side")

    assert signed.amendments.get().site_changed


def test_only_the_operator_signs_and_only_once(operation, lead, practitioner):
    with pytest.raises(NotTheirs):
        sign(by=lead, operation=operation, version=operation.version, now=NOON, obstacles=[])
    with pytest.raises(Conflict):
        sign(by=practitioner, operation=operation, version=operation.version + 1, now=NOON, obstacles=[])
    sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])
    sign(by=practitioner, operation=operation, version=operation.version, now=LATER, obstacles=[])

    assert Operation.objects.get(pk=operation.pk).signed_at == NOON


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"tourniquet": "ring"}, "Right 1st toe (hallux): the tourniquet has no time off"),
        (
            {"tourniquet": "ring", "tourniquet_off_at": NOON, "tourniquet_removal_witnessed": "no"},
            "Right 1st toe (hallux): nobody is recorded as having seen the tourniquet off",
        ),
    ],
)
def test_no_signature_before_the_tourniquet_is_seen_off(operation, practitioner, changes, sentence):
    NailProcedure.objects.filter(operation=operation).update(**changes)

    with pytest.raises(NotReady) as refusal:
        sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])

    assert refusal.value.obstacles == [sentence]


def test_a_trainee_is_cosigned_by_the_supervisor(operation, practitioner, lead):
    operation.supervisor = lead
    operation.save()
    with pytest.raises(NotReady):
        cosign(by=lead, operation=operation, now=NOON)
    sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])
    assert Operation.objects.get(pk=operation.pk).awaits_cosignature
    with pytest.raises(NotTheirs):
        cosign(by=practitioner, operation=operation, now=LATER)

    cosign(by=lead, operation=operation, now=LATER)

    stored = Operation.objects.get(pk=operation.pk)
    assert (stored.cosigned_by, stored.cosigned_at, stored.awaits_cosignature) == (lead, LATER, False)


def test_striking_out_and_a_later_amputation_are_kept_as_amendments(signed, client_of, practitioner):
    nail = signed.nail_procedures.get()
    client = client_of(practitioner)
    data = {"amputated_on": "2025-01-10", "reason": "Letter of the hospital", "version": nail.version}
    client.post(reverse("toe-amputated", args=[nail.key]), data)
    client.post(reverse("operation-strike", args=[signed.key]), {"reason": "Wrong patient"})

    nail.refresh_from_db()
    signed.refresh_from_db()
    kinds = [row.kind for row in signed.amendments.all()]
    assert nail.amputated_on == date(2025, 1, 10)
    assert signed.struck_at is not None
    assert kinds == [AmendmentKind.LATE_ENTRY, AmendmentKind.STRUCK_OUT]


def test_a_signed_operation_cannot_be_undone(client_of, practitioner, signed):
    client_of(practitioner).post(reverse("operation-undo", args=[signed.key]))

    signed.refresh_from_db()
    assert signed.struck_at is None


def test_an_amendment_through_the_page_is_one(client_of, practice, practitioner, operation):
    from clinic.procedures.answers import answers_of

    sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])
    answers = answers_of(Operation.objects.get(pk=operation.pk), date(2026, 11, 25))
    stored = Operation.objects.get(pk=operation.pk)
    posted = {name: value for name, value in answers.items() if value not in (None, False)}
    posted |= {"version": stored.version, "toes": "1", "reason": "Read the sheet again", "toe1-curettage": "after"}

    response = client_of(practitioner).post(reverse("operation-amend", args=[operation.key]), posted)

    assert response.status_code == 302
    assert NailProcedure.objects.get(operation=operation).curettage == "after"
    assert stored.amendments.get().reason == "Read the sheet again"


def test_another_operator_of_the_practice_cannot_sign_for_somebody(practice, operation):
    other = create_member(practice, username="other")

    with pytest.raises(NotTheirs):
        sign(
            by=other, operation=operation, version=operation.version, now=datetime(2026, 1, 1, tzinfo=UTC), obstacles=[]
        )
