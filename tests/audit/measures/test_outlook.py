"""Who will be lost if nothing more is seen. Numbers: worked by hand."""

from datetime import date, timedelta

import pytest

from audit.measures.definitions import Outcome
from audit.measures.outlook import Width, first_day, horizon, last_day, month_end, outlook
from audit.templatetags.outlook import less, points
from tests.audit.frames import cohort, seen, treated, without_matrix

TODAY = date(2026, 11, 25)
OUTCOME = Outcome.SYMPTOMATIC_RECURRENCE


def operated(key: str, days_ago: int, **values):
    return treated(key, performed_on=TODAY - timedelta(days=days_ago), **values)


def look(sides, findings=()):
    return outlook(cohort(sides, findings, as_of=horizon(TODAY)), OUTCOME, TODAY)


def test_the_days_that_are_looked_at():
    assert (TODAY - first_day(TODAY)).days == 790
    assert (TODAY - last_day(TODAY)).days == 335
    assert (horizon(TODAY) - TODAY).days == 90


@pytest.mark.parametrize(
    ("day", "last"),
    [(date(2026, 11, 25), date(2026, 11, 30)), (date(2027, 2, 1), date(2027, 2, 28)), (date(2028, 2, 29),) * 2,
     (date(2026, 12, 31),) * 2],
)  # fmt: skip
def test_the_end_of_the_month(day, last):
    assert month_end(day) == last


def test_open_sides_are_known_or_missing_and_the_first_to_close_comes_first():
    found = look(
        [operated("a", 424), operated("b", 400), operated("c", 340), operated("d", 360), operated("old", 500)],
        [seen("d", 350), seen("c", 200, extent="spicule", symptoms="ingrowth")],
    )

    assert (found.open_sides, found.known, found.completeness) == (4, 2, 0.5)
    assert [side.side_key for side in found.missing] == ["a", "b"]
    assert [side.side_key for side in found.this_month] == ["a"]  # closes on 26 November
    assert found.missing[0].closes_on == date(2026, 11, 26)


def test_a_side_on_its_last_day_is_open_and_one_a_day_older_is_not():
    assert look([operated("last", 425)]).open_sides == 1
    assert look([operated("over", 426)]).open_sides == 0
    assert look([operated("first", 335)]).open_sides == 1


def test_who_is_counted_apart_is_in_no_number():
    found = look(
        [operated("dead", 400, died_day=300.0), operated("again", 400, reoperated_day=200.0), operated("left", 400)]
    )

    assert (found.open_sides, len(found.missing)) == (1, 1)


def test_sides_without_matricectomy_are_missing_but_in_no_bound():
    found = look([without_matrix("plain", performed_on=TODAY - timedelta(days=400)), operated("treated", 400)])

    assert (found.open_sides, found.year.eligible) == (2, 1)


def test_what_seeing_them_would_be_worth():
    """20 eligible: 16 known with 2 events, 4 lost, 3 of them open: from 2/20 to 6/20, then 3/20 less."""
    closed = [operated(f"k{number}", 500) for number in range(16)]
    findings = [seen(f"k{number}", 360) for number in range(2, 16)]
    findings += [seen(f"k{number}", 200, extent="spicule", symptoms="ingrowth") for number in range(2)]
    open_now = [operated(f"o{number}", 400) for number in range(3)]
    found = look([*closed, operated("gone", 500), *open_now], findings)

    assert (found.year.events, found.year.ascertained, found.year.lost) == (2, 16, 4)
    assert (found.bounds.low, found.bounds.high) == (pytest.approx(0.10), pytest.approx(0.30))
    assert found.bounds_if_seen.points == pytest.approx(0.05)  # one lost of 20
    assert points(found.bounds.points) == "20.0 points"
    assert less(found.bounds, found.bounds_if_seen) == "15.0 points"
    # Wilson for 2 of 16 by hand: (0.125 + 0.12005 ± 1.95996 * 0.102895) / 1.24009.
    assert found.interval.low == pytest.approx(0.0350, abs=1e-4)
    assert found.interval.high == pytest.approx(0.3602, abs=1e-4)
    assert found.interval_if_seen.points < found.interval.points


def test_with_every_open_side_seen_it_is_complete_and_its_bounds_meet():
    found = look([operated("a", 400), operated("b", 380)], [seen("a", 390), seen("b", 370)])

    assert (found.completeness, found.missing) == (1.0, ())
    assert found.open_now.lost == 0
    assert found.bounds.points == 0


def test_nobody_at_all():
    found = look([])

    assert (found.completeness, found.bounds, found.interval) == (None, None, None)


def test_a_cohort_of_another_day_is_refused():
    with pytest.raises(ValueError, match="cohort must be as of 2027-02-23, not 2026-11-25"):
        outlook(cohort([], as_of=TODAY), OUTCOME, TODAY)


def test_a_width_is_a_difference():
    assert Width(0.1, 0.3).points == pytest.approx(0.2)
