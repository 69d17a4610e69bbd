"""The cell of two: left out of what is published, and not to be had by linear programming, also not from two years.

The programming here is written apart from the product's: unknowns for every left out number, one equation per sum.
"""

from collections.abc import Iterable
from datetime import date
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import linprog

from audit.exchange.preparing import PUBLISHED
from audit.exchange.tables import Given, Published, published, to_keep
from audit.measures.definitions import Outcome

YEAR_1, YEAR_2 = (date(2022, 4, 1), date(2023, 3, 31)), (date(2023, 4, 1), date(2024, 3, 31))
BOTH = (YEAR_1[0], YEAR_2[1])
GROUPS = {"pna_chemical:phenol": 33, "pna_chemical:sodium_hydroxide": 5, "pna_chemical:tca": 2}
TCA = "pna_chemical:tca"


def rows(
    groups: dict[str, int], *, events: dict[str, int] | None = None, prefix: str = "", outcome: str = "any_regrowth"
) -> pd.DataFrame:
    """One side a patient; the first ones of a group have the event."""
    lines = []
    for code, number in groups.items():
        technique, agent = code.split(":")
        for place in range(number):
            status = "event" if place < (events or {}).get(code, 0) else "clear"
            lines.append({"patient_key": f"{prefix}{code}-{place}", "technique": technique, "agent": agent,
                          outcome: status})  # fmt: skip
    return pd.DataFrame(lines)


def table_of(
    found: pd.DataFrame, period: tuple[date, date], fewest: int, earlier: list[Given] | None = None
) -> Published:
    return published(found, Outcome.ANY_REGROWTH, first=period[0], last=period[1], fewest=fewest, earlier=earlier or [])


def test_tables_of_two_outcomes_would_give_it_away_together():
    """The attack is real: as many are known of one outcome as of the other, and each table leaves out another line."""
    regrowth, recurrence = both_outcomes()
    reader = Reader()
    for name, found in (("regrowth", regrowth), ("recurrence", recurrence)):
        reader.reads(name, published(found, Outcome(found.columns[3]), first=YEAR_1[0], last=YEAR_1[1]))
    reader.knows_known_alike("regrowth", "recurrence", LINKED)

    low, high = reader.range_of("regrowth", TCA, 2)

    assert (low, high) == (2, 2)


LINKED = {"pna_chemical:phenol": 176, "pna_chemical:sodium_hydroxide": 25, TCA: 2}


