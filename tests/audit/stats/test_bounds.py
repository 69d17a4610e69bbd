"""Best and worst case and tipping points: reference values, another library number by number, and the audit's own."""

from math import inf, nan

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from audit.measures import definitions, strata
from audit.referees.bounds import CALLS
from audit.stats.bounds import LOSS_LIMIT, known_effect, loss_bounds, tipping_points, what_if
from audit.stats.clustered import design_effect
from audit.stats.proportion import Method, wilson
from audit.stats.verdict import Verdict, judge
from tests.audit.stats.entries import agree, entries


@pytest.mark.parametrize("entry", entries("bounds"))
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


counts = st.tuples(st.integers(0, 60), st.integers(0, 60), st.integers(0, 40)).filter(lambda parts: sum(parts) >= 5)
effects = st.floats(0.5, 4)
standards = st.floats(0.01, 0.6)


@given(counts, effects, standards)
@settings(max_examples=40, deadline=None)
def test_every_number_of_unseen_events_agrees_with_statsmodels(parts, effect, standard):
    events, clear, lost = parts
    total = sum(parts)
    bounds = loss_bounds(events, events + clear, lost, effect=effect)
    found, tipping = what_if(bounds), tipping_points(bounds, standard)
    size = total / max(1.0, effect)
    rates = [(events + unseen) / total for unseen in range(lost + 1)]
    # The library leaves a rounding error at 0 and 1.
    low, high = np.transpose([proportion_confint(rate * size, size, method="wilson") for rate in rates])
    assert found.rate == pytest.approx(rates)
    assert found.low == pytest.approx(np.clip(low, 0, 1), abs=1e-9)
    assert found.high == pytest.approx(np.clip(high, 0, 1), abs=1e-9)
    above = [unseen for unseen, rate in enumerate(rates) if rate > standard]
    surely = [unseen for unseen in range(lost + 1) if found.low[unseen] > standard]
    within = [unseen for unseen in range(lost + 1) if found.high[unseen] <= standard]
    assert tipping.rate_above == (above[0] if above else None)
    assert tipping.lower_above == (surely[0] if surely else None)
    assert tipping.upper_within == (within[-1] if within else None)


@given(counts, effects)
@settings(max_examples=60, deadline=None)
def test_the_bounds_are_the_ends_of_what_could_be(parts, effect):
    events, clear, lost = parts
    bounds = loss_bounds(events, events + clear, lost, effect=effect)
    found = what_if(bounds)
    for bound, place in ((bounds.best, 0), (bounds.worst, -1)):
        assert (bound.rate, bound.low, bound.high) == pytest.approx(
            (found.rate[place], found.low[place], found.high[place])
        )
    for line in (found.rate, found.low, found.high):
        assert (np.diff(line) > 0).all()


@given(counts, effects, standards)
@settings(max_examples=100, deadline=None)
def test_a_change_is_where_the_verdict_becomes_another(parts, effect, standard):
    """Every number of unseen events is judged one by one; the conclusion holds between the changes, not at them."""
    events, clear, lost = parts
    bounds = loss_bounds(events, events + clear, lost, effect=effect)
    tipping, found = tipping_points(bounds, standard), what_if(bounds)
    verdicts = [judge(low, high, standard) for low, high in zip(found.low, found.high, strict=True)]
    if tipping.conclusion is None:
        assert events + clear == 0
        return
    holding = [place for place, verdict in enumerate(verdicts) if verdict is tipping.conclusion]
    assert tipping.unsupported == (not holding)
    if not holding:
        assert tipping.changes == ()
        return
    expected = [(holding[0] - 1, False)] if holding[0] > 0 else []
    expected += [(holding[-1] + 1, True)] if holding[-1] < lost else []
    assert [(change.events, change.up) for change in tipping.changes] == expected
    for change in tipping.changes:
        assert change.before is tipping.conclusion
        assert change.after is verdicts[change.events] is not change.before
        assert change.share == change.events / change.lost


def test_the_sentence_of_a_practice_that_met_its_standard():
    """2 of 400 known, 60 unseen; the first number with an upper limit above 5 %, by Wilson's formula in statsmodels."""
    tipping = tipping_points(loss_bounds(2, 400, 60), 0.05)
    first = next(d for d in range(61) if proportion_confint(2 + d, 460, method="wilson")[1] > 0.05)
    (change,) = tipping.changes
    assert tipping.conclusion is Verdict.MET
    assert (change.events, change.lost, change.up, change.after) == (first, 60, True, Verdict.NOT_SHOWN)
    assert tipping.upper_within == first - 1


def test_a_conclusion_may_be_given_by_who_has_a_better_one():
    tipping = tipping_points(loss_bounds(2, 400, 60), 0.05, Verdict.NOT_MET)
    assert tipping.conclusion is Verdict.NOT_MET
    assert tipping.changes[0].up is False  # only so many unseen events would bear it out


