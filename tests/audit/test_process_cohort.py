"""From records to the criteria of process: what counts for each, and what does not."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from audit.measures.process import TOES, process
from audit.process_cohort import process_toes
from clinic.procedures.models import AnaestheticDose
from clinic.theatre.models import CheckedItem, ChecklistPhase
from tests.factories import (
    NOON,
    add_toe,
    create_assessment,
    create_consent,
    create_limit,
    create_operation,
    create_patient,
)

pytestmark = pytest.mark.django_db
DAY = date(2026, 11, 26)  # the records of the factories are written on the day before


@pytest.fixture
def patient(practice):
    return create_patient(practice)


@pytest.fixture
def operation(patient):
    return create_operation(patient=patient, performed_on=DAY)


def counted(practice, code):
    toes = process_toes(practice, performed_from=date(2026, 1, 1), performed_to=DAY, as_of=DAY)
    assert list(toes.columns) == list(TOES)
    found = {row.criterion.code: row for row in process(toes)}[code]
    return found.met, found.of


def confirmed(patient, *, on=DAY, **fields):
    consent = create_consent(patient, **fields)
    consent.reconfirmed_on, consent.reconfirmed_by = on, consent.discussed_by
    consent.save()
    return consent


def check_site_lines(operation, **answers):
    for phase, code in (("before_anaesthesia", "site_stated"), ("before_incision", "site_repeated")):
        row = ChecklistPhase.objects.create(
            operation=operation, phase=phase, timing="live", completed_at=NOON, by=operation.operator,
            second_initials="TM",
        )  # fmt: skip
        CheckedItem.objects.create(phase=row, code=code, wording="x", answer=answers.get(code, "yes"))


# --- P1: consent before the operation


def test_consent_with_both_dates(practice, patient, operation):
    confirmed(patient)

    assert counted(practice, "P1") == (1, 1)


@pytest.mark.parametrize(
    "consent",
    [{"on": None}, {"toe": 2}, {"foot": "left"},
     {"discussed_on": DAY + timedelta(days=1), "on": DAY + timedelta(days=2)}, {"on": DAY + timedelta(days=1)}],
    ids=["not confirmed", "another toe", "another foot", "given later", "confirmed later"],
)  # fmt: skip
def test_what_is_no_consent_before_the_operation(practice, patient, operation, consent):
    if consent.get("on", DAY) is None:
        create_consent(patient)
    else:
        confirmed(patient, **consent)

    assert counted(practice, "P1") == (0, 1)


def test_a_consent_written_down_on_a_later_day_was_not_on_record(practice, patient, operation):
    consent = confirmed(patient)
    consent.recorded_at = datetime(2026, 11, 27, 0, 30, tzinfo=UTC)
    consent.save()

    assert counted(practice, "P1") == (0, 1)


def test_a_withdrawn_or_struck_out_consent_is_none(practice, patient, operation):
    withdrawn = confirmed(patient)
    withdrawn.withdrawn_on, withdrawn.withdrawn_by = DAY, withdrawn.discussed_by
    withdrawn.save()
    confirmed(patient).strike(by=withdrawn.discussed_by, now=NOON, reason="x")

    assert counted(practice, "P1") == (0, 1)


def test_one_consent_does_not_serve_two_operations(practice, patient):
    create_operation(patient=patient, performed_on=date(2026, 11, 21))
    create_operation(patient=patient, performed_on=DAY)
    confirmed(patient, on=date(2026, 11, 21))

    assert counted(practice, "P1")[1] == 2
    assert counted(practice, "P2") == (0, 2)  # the checklist is missing at both


# --- P2: the same site


def test_the_same_site_everywhere(practice, patient, operation):
    confirmed(patient)
    check_site_lines(operation)

    assert counted(practice, "P2") == (1, 1)


@pytest.mark.parametrize("stated", [{"part": "tibial"}, {"part": "both"}, {"foot": "left"}, {"toe": 3}])
def test_a_consent_to_another_site_is_no_match(practice, patient, operation, stated):
    confirmed(patient, **stated)
    check_site_lines(operation)

    assert counted(practice, "P2") == (0, 1)


@pytest.mark.parametrize("answers", [{"site_stated": "no"}, {"site_repeated": "not_applicable"}])
def test_a_line_of_the_checklist_that_says_otherwise_is_no_match(practice, patient, operation, answers):
    confirmed(patient)
    check_site_lines(operation, **answers)

    assert counted(practice, "P2") == (0, 1)


def test_both_sides_of_one_nail_are_one_part(practice, patient):
    operation = create_operation(patient=patient, performed_on=DAY, sides=("fibular", "tibial"))
    confirmed(patient, part="both")
    check_site_lines(operation)

    assert counted(practice, "P2") == (1, 1)


def test_each_toe_of_an_operation_is_a_row(practice, patient, operation):
    add_toe(operation)
    confirmed(patient)
    check_site_lines(operation)

    assert counted(practice, "P2") == (1, 2)


# --- P6: the anaesthetic


def dose(operation, **changes):
    row = {"agent": "lidocaine", "strength_percent": "2", "vasoconstrictor": "none", "volume_ml": "4", **changes}
    return AnaestheticDose.objects.create(operation=operation, nail_procedure=operation.nail_procedures.first(), **row)


@pytest.fixture
def weighed(operation):
    operation.weight_kg = Decimal(48)
    operation.save()
    return operation


def test_without_an_approved_limit_nothing_is_assessed(practice, weighed):
    create_limit(practice)  # a row that nobody approved
    dose(weighed)

    assert counted(practice, "P6") == (0, 0)


# Two doses of 80 mg at 48 kg: 160 mg of min(4.5 x 48, 200) = 200 mg is 80 %, of 3 x 48 = 144 mg is 111 %. The amounts
# per kilogram are those of a product label of lidocaine 2 % and of an undergraduate teaching table; arithmetic ours.
@pytest.mark.parametrize(("limit", "met"), [({}, 1), ({"mg_per_kg": Decimal(3), "absolute_mg": None}, 0)])
def test_one_record_under_two_limits(practice, weighed, limit, met):
    create_limit(practice, by=weighed.operator, **limit)
    dose(weighed)
    dose(weighed)

    assert counted(practice, "P6") == (met, 1)


def test_no_weight_or_no_volume_is_not_within(practice, operation):
    create_limit(practice, by=operation.operator)
    dose(operation)
    assert counted(practice, "P6") == (0, 1)

    operation.weight_kg = Decimal(48)
    operation.save()
    assert counted(practice, "P6") == (1, 1)
    dose(operation, volume_ml=None)
    assert counted(practice, "P6") == (0, 1)


# --- P9: the blood supply


@pytest.mark.parametrize(
    ("finding", "met"),
    [
        ({}, 1),
        ({"dorsalis_pedis": "not_palpable", "posterior_tibial": "not_examined"}, 1),
        ({"dorsalis_pedis": "not_examined", "posterior_tibial": "not_recorded"}, 0),
        ({"dorsalis_pedis": "not_examined", "posterior_tibial": "not_examined", "doppler": "biphasic"}, 1),
        ({"dorsalis_pedis": "not_examined", "posterior_tibial": "not_examined", "toe_pressure": 70}, 1),
    ],
)
def test_what_counts_as_looked_at(practice, patient, operation, finding, met):
    create_assessment(patient, feet={"right": finding})

    assert counted(practice, "P9") == (met, 1)


def test_the_other_foot_does_not_count(practice, patient, operation):
    unknown = {"dorsalis_pedis": "not_examined", "posterior_tibial": "not_examined"}
    create_assessment(patient, feet={"right": unknown})

    assert counted(practice, "P9") == (0, 1)


@pytest.mark.parametrize(("days_before", "met"), [(0, 1), (366, 1), (367, 0), (-1, 0)])
def test_only_the_year_before(practice, patient, operation, days_before, met):
    create_assessment(patient, assessed_on=DAY - timedelta(days=days_before), weight_on=None)

    assert counted(practice, "P9") == (met if days_before >= 0 else 0, 1)


def test_the_newest_assessment_decides(practice, patient, operation):
    unknown = {"dorsalis_pedis": "not_examined", "posterior_tibial": "not_examined"}
    create_assessment(patient, assessed_on=DAY - timedelta(days=30))
    create_assessment(patient, assessed_on=DAY - timedelta(days=3), feet={"right": unknown})

    assert counted(practice, "P9") == (0, 1)


def test_another_practice_stays_outside(practice, other_practice, patient, operation):
    confirmed(create_patient(other_practice))
    create_operation(other_practice, performed_on=DAY)

    assert counted(practice, "P1") == (0, 1)


def test_a_period_without_operations(practice):
    assert counted(practice, "P1") == (0, 0)
