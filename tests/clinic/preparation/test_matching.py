"""Consent and operation: the same site, or in words what differs."""

from datetime import date
from itertools import product

import pytest

from clinic.preparation.matching import check_site, compare, compare_intent, valid_on
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
        assert found.sentence == f"Consent is for a {intent} operation. The technique {what} the matrix."


def test_of_several_consents_the_closest_is_told():
    near, far = consented("right", 1, "tibial"), consented("left", 2, "whole")

    assert check_site([far, near], "right", 1, "fibular")[1].differs == ("part",)
    assert check_site([far, near], "right", 1, "tibial") == (near, None)


def test_less_than_both_sides_comes_closer_than_another_side():
    other, both = consented("right", 1, "tibial"), consented("right", 1, "both")

    assert check_site([other, both], "right", 1, "fibular")[1].within


def test_of_two_to_one_site_the_first_given_counts():
    newer, older = consented("right", 1, "tibial", note="newer"), consented("right", 1, "tibial", note="older")

    assert check_site([newer, older], "right", 1, "tibial")[0] is newer


def test_without_any_consent_that_is_said():
    consent, mismatch = check_site([], "right", 1, "fibular")

    assert consent is None
    assert mismatch.differs == ("consent",)
    assert mismatch.sentence == "No consent is on record for the right 1st toe (hallux), fibular (lateral) side."


@pytest.mark.parametrize(
    ("withdrawn_on", "day", "valid"),
    [
        (None, date(2026, 11, 19), False),  # a consent does not reach back
        (None, date(2026, 11, 20), True),
        (date(2026, 11, 24), date(2026, 11, 23), True),
        (date(2026, 11, 24), date(2026, 11, 24), False),
    ],
)
@pytest.mark.django_db
def test_valid_on_a_day_as_the_query_has_it(practice, withdrawn_on, day, valid):
    consent = create_consent(create_patient(practice), discussed_on=date(2026, 11, 20))
    consent.withdrawn_on, consent.withdrawn_by = withdrawn_on, consent.discussed_by if withdrawn_on else None
    consent.save()

    assert valid_on(consent, day) == valid
    assert consent.patient.consents.valid_on(day).exists() == valid
