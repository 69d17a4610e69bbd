"""How many operations on record a limit would speak about. Source: own definition; counted by hand."""

from decimal import Decimal

import pytest

from clinic.dosing.effect import Attendance, Effect, effect_of, recorded_attendances
from clinic.vocabulary.procedure import Vasoconstrictor
from tests.clinic.dosing.browsing import weighed
from tests.clinic.dosing.drugs import LEFT_1, RIGHT_1, dose, shipped
from tests.factories import NOON, create_operation, create_patient

NOT_RECORDED, ADRENALINE = Vasoconstrictor.NOT_RECORDED, Vasoconstrictor.ADRENALINE_200


def attendance(*doses, weight: str = "48") -> Attendance:
    return Attendance(Decimal(weight), doses)


def test_operations_above_within_and_unclear_are_counted_apart():
    # Limit: podiatry teaching slides, 3 mg/kg; 48 kg x 3 = 144 mg.
    [limit] = shipped("lidocaine-teaching")
    recorded = [
        attendance(dose("lidocaine", "2", "4"), dose("lidocaine", "2", "4", toe=LEFT_1)),  # 160 mg: above
        attendance(dose("lidocaine", "2", "7.2")),  # 144 mg: at the limit, not above
        attendance(dose("lidocaine", "1", "4")),  # 40 mg: within
        attendance(dose("lidocaine", "2", "8", vasoconstrictor=NOT_RECORDED)),  # 160 mg, plain or not
        attendance(dose("lidocaine", "2", "1"), dose("lidocaine", "2", None)),  # 20 mg and an unknown volume
        attendance(dose("lidocaine", "2", "8"), dose("lidocaine", "2", None)),  # above in any case
        attendance(dose("lidocaine", "2", "9", vasoconstrictor=ADRENALINE)),  # another drug
        attendance(dose("mepivacaine", "3", "9")),  # another agent
    ]

    assert effect_of(limit, recorded) == Effect(counted=4, above=2, unclear=2, unclear_above=1)


def test_the_limit_per_digit_counts_too():
    # Limit: mepivacaine 3 % monograph, 132 mg per digit.
    [limit] = shipped("mepivacaine-uk")
    one_toe = attendance(dose("mepivacaine", "3", "4.5", toe=RIGHT_1), weight="90")
    two_toes = attendance(
        dose("mepivacaine", "3", "2.5", toe=RIGHT_1), dose("mepivacaine", "3", "2.0", toe=LEFT_1), weight="90"
    )

    assert effect_of(limit, [one_toe, two_toes]) == Effect(counted=2, above=1, unclear=0, unclear_above=0)


@pytest.mark.django_db
def test_standing_operations_with_a_weight_are_read_once(practice, other_practice, django_assert_num_queries):
    weighed(practice, "48.5", ("lidocaine", "2", "4.0"), ("lidocaine", "2", None))
    weighed(practice, "60")  # no anaesthetic recorded
    weighed(other_practice, "70", ("lidocaine", "2", "4"))
    struck = weighed(practice, "70", ("lidocaine", "2", "4"))
    struck.struck_at = NOON
    struck.save()
    without_weight = create_operation(patient=create_patient(practice))
    without_weight.doses.create(agent="lidocaine", strength_percent="2", volume_ml="4")

    with django_assert_num_queries(1):
        [found] = recorded_attendances(practice)

    assert found.weight_kg == Decimal("48.5")
    assert [(each.milligrams, each.toe) for each in found.doses] == [(80, RIGHT_1), (None, RIGHT_1)]
    assert {each.vasoconstrictor for each in found.doses} == {NOT_RECORDED}
