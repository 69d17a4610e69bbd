"""Consent and operation: the same site, or in words what differs."""

from datetime import date
from itertools import product

import pytest

from clinic.preparation.matching import check_site, closest, compare, compare_intent, consent_for
from clinic.preparation.models import Consent
from tests.factories import create_consent, create_patient

FEET, TOES, PARTS = ("right", "left"), range(1, 6), ("tibial", "fibular", "both", "whole")
ON = date(2026, 11, 25)
# The words, written out here so that a change of them is noticed; anatomical terms, common practice, no source.
TOE = {1: "1st toe (hallux)", 2: "2nd toe", 3: "3rd toe", 4: "4th toe", 5: "5th toe"}
PART = {
    "tibial": "tibial (medial) side",
    "fibular": "fibular (lateral) side",
    "both": "both sides",
    "whole": "whole nail",
}


def consented(foot="left", toe=1, part="fibular", **fields) -> Consent:
    return Consent(foot=foot, toe=toe, part=part, **fields)


@pytest.mark.parametrize(("stated", "chosen"), list(product(product(FEET, PARTS), repeat=2)))
def test_every_part_of_both_feet_against_every_other(stated, chosen):
    (foot, part), (now_foot, now_part) = stated, chosen

    found = compare(consented(foot, 1, part), now_foot, 1, now_part)

    if stated == chosen:
        assert found is None
        return
    assert found.differs == tuple(
        name for name, differs in (("foot", foot != now_foot), ("part", part != now_part)) if differs
    )
    assert found.sentence == (
        f"Consent says the {foot} 1st toe (hallux), {PART[part]}. "
        f"You chose the {now_foot} 1st toe (hallux), {PART[now_part]}."
    )
    assert found.within == (foot == now_foot and part == "both" and now_part in {"tibial", "fibular"})


@pytest.mark.parametrize(("toe", "now"), [(toe, now) for toe in TOES for now in TOES])
def test_every_toe_against_every_other(toe, now):
    found = compare(consented("right", toe), "right", now, "fibular")

    if toe == now:
        assert found is None
    else:
        assert found.differs == ("toe",)
        assert f"the right {TOE[toe]}," in found.sentence
        assert f"You chose the right {TOE[now]}," in found.sentence


def test_the_wrong_foot_can_be_read_aloud():
    found = compare(consented("left", 1, "fibular"), "right", 1, "fibular")

    assert found.sentence == (
        "Consent says the left 1st toe (hallux), fibular (lateral) side. "
        "You chose the right 1st toe (hallux), fibular (lateral) side."
    )


@pytest.mark.parametrize(
    ("intent", "destroyed", "differs"),
    [("permanent", True, False), ("temporary", False, False), ("temporary", True, True), ("permanent", False, True)],
)
def test_what_happens_to_the_matrix(intent, destroyed, differs):
    found = compare_intent(consented(intent=intent), matrix_destroyed=destroyed)

    assert (found is not None) == differs
    if differs:
        what = "destroys" if destroyed else "leaves"
        assert found.sentence == f"Consent is for a {intent} operation. The technique you chose {what} the matrix."


def test_of_several_consents_the_closest_is_told():
    near, far = consented("right", 1, "tibial"), consented("left", 2, "whole")

    assert closest([far, near], "right", 1, "fibular").differs == ("part",)
    assert closest([far, near], "right", 1, "tibial") is None


# --- among the stored ones


@pytest.mark.django_db
def test_the_newest_consent_to_the_toe_counts(practice):
    patient = create_patient(practice)
    create_consent(patient, discussed_on=date(2026, 11, 1), part="tibial")
    newer = create_consent(patient, discussed_on=date(2026, 11, 10), part="both")
    create_consent(patient, foot="left", discussed_on=date(2026, 11, 20))

    assert consent_for(patient, "right", 1, ON) == newer
    assert consent_for(patient, "right", 2, ON) is None


@pytest.mark.django_db
def test_of_two_of_one_day_the_later_recorded_counts(practice):
    patient = create_patient(practice)
    create_consent(patient, part="tibial")
    later = create_consent(patient, part="fibular")

    assert consent_for(patient, "right", 1, ON) == later


@pytest.mark.django_db
def test_a_consent_does_not_reach_back(practice):
    consent = create_consent(create_patient(practice), discussed_on=ON)

    assert consent_for(consent.patient, "right", 1, date(2026, 11, 24)) is None
    assert consent_for(consent.patient, "right", 1, ON) == consent


@pytest.mark.django_db
def test_withdrawn_or_struck_out_counts_no_longer(practice):
    consent = create_consent(create_patient(practice))
    consent.withdrawn_on, consent.withdrawn_by = date(2026, 11, 24), consent.discussed_by
    consent.save()

    assert consent_for(consent.patient, "right", 1, date(2026, 11, 23)) == consent
    assert consent_for(consent.patient, "right", 1, date(2026, 11, 24)) is None

    struck = create_consent(consent.patient)
    struck.struck_at = struck.recorded_at
    struck.save()
    assert consent_for(consent.patient, "right", 1, ON) is None


@pytest.mark.django_db
def test_another_patients_consent_does_not_count(practice):
    create_consent(create_patient(practice))
    other = create_patient(practice)

    found = check_site(other, "right", 1, "fibular", ON)

    assert found.differs == ("consent",)
    assert found.sentence == ("No consent is on record. You chose the right 1st toe (hallux), fibular (lateral) side.")


@pytest.mark.django_db
def test_the_check_of_a_site(practice, django_assert_num_queries):
    patient = create_consent(create_patient(practice), foot="left").patient

    with django_assert_num_queries(1):
        assert check_site(patient, "left", 1, "fibular", ON) is None
    assert check_site(patient, "right", 1, "fibular", ON).differs == ("foot",)
