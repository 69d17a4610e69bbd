"""A wrong frame is refused by name and row, before anything is counted."""

from dataclasses import replace
from datetime import date, timedelta

import pandas as pd
import pytest

from audit.measures.columns import FINDINGS, SIDES, TOE_FINDINGS, check
from audit.measures.definitions import DEFINITIONS, Outcome
from tests.audit.frames import AS_OF, cohort, seen, toe_seen, treated


def good(**values):
    return cohort([treated("s", toe="t", **values)], [seen("s", 365)], [toe_seen("t", 9)])


def test_a_good_cohort_and_an_empty_one_pass():
    check(good())
    check(cohort([]))
    check(good(age_years=pd.NA, exposure_seconds=float("nan")))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"technique": "magic"}, "sides.technique, row 0: 'magic' is not a code of Technique"),
        ({"sex": None}, "sides.sex, row 0: None is empty"),
        ({"toe_number": 6}, "sides.toe, row 0: 6 is above 5"),
        ({"age_years": -1}, "sides.age_years, row 0: -1 is below 0"),
        ({"exposure_seconds": -5.0}, "sides.exposure_seconds, row 0: .*-5.0.* is below 0"),
        ({"matrix_destroyed": "yes"}, "sides.matrix_destroyed, row 0: 'yes' is neither true nor false"),
        ({"performed_on": date(2019, 12, 31)}, "sides.performed_on, row 0: .* is before the period"),
        ({"performed_on": AS_OF + timedelta(days=1)}, "sides.performed_on, row 0: .* is after the period"),
    ],
)
def test_refuses_a_wrong_value_by_column_and_row(values, words):
    with pytest.raises(ValueError, match=words):
        check(good(**values))


def test_refuses_a_missing_column():
    found = good()
    with pytest.raises(ValueError, match="sides: column agent is missing"):
        check(replace(found, sides=found.sides.drop(columns="agent")))


def test_refuses_rows_that_occur_twice_or_belong_nowhere():
    with pytest.raises(ValueError, match=r"sides.side_key, row 1: 's' occurs twice"):
        check(cohort([treated("s"), treated("s")]))
    with pytest.raises(ValueError, match=r"findings.side_key, row 0: 'x' is not in sides"):
        check(cohort([treated("s")], [seen("x", 365)]))
    with pytest.raises(ValueError, match=r"findings.review_key, row 1: 'r' occurs twice for one side"):
        check(cohort([treated("s")], [seen("s", 10, review="r"), seen("s", 10, review="r")]))
    with pytest.raises(ValueError, match=r"toe_findings.toe_key, row 0: 'x' is not in sides"):
        check(cohort([treated("s")], [], [toe_seen("x", 5)]))


def test_refuses_a_day_before_the_operation():
    with pytest.raises(ValueError, match=r"findings.day, row 0: -1 is below 0"):
        check(cohort([treated("s")], [seen("s", -1)]))


def test_refuses_sides_of_one_toe_that_disagree():
    sides = [treated("a", toe="t", side="tibial"), treated("b", toe="t", agent="tca")]
    with pytest.raises(ValueError, match=r"sides.agent, row 1: 'tca' differs between sides of one toe"):
        check(cohort(sides))


@pytest.mark.parametrize("bands", [(), (60, 30), (0,)])
def test_refuses_bands_that_do_not_ascend(bands):
    with pytest.raises(ValueError, match="bands must be ascending"):
        check(cohort([], bands=bands))


def test_every_column_says_what_it_is_and_what_an_empty_cell_means():
    for column in [*SIDES.values(), *FINDINGS.values(), *TOE_FINDINGS.values()]:
        assert column.description
        assert column.missing
        assert (column.terms is not None) == (column.holds == "a code")


def test_every_definition_has_a_sentence_and_a_source():
    assert DEFINITIONS.version == "1"
    assert {outcome.value for outcome in Outcome} <= {one.code for one in DEFINITIONS.items}
    for one in DEFINITIONS.items:
        assert one.sentence.endswith(".")
        assert one.source.citation
