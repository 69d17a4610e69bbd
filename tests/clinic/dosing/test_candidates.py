"""The shipped rows hold the figures of their sources, and none of them is in force."""

from decimal import Decimal

import pytest

from clinic.dosing.candidates import CANDIDATES, candidate_of
from clinic.dosing.models import approved_limits
from clinic.vocabulary.procedure import Anaesthetic

# Sources. UK and Irish: summary of product characteristics of lidocaine 2 %; product page repeating the label (500 mg);
# mepivacaine 3 % monograph, foot use. US: label of lidocaine. Teaching: undergraduate table of maximum doses and
# podiatry teaching slides. Where needs_check is True a figure of the row is from memory, unverified.
# code: (mg/kg, at most mg, mg per digit, weight cap kg, hours, needs_check)
FIGURES = {
    "lidocaine-uk": ("4.5", "200", None, None, None, False),
    "lidocaine-adrenaline-uk": (None, "500", None, None, None, False),
    "lidocaine-us": ("4.5", "300", None, None, None, False),
    "lidocaine-adrenaline-us": ("7", "500", None, None, None, False),
    "lidocaine-teaching": ("3", "210", None, "70", None, False),
    "lidocaine-adrenaline-teaching": ("7", None, None, "70", None, False),
    "mepivacaine-uk": ("6", None, "132", None, 24, False),
    "mepivacaine-us": ("7", "400", None, None, None, True),
    "bupivacaine-uk": ("2", "150", None, None, None, True),
    "bupivacaine-us": ("2", "175", None, None, None, True),
    "bupivacaine-adrenaline-us": ("2", "225", None, None, None, True),
    "levobupivacaine-teaching": ("2", "150", None, None, None, True),
    "prilocaine-teaching": ("5", "400", None, None, None, True),
    "prilocaine-felypressin": ("5", "300", None, None, None, True),
    "ropivacaine-memory": ("3", "200", None, None, None, True),
    "articaine-memory": ("7", "500", None, None, None, True),
}


def decimal(text):
    return None if text is None else Decimal(text)


@pytest.mark.parametrize("code", FIGURES)
def test_figures_as_in_their_source(code):
    per_kg, absolute, per_digit, cap, hours, needs_check = FIGURES[code]
    candidate = candidate_of(code)
    limit = candidate.limit

    assert limit.mg_per_kg == decimal(per_kg)
    assert limit.absolute_mg == decimal(absolute)
    assert limit.per_digit_mg == decimal(per_digit)
    assert limit.weight_cap_kg == decimal(cap)
    assert (limit.period_h, candidate.needs_check) == (hours, needs_check)


def test_no_row_is_left_out_of_the_check():
    assert [candidate.code for candidate in CANDIDATES] == list(FIGURES)


def test_a_value_from_memory_says_so_in_its_source():
    for candidate in CANDIDATES:
        assert ("from memory, unverified" in candidate.limit.source) == candidate.needs_check


def test_names_are_generic_and_every_drug_of_a_profile_comes_once():
    rows = [(candidate.profile, candidate.limit.drug) for candidate in CANDIDATES]

    assert len(rows) == len(set(rows))
    assert Anaesthetic.OTHER not in {candidate.limit.agent for candidate in CANDIDATES}
    assert all(len(candidate.limit.source) <= 300 and len(candidate.profile) <= 40 for candidate in CANDIDATES)


@pytest.mark.django_db
def test_nothing_is_in_force_in_a_new_practice(practice):
    assert approved_limits(practice) == ()
