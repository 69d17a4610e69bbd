"""Releases laid beside each other: one, several put together, and what is only in one of them."""

from datetime import date
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.exchange.protect import protect
from audit.exchange.release import contents
from audit.exchange.series import Way, refused_after, refused_beside
from tests.audit.exchange import sets


def release(*people: str, version: str = "") -> dict[str, frozenset[str]]:
    """Each person with one row; `version` makes the rows others."""
    return {person: frozenset({f"{person}:{version}"}) for person in people}


MANY = tuple(f"p{at}" for at in range(12))


def test_nothing_before_nothing_refused():
    assert refused_after(release(*MANY), []) == ""


def test_the_same_again_says_nothing_new():
    assert refused_after(release(*MANY), [release(*MANY)]) == ""


def test_releases_without_a_row_in_common_say_nothing_about_each_other():
    assert refused_after(release("a", "b"), [release(*MANY)]) == ""


@pytest.mark.parametrize("more", [1, 4])
def test_a_few_more_or_fewer_are_refused(more):
    extra = tuple(f"x{at}" for at in range(more))

    assert f"in the rows of {more} patient" in refused_after(release(*MANY, *extra), [release(*MANY)])
    assert f"in the rows of {more} patient" in refused_after(release(*MANY), [release(*MANY, *extra)])


def test_five_more_may_leave():
    assert refused_after(release(*MANY, *(f"x{at}" for at in range(5))), [release(*MANY)]) == ""


def test_one_changed_row_is_one_patient():
    changed = {**release(*MANY), "p3": frozenset({"p3:amended"})}

    assert "in the rows of 1 patient" in refused_after(changed, [release(*MANY)])


def test_two_earlier_ones_put_together_are_looked_at():
    """Beside each alone the new one differs by many; beside both together by one."""
    first, second = MANY[:6], MANY[6:]
    new = release(*MANY[:-1])

    assert refused_after(new, [release(*first)]) == ""
    assert refused_after(new, [release(*second)]) != ""
    assert "earlier file 1 and 2" in refused_after(release(*MANY, "x"), [release(*first), release(*second)])


@given(
    st.lists(st.sets(st.sampled_from(MANY), min_size=5), min_size=1, max_size=4),
    st.sets(st.sampled_from(MANY), min_size=5),
)
def test_what_may_leave_never_leaves_few_between_it_and_any_union(earlier, new):
    if refused_after(release(*new), [release(*one) for one in earlier]):
        return
    near = [one for one in earlier if one & new]
    for size in range(1, len(near) + 1):
        for chosen in combinations(near, size):
            together = set().union(*chosen)
            assert len(new - together) in (0, *range(5, 99))
            assert len(together - new) in (0, *range(5, 99))


def test_one_more_is_seen_though_a_new_version_says_more_of_every_row():
    assert "in the rows of 1 patient" in refused_after(release(*MANY, "x", version="more"), [release(*MANY)])
    assert refused_after(release(*MANY, version="more"), [release(*MANY)]) == ""


YEAR = Way(date(2022, 4, 1), date(2023, 3, 31), 5, True)


@pytest.mark.parametrize(
    "other",
    [
        Way(YEAR.first, YEAR.last, 7, True),
        Way(YEAR.first, YEAR.last, 5, False),
        Way(YEAR.first, date(2024, 3, 31), 5, True),
        Way(date(2021, 4, 1), YEAR.last, 5, True),
    ],
)
def test_the_same_record_protected_in_two_ways_is_refused(other):
    assert "of another period or was protected in another way" in refused_beside(
        release(*MANY), other, [(release(*MANY), YEAR)]
    )
    assert refused_beside(release("y", "z"), other, [(release(*MANY), YEAR)]) == ""


def test_the_same_record_told_in_two_widths_is_refused():
    """A correction of others may widen a record that has not changed: its age in one file, its side in the other."""
    told = {person: frozenset({f"{person}:recorded:age"}) for person in MANY}
    otherwise = {**told, "p3": frozenset({"p3:recorded:side"})}
    changed = {**told, "p3": frozenset({"p3:amended:side"})}

    assert "protected in another way" in refused_beside(otherwise, YEAR, [(told, YEAR)])
    assert refused_beside(changed, YEAR, [(told, YEAR)]) == ""
    assert refused_after(otherwise, [told]) == ""


def test_what_a_release_keeps_shows_who_was_widened_otherwise():
    raw = sets.raw()
    one, wider = (contents(raw, protect(raw, k=k)) for k in (5, 12))

    assert refused_beside(one, YEAR, [(contents(raw, protect(raw)), YEAR)]) == ""
    assert refused_beside(wider, YEAR, [(one, YEAR)])


def test_the_same_period_protected_alike_is_not_refused():
    assert refused_beside(release(*MANY, version="more"), YEAR, [(release(*MANY), YEAR)]) == ""


def test_a_release_kept_without_who_its_rows_are_is_not_passed_over():
    """As a version before kept it: a digest of the whole row alone."""
    old = {person: frozenset({"a" * 64}) for person in MANY}
    later = Way(date(2024, 4, 1), date(2025, 3, 31), 5, True)

    assert refused_beside(release(*MANY), YEAR, [(old, YEAR)])
    assert refused_beside(release(*MANY), later, [(old, YEAR)]) == ""


def test_fewer_than_five_is_no_rule():
    with pytest.raises(ValueError, match="fewest must be at least 5"):
        refused_after(release(*MANY), [], fewest=3)