def both_outcomes() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Regrowth is not asked for where the matrix was left, recurrence is."""
    return (
        rows(LINKED, events={"pna_chemical:phenol": 20}),
        rows({**LINKED, "pna_only:none": 12}, events={"pna_chemical:phenol": 20}, outcome="symptomatic_recurrence"),
    )


def test_one_release_publishes_no_two_tables_that_hold_the_same_patients():
    """Whatever tables leave with a file, the cell of two stays hidden with all of them side by side."""
    regrowth, recurrence = both_outcomes()
    frames = {Outcome.ANY_REGROWTH: regrowth, Outcome.SYMPTOMATIC_RECURRENCE: recurrence}
    reader, names = Reader(), [outcome.value for outcome in PUBLISHED]
    for outcome in PUBLISHED:
        reader.reads(outcome.value, published(frames[outcome], outcome, first=YEAR_1[0], last=YEAR_1[1]))
    for one, other in combinations(names, 2):
        reader.knows_known_alike(one, other, LINKED)

    for name in names:
        low, high = reader.range_of(name, TCA, 2)
        assert high - low >= 11


def test_a_table_of_the_other_outcome_given_earlier_keeps_the_new_one_back():
    regrowth, recurrence = both_outcomes()
    earlier = given(table_of(regrowth, YEAR_1, 11), YEAR_1)

    found = published(recurrence, Outcome.SYMPTOMATIC_RECURRENCE, first=YEAR_1[0], last=YEAR_1[1], earlier=[earlier])

    assert "another outcome" in found.withheld


@pytest.mark.parametrize("fewest", [5, 11])
def test_a_second_table_of_the_same_period_leaves_out_what_the_first_does(fewest):
    """The same numbers for a second group: shown in one and left out in the other would be shown."""
    found = rows({"pna_chemical:phenol": 40, "pna_chemical:sodium_hydroxide": 25, TCA: 2, "wedge:none": 25})
    one = table_of(found, YEAR_1, fewest)
    two = table_of(found, YEAR_1, fewest, [given(one, YEAR_1)])
    stricter = table_of(found, YEAR_1, 26, [given(one, YEAR_1)])

    assert not two.withheld
    assert (two.mask == one.mask).all()
    assert stricter.withheld


def test_a_corrected_table_of_the_same_period_is_kept_back():
    one = table_of(rows(GROUPS), YEAR_1, 5)
    corrected = table_of(rows({**GROUPS, "pna_chemical:phenol": 32}), YEAR_1, 5, [given(one, YEAR_1)])

    assert corrected.withheld == "an earlier table of an overlapping period was counted on other records"


def test_periods_that_cross_are_kept_back():
    """April 2022 to March 2024 beside April 2023 to March 2025: what both hold and what they do not is in neither."""
    crossing = (YEAR_2[0], date(2025, 3, 31))
    one = table_of(rows(GROUPS, prefix="a"), BOTH, 5)

    assert "overlaps this one" in table_of(rows(GROUPS, prefix="b"), crossing, 5, [given(one, BOTH)]).withheld


def test_a_year_is_protected_with_the_other_year_and_both_in_mind():
    """Neither touches the other, and what holds both ties them."""
    first = rows({"pna_chemical:phenol": 33, TCA: 12, "wedge:none": 12}, prefix="a")
    second = rows({"pna_chemical:phenol": 30, TCA: 12, "wedge:none": 13}, prefix="b")
    one = table_of(first, YEAR_1, 5)
    both = table_of(pd.concat([first, second]), BOTH, 5, [given(one, YEAR_1)])
    amended = rows({"pna_chemical:phenol": 30, TCA: 12, "wedge:none": 14}, prefix="b")

    late = table_of(amended, YEAR_2, 5, [given(one, YEAR_1), given(both, BOTH)])

    assert "counted on other records" in late.withheld


def given(table: Published, period: tuple[date, date]) -> Given:
    return Given.of(to_keep(table), first=period[0], last=period[1])


class Reader:
    """Knows everything that is shown in several tables, their sums, and how the tables belong together."""

    def __init__(self) -> None:
        self.names: dict[tuple, int] = {}
        self.equations: list[tuple[dict[int, float], float]] = []

    def at(self, *name) -> int:
        return self.names.setdefault(name, len(self.names))

    def reads(self, which: str, table: Published) -> None:
        codes = [code for code, _ in table.lines]
        for line, code in enumerate(codes):
            for column in range(3):
                if not table.mask[line, column] and not table.withheld:
                    self.equations.append(({self.at(which, code, column): 1.0}, float(table.values[line, column])))
            self.equations.append((self._sum(which, code), 0.0))
        if "all" in codes:
            for column in range(3):
                parts = {self.at(which, code, column): 1.0 for code in codes if code != "all"}
                self.equations.append(({**parts, self.at(which, "all", column): -1.0}, 0.0))

    def _sum(self, which: str, code: str) -> dict[int, float]:
        return {self.at(which, code, 0): 1.0, self.at(which, code, 1): 1.0, self.at(which, code, 2): -1.0}

    def knows_parts(self, whole: str, parts: list[str], codes: list[str]) -> None:
        """Every number of the whole is the sum of those of the parts."""
        for code in codes:
            for column in range(3):
                sides = {self.at(part, code, column): 1.0 for part in parts}
                self.equations.append(({**sides, self.at(whole, code, column): -1.0}, 0.0))

    def knows_known_alike(self, one: str, other: str, codes: Iterable[str]) -> None:
        """As many patients of a line are known in one table as in the other."""
        for code in codes:
            self.equations.append(({self.at(one, code, 2): 1.0, self.at(other, code, 2): -1.0}, 0.0))

    def range_of(self, *name) -> tuple[float, float]:
        size = len(self.names)
        left, right = np.zeros((len(self.equations), size)), np.zeros(len(self.equations))
        for place, (terms, value) in enumerate(self.equations):
            for at, factor in terms.items():
                left[place, at] += factor
            right[place] = value
        ends = []
        for sign in (1, -1):
            goal = np.zeros(size)
            goal[self.at(*name)] = sign
            found = linprog(goal, A_eq=left, b_eq=right, bounds=(0, None))
            ends.append(np.inf if found.status == 3 else sign * found.fun)
        return ends[0], ends[1]


@pytest.mark.parametrize("fewest", [5, 11])
def test_the_cell_of_two_is_left_out_and_cannot_be_worked_out(fewest):
    table = table_of(rows(GROUPS), YEAR_1, fewest)
    line = [code for code, _ in table.lines].index(TCA)
    assert table.values[line, 2] == 2
    assert table.mask[line].all()
    reader = Reader()
    reader.reads("harbour", table)

    low, high = reader.range_of("harbour", TCA, 2)

    assert high - low >= fewest
    assert low <= 2 <= high


@pytest.mark.parametrize("fewest", [5, 11])
def test_nor_from_two_years_and_both_together(fewest):
    """Year 1 and year 2 were given; the table of both is protected with them in mind."""
    first = rows({**GROUPS, "wedge:none": 6}, events={"pna_chemical:phenol": 2}, prefix="a")
    second = rows({"pna_chemical:phenol": 40, "pna_chemical:sodium_hydroxide": 9, TCA: 7, "wedge:none": 3},
                  events={"pna_chemical:phenol": 3}, prefix="b")  # fmt: skip
    one = table_of(first, YEAR_1, fewest)
    two = table_of(second, YEAR_2, fewest, [given(one, YEAR_1)])
    both = table_of(pd.concat([first, second]), BOTH, fewest, [given(one, YEAR_1), given(two, YEAR_2)])
    reader = Reader()
    for name, table in (("one", one), ("two", two), ("both", both)):
        reader.reads(name, table)
    reader.knows_parts("both", ["one", "two"], [code for code, _ in one.lines])

    for name, table in (("one", one), ("two", two), ("both", both)):
        for place, (code, _) in enumerate(table.lines):
            for column in range(3):
                if 0 < table.values[place, column] < fewest:
                    low, high = reader.range_of(name, code, column)
                    assert high - low >= fewest, (name, code, column, low, high)


def test_a_table_protected_without_the_earlier_ones_would_give_it_away():
    """The attack is real: left to itself the table of both years shows by subtraction what year 1 left out."""
    first = rows({"pna_chemical:phenol": 30, TCA: 2, "pna_chemical:sodium_hydroxide": 6}, prefix="a")
    second = rows({"pna_chemical:phenol": 30, TCA: 20, "pna_chemical:sodium_hydroxide": 20}, prefix="b")
    periods = (YEAR_1, YEAR_2, BOTH)
    frames = (first, second, pd.concat([first, second]))
    tables = [table_of(each, period, 5) for each, period in zip(frames, periods, strict=True)]
    reader = Reader()
    for name, table in zip(("one", "two", "both"), tables, strict=True):
        reader.reads(name, table)
    reader.knows_parts("both", ["one", "two"], [code for code, _ in tables[0].lines])

    low, high = reader.range_of("one", TCA, 2)

    assert high - low < 5


def test_patients_in_two_groups_have_no_line_of_all():
    """A total that counts people once would give away who is in both."""
    found = rows(GROUPS)
    again = found.iloc[[0]].assign(agent="sodium_hydroxide")
    table = table_of(pd.concat([found, again]), YEAR_1, 5)

    assert "all" not in [code for code, _ in table.lines]


def test_what_is_left_out_is_said_in_words():
    texts = table_of(rows(GROUPS), YEAR_1, 5).texts()

    assert (
        "any_regrowth",
        TCA,
        "Partial nail avulsion, trichloroacetic acid",
        "left out",
        "left out",
        "left out",
    ) in texts


def test_a_part_that_holds_more_than_its_whole_keeps_the_table_back():
    first = rows(GROUPS, prefix="a")
    one = table_of(first, YEAR_1, 5)
    corrected = table_of(rows({**GROUPS, TCA: 1}, prefix="a"), BOTH, 5, [given(one, YEAR_1)])

    assert corrected.withheld == "an earlier table of an overlapping period was counted on other records"
    assert all(cell == "left out" for text in corrected.texts() for cell in text[3:])
