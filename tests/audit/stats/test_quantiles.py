"""The day by which a share has had the event, from intervals."""

import numpy as np
import pytest

from audit.stats.quantiles import days_of_shares, stretch_of_share
from audit.stats.turnbull import npmle

INF = float("inf")


def test_exact_days_give_the_plain_quantiles():
    days = np.arange(1.0, 41.0)
    (found,) = days_of_shares(np.arange(40), days, days, (0.5,))
    assert (found.start, found.end) == (20, 20)
    assert found.low <= 20 <= found.high
    # By the binomial the 95 % limits of a median of 40 lie near the 14th and 27th value.
    assert 12 <= found.low <= 16
    assert 24 <= found.high <= 29


def test_the_stretch_is_as_wide_as_the_data_leave_it_open():
    curve = npmle([0, 10, 0, 10], [10, 20, 10, 20])
    assert stretch_of_share(curve, 0.25) == (0, 10)
    assert stretch_of_share(curve, 0.75) == (10, 20)


def test_a_share_that_is_not_reached_says_so():
    left, right = np.array([30.0] * 30 + [5.0] * 10), np.array([INF] * 30 + [10.0] * 10)
    (found,) = days_of_shares(np.arange(40), left, right, (0.5,))
    assert (found.start, found.end, found.low) == (None, None, None)
    assert "not reached" in found.withheld


def test_sides_of_one_patient_do_not_count_as_independent():
    rng = np.random.default_rng(3)
    days = np.repeat(rng.integers(10, 40, 40).astype(float), 3)
    (alone,) = days_of_shares(np.arange(120), days, days, (0.5,))
    (together,) = days_of_shares(np.repeat(np.arange(40), 3), days, days, (0.5,))
    assert (alone.start, alone.end) == (together.start, together.end)
    assert together.high - together.low > alone.high - alone.low


def test_a_share_must_lie_between_0_and_1():
    with pytest.raises(ValueError, match="between 0 and 1"):
        stretch_of_share(npmle([0], [1]), 1.0)