def test_without_loss_both_cases_are_the_rate():
    bounds = loss_bounds(3, 60, 0)
    plain = wilson(3, 60)
    for bound in (bounds.best, bounds.worst):
        assert (bound.rate, bound.low, bound.high, bound.method) == (plain.rate, plain.low, plain.high, Method.WILSON)
    assert not bounds.high_loss
    assert tipping_points(bounds, 0.05).changes == ()


def test_when_all_are_lost_nothing_is_concluded():
    bounds = loss_bounds(0, 0, 30)
    tipping = tipping_points(bounds, 0.05)
    assert (bounds.best.rate, bounds.worst.rate, bounds.loss) == (0, 1, 1)
    assert (tipping.conclusion, tipping.changes, tipping.unsupported) == (None, (), False)
    assert (tipping.rate_above, tipping.upper_within) == (2, None)  # 2 of 30 is above 5 %, 1 of 30 is not


def test_loss_is_said_above_20_per_cent_and_not_at_it():
    """The 20 % convention of Sackett et al. 1997, from memory, unverified."""
    assert not loss_bounds(1, 80, 20).high_loss
    assert loss_bounds(1, 79, 21).high_loss
    assert "20%" in loss_bounds(1, 79, 21).note
    assert loss_bounds(1, 80, 20).note == ""
    assert definitions.LOSS_LIMIT == LOSS_LIMIT


def test_an_effect_that_cannot_be_seen_makes_the_patients_the_units():
    bounds = loss_bounds(0, 40, 10, patients=25, effect=None)
    plain = wilson(0, 25)
    assert (bounds.best.low, bounds.best.high) == pytest.approx((plain.low, plain.high))
    assert bounds.assumed
    assert bounds.best.method is Method.PATIENTS


def test_the_effect_of_the_known_units():
    assert known_effect([], []) is None
    assert known_effect([1, 0, 0], [1, 1, 1]) == 1
    assert known_effect([1], [2]) is None
    assert known_effect([0, 0], [2, 1]) is None
    assert known_effect([2, 0, 0], [2, 1, 2]) == design_effect([2, 0, 0], [2, 1, 2])


def test_fewer_than_five_patients_give_counts_only():
    bounds = loss_bounds(1, 6, 2, patients=4)
    assert (bounds.best.events, bounds.worst.events, bounds.best.total) == (1, 3, 8)
    assert not bounds.best.shown
    assert not bounds.worst.shown
    assert bounds.best.rate is None
    tipping = tipping_points(bounds, 0.05)
    assert not tipping.shown
    assert "4 of at least 5 patients" in tipping.withheld
    with pytest.raises(ValueError, match="bounds must not be withheld"):
        what_if(bounds)


def test_the_audit_counts_the_same_bounds():
    """The strata tables of the yearly audit, which have their own lines for this."""
    random = np.random.default_rng(5)
    patients = np.repeat(np.arange(60), random.integers(1, 4, 60))
    status = random.choice(["event", "clear", "lost"], p=[0.1, 0.6, 0.3], size=patients.size)
    units = pd.DataFrame({
        "unit_key": [f"u{place}" for place in range(patients.size)], "patient_key": [f"p{one}" for one in patients],
        "status": status, "event": status == "event", "late_event": False,
    })  # fmt: skip
    counted = strata.count(units)

    known = units[units["status"] != "lost"].groupby("patient_key")["event"]
    effect = known_effect(known.sum().astype(int).tolist(), known.size().tolist())
    lost = int((status == "lost").sum())
    found = loss_bounds(int((status == "event").sum()), patients.size - lost, lost, patients=60, effect=effect)

    for ours, theirs in ((found.best, counted.best), (found.worst, counted.worst)):
        assert (ours.events, ours.total) == (theirs.events, theirs.total)
        assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: loss_bounds(0, 0, 0), "known and lost must together be at least 1, not 0"),
        (lambda: loss_bounds(3, 2, 5), "events must be from 0 to 2, not 3"),
        (lambda: loss_bounds(-1, 2, 5), "events must be at least 0, not -1"),
        (lambda: loss_bounds(1, 2.5, 5), "known must be a whole number, not 2.5"),
        (lambda: loss_bounds(1, 2, nan), "lost must be a whole number, not nan"),
        (lambda: loss_bounds(1, 2, inf), "lost must be a whole number, not inf"),
        (lambda: loss_bounds(1, 2, 1, patients=4), "patients must be from 1 to 3, the number of units, not 4"),
        (lambda: loss_bounds(1, 2, 1, effect=None), "patients must be given where effect is None"),
        (lambda: loss_bounds(1, 2, 1, effect=nan), "effect must be finite and at least 0, not nan"),
        (lambda: loss_bounds(1, 2, 1, effect=-1), "effect must be finite and at least 0, not -1"),
        (lambda: loss_bounds(1, 20, 1, level=1), "level must be between 0 and 1, not 1"),
        (lambda: tipping_points(loss_bounds(1, 20, 1), 0), "standard must be between 0 and 1, not 0"),
    ],
)
def test_refuses_what_is_out_of_range(call, words):
    with pytest.raises(ValueError, match=words):
        call()
