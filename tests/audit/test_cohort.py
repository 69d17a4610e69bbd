"""The one door from records to figures: what passes it, what does not, and at what cost."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from audit import cohort
from clinic.patients.identity import Identity, NameDigest
from clinic.procedures.models import TreatedSide
from clinic.reviews.models import Contact
from clinic.vocabulary.procedure import Agent, Technique
from clinic.vocabulary.review import ContactResult, Extent, LossReason, Means, Observer
from tests.factories import NOON, add_toe, create_operation, create_patient, create_practice, create_review

pytestmark = pytest.mark.django_db
AS_OF = date(2026, 1, 31)
DONE_ON = date(2024, 6, 3)


@pytest.fixture
def practice():
    return create_practice()


def built(practice, *, as_of=AS_OF, performed_from=date(2024, 1, 1), performed_to=date(2024, 12, 31)):
    return cohort.build(practice, performed_from=performed_from, performed_to=performed_to, as_of=as_of)


def contact(operation, result, *, made_on=date(2025, 6, 3)):
    return Contact.objects.create(
        operation=operation,
        made_on=made_on,
        channel="phone",
        result=result,
        recorded_by=operation.operator,
        recorded_at=NOON,
    )


def operations_with_reviews(practice, count):
    for _ in range(count):
        operation = create_operation(practice, sides=("tibial", "fibular"))
        add_toe(operation, technique=Technique.PNA_ONLY)
        create_review(operation, day=20)
        create_review(operation, day=370)
        contact(operation, ContactResult.NO_ANSWER)


@pytest.mark.parametrize("count", [3, 30])
def test_four_queries_whatever_the_number_of_operations(practice, count, django_assert_num_queries):
    operations_with_reviews(practice, count)
    with django_assert_num_queries(4):
        frames = built(practice)
    assert len(frames.sides) == 3 * count
    assert len(frames.findings) == 6 * count
    assert len(frames.toe_findings) == 4 * count


def test_sql_never_names_the_tables_of_identity(practice):
    operations_with_reviews(practice, 2)
    nail = practice.operations.first().nail_procedures.select_related("operation__practice").first()
    with CaptureQueriesContext(connection) as captured:
        built(practice)
        cohort.build_for_toe(nail, as_of=AS_OF)
    statements = " ".join(query["sql"] for query in captured)
    assert Identity._meta.db_table not in statements
    assert NameDigest._meta.db_table not in statements


def test_a_period_without_operations_gives_empty_frames(practice):
    frames = built(practice)
    assert len(frames.sides) == len(frames.findings) == len(frames.toe_findings) == 0
    assert "exposure_seconds" in frames.sides.columns


def test_both_ends_of_the_period_belong_to_it(practice):
    for day in (date(2023, 12, 31), date(2024, 1, 1), date(2024, 12, 31), date(2025, 1, 1)):
        create_operation(practice, performed_on=day)
    days = [stamp.date() for stamp in built(practice).sides["performed_on"]]
    assert days == [date(2024, 1, 1), date(2024, 12, 31)]


def test_an_operation_after_the_data_date_is_not_known_yet(practice):
    create_operation(practice, performed_on=date(2024, 6, 3))
    assert built(practice, as_of=date(2024, 6, 2)).sides.empty
    assert len(built(practice, as_of=date(2024, 6, 3)).sides) == 1


def test_another_practice_stays_outside(practice):
    create_review(create_operation(create_practice()))
    frames = built(practice)
    assert frames.sides.empty
    assert frames.findings.empty


def test_struck_out_operations_and_reviews_are_left_out(practice):
    struck = create_operation(practice)
    create_review(struck)
    struck.struck_at = NOON
    struck.save()
    kept = create_operation(practice)
    review = create_review(kept)
    review.struck_at = NOON
    review.save()
    frames = built(practice)
    assert list(frames.sides["operation_key"]) == [kept.key]
    assert frames.findings.empty
    assert frames.toe_findings.empty


def test_a_patient_report_counts_once_a_clinician_accepted_it(practice):
    operation = create_operation(practice)
    report = {"observer": Observer.PATIENT, "means": Means.QUESTIONNAIRE}
    create_review(operation, day=340, accepted=False, **report)
    create_review(operation, day=350, accepted=True, **report)
    assert list(built(practice).findings["day"]) == [350]


def test_findings_after_the_data_date_are_left_out(practice):
    operation = create_operation(practice)
    create_review(operation, day=100)
    create_review(operation, day=101)
    frames = built(practice, as_of=DONE_ON + timedelta(days=100))
    assert list(frames.findings["day"]) == [100]
    assert list(frames.toe_findings["day"]) == [100]


def test_exposure_is_the_sum_else_the_stated_total_else_unknown(practice):
    create_operation(practice, seconds=(60, 30))
    TreatedSide.objects.filter(nail_procedure__operation=create_operation(practice, seconds=())).update(
        stated_exposure_seconds=150
    )
    create_operation(practice, seconds=())
    exposures = built(practice).sides["exposure_seconds"]
    assert exposures.iloc[0] == 90
    assert exposures.iloc[1] == 150
    assert exposures.isna().iloc[2]


def test_seconds_noted_without_an_agent_are_no_exposure(practice):
    operation = create_operation(practice, technique=Technique.WEDGE, agent=Agent.NONE)
    TreatedSide.objects.filter(nail_procedure__operation=operation).update(stated_exposure_seconds=60)
    assert built(practice).sides["exposure_seconds"].isna().all()


@pytest.mark.parametrize(
    ("results", "reason"),
    [
        ([], LossReason.NEVER_TRIED),
        ([ContactResult.BOOKED], LossReason.NO_REPLY),
        ([ContactResult.NO_ANSWER, ContactResult.DID_NOT_ATTEND], LossReason.DID_NOT_ATTEND),
        ([ContactResult.DID_NOT_ATTEND, ContactResult.DECLINED], LossReason.DECLINED),
        ([ContactResult.DECLINED, ContactResult.MOVED, ContactResult.NO_ANSWER], LossReason.MOVED),
    ],
)
def test_loss_reason_is_the_strongest_in_the_contact_log(practice, results, reason):
    operation = create_operation(practice)
    for result in results:
        contact(operation, result)
    assert list(built(practice).sides["loss_reason"]) == [reason.value]


def test_contacts_after_the_data_date_explain_nothing(practice):
    contact(create_operation(practice), ContactResult.MOVED, made_on=AS_OF + timedelta(days=1))
    assert list(built(practice).sides["loss_reason"]) == [LossReason.NEVER_TRIED.value]


def test_a_death_is_known_from_its_day_on(practice):
    patient = create_patient(practice, died_on=date(2024, 9, 1))
    create_operation(patient=patient)
    assert list(built(practice, as_of=date(2024, 9, 1)).sides["died_day"]) == [90]
    assert built(practice, as_of=date(2024, 8, 31)).sides["died_day"].isna().all()


def test_a_later_operation_on_the_same_side_is_a_re_operation(practice):
    patient = create_patient(practice)
    first = create_operation(patient=patient)
    second = create_operation(patient=patient, performed_on=DONE_ON + timedelta(days=200))
    TreatedSide.objects.filter(nail_procedure__operation=second).update(
        revises=TreatedSide.objects.get(nail_procedure__operation=first)
    )
    days = built(practice).sides.set_index("operation_key")["reoperated_day"]
    assert days[first.key] == 200
    assert days.isna()[second.key]
    assert built(practice, as_of=DONE_ON + timedelta(days=199)).sides["reoperated_day"].isna().all()
    second.struck_at = NOON
    second.save()
    assert built(practice).sides["reoperated_day"].isna().all()


def test_an_amputation_counts_from_its_day_on(practice):
    operation = create_operation(practice)
    nail = operation.nail_procedures.get()
    nail.amputated_on = DONE_ON + timedelta(days=200)
    nail.save()
    assert built(practice).sides["amputated_day"].tolist() == [200]
    assert built(practice, as_of=DONE_ON + timedelta(days=199)).sides["amputated_day"].isna().all()


def test_one_toe_is_the_same_in_its_own_cohort(practice):
    operation = create_operation(practice, sides=("tibial", "fibular"))
    other = add_toe(operation)
    create_review(operation, extent=Extent.SPICULE)
    nail = operation.nail_procedures.exclude(pk=other.pk).get()
    frames = cohort.build_for_toe(nail, as_of=AS_OF)
    whole = built(practice)
    assert set(frames.sides["toe_key"]) == {nail.key}
    assert len(frames.sides) == len(frames.findings) == 2
    assert len(frames.toe_findings) == 1
    expected = whole.sides[whole.sides["toe_key"] == nail.key].reset_index(drop=True)
    assert frames.sides.equals(expected)
