"""Three estimates by hand for a few sides, and in an invented clinic with a known share where patients come back."""

import numpy as np
import pytest

from audit.stats.informative import three_estimates
from audit.stats.turnbull import npmle
from tests.benchmarks.data import clinic, true_share

INF = np.inf


def estimates(come_back, sides=12_000):
    found = clinic(sides, seed=7)
    seen = found.findings(come_back, seed=8)
    return three_estimates(**seen, last_day=found.last_day[found.patient])


def test_the_three_by_hand():
    """Side 0: clear on day 100, regrown at an unplanned visit on 200. Side 1: regrown at a planned review on 300 after
    clear on 100. Side 2: clear on 100 only, data cut-off on day 500. Sides 3 and 4: clear on 100 and 400."""
    side = [0, 0, 1, 1, 2, 3, 3, 4, 4]
    day = [100, 200, 100, 300, 100, 100, 400, 100, 400]
    regrown = [0, 1, 0, 1, 0, 0, 0, 0, 0]
    planned = [1, 0, 1, 1, 1, 1, 1, 1, 1]
    found = three_estimates(side, day, regrown, planned, [500] * 5)
    for share, left, right in [
        (found.all_reviews, [100, 100, 100, 400, 400], [200, 300, INF, INF, INF]),
        (found.planned_only, [100, 100, 100, 400, 400], [INF, 300, INF, INF, INF]),
        (found.silent_clear, [100, 100, 500, 500, 500], [200, 300, INF, INF, INF]),
    ]:
        assert share.middle == pytest.approx(npmle(left, right).at(365).middle)
    assert [share.middle for share in (found.all_reviews, found.planned_only, found.silent_clear)] == pytest.approx(
        [2 / 4, 1 / 3, 2 / 5], abs=1e-7
    )
    assert (found.regrown, found.unplanned) == (2, 1)
    assert found.range == pytest.approx((1 / 3, 1 / 2), abs=1e-7)
    assert found.warning == (
        "the estimates are 16.7 percentage points apart: 1 of 2 regrowths (50 %) were first found at a visit that was "
        "not planned"
    )


def test_when_nobody_comes_back_the_reviews_tell_the_truth_and_silence_too_little():
    found = estimates(0)
    assert found.unplanned == 0
    assert found.planned_only == found.all_reviews
    assert found.all_reviews.middle == pytest.approx(true_share(365), abs=0.006)
    assert found.silent_clear.middle < 0.8 * true_share(365)


def test_when_most_with_regrowth_come_back_all_reviews_say_too_much_and_planned_ones_do_not():
    found = estimates(0.9)
    assert found.all_reviews.middle > 1.15 * true_share(365)
    assert found.planned_only.middle == pytest.approx(true_share(365), abs=0.006)
    assert found.unplanned > found.regrown / 2
    assert "percentage points apart" in found.warning


def test_estimates_close_together_need_no_warning():
    found = three_estimates([0, 1, 2], [400, 400, 400], [0, 0, 0], [1, 1, 1], [500] * 3)
    assert found.range == (0, 0)
    assert found.warning == ""


def test_silence_counts_no_further_than_follow_up():
    """One side followed until day 120 (re-operated), one regrown between 100 and 200, one clear on day 400."""
    side, day, regrown = [0, 1, 1, 2], [100, 100, 200, 400], [0, 0, 1, 0]
    found = three_estimates(side, day, regrown, [1] * 4, [500] * 3, followed_until=[120, INF, INF])
    assert found.silent_clear.middle == pytest.approx(npmle([120, 100, 500], [INF, 200, INF]).at(365).middle)


def test_without_findings_silence_is_all_there_is():
    found = three_estimates([], [], [], [], [500, 600])
    assert not found.all_reviews.shown
    assert not found.planned_only.shown
    assert found.silent_clear.middle == 0
    nothing = three_estimates([], [], [], [], [])
    assert nothing.range is None
    assert nothing.warning == ""


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"planned": [1]}, "planned must be true or false for each of 2 findings"),
        ({"planned": [1, 5]}, "planned must be true or false for each of 2 findings"),
        ({"last_day": [90]}, "day must be at most last_day, 90, not 100 (row 0)"),
        ({"last_day": [INF]}, "last_day must hold one finite number of days per side, 0 or later"),
        ({"last_day": [-1]}, "last_day must hold one finite number of days per side, 0 or later"),
        ({"side": [0, 1]}, "side must be from 0 to 0, not 1 (row 1)"),
    ],
)
def test_refuses_what_is_out_of_range(change, words):
    given = {"side": [0, 0], "day": [100, 200], "regrown": [0, 1], "planned": [1, 1], "last_day": [500]} | change
    with pytest.raises(ValueError, match="must") as refusal:
        three_estimates(**given)
    assert str(refusal.value) == words
