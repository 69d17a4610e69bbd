"""The estimated risk from the frames: which findings bound a side, and agreement with the estimator itself."""

from datetime import timedelta

import numpy as np
import pytest

from audit.measures.definitions import Outcome, Unit
from audit.measures.outcomes import unit_frame
from audit.measures.over_time import HORIZON, over_time
from audit.measures.strata import count, headline_units
from audit.stats.turnbull import npmle
from audit.stats.verdict import Verdict
from tests.audit.frames import AS_OF, cohort, seen, treated

SPICULE = {"extent": "spicule"}


def estimated(sides, findings, *, outcome=Outcome.ANY_REGROWTH, standard=0.05):
    frames = cohort(sides, findings)
    headline = count(headline_units(unit_frame(frames, outcome, Unit.SIDE)))
    return over_time(frames, outcome, headline, standard)


def many(number, day, **finding):
    """So many patients with one side each, seen on `day`."""
    names = [f"{day}-{place}-{len(finding)}" for place in range(number)]
    return [treated(name) for name in names], [seen(name, day, **finding) for name in names]


def test_the_share_is_that_of_the_estimator():
    """Reference: the estimator itself, on the intervals written down by hand."""
    clear, clear_seen = many(40, 400)
    grown, grown_seen = many(4, 190, **SPICULE)

    found = estimated(clear + grown, clear_seen + grown_seen)

    by_hand = npmle([400.0] * 40 + [0.0] * 4, [np.inf] * 40 + [190.0] * 4).at(HORIZON)
    assert found.headline.by(HORIZON).share == by_hand
    assert by_hand.middle == pytest.approx(4 / 44)
    assert (found.headline.sides, found.headline.patients, found.headline.informative) == (44, 44, 44)


def test_a_young_side_counts_although_its_window_is_open():
    clear, clear_seen = many(20, 400)
    young = treated("young", performed_on=AS_OF - timedelta(days=60))

    found = estimated([*clear, young], [*clear_seen, seen("young", 50, **SPICULE)])

    assert found.headline.informative == 21


@pytest.mark.parametrize(
    ("end", "informative"),
    [({"reoperated_day": 100.0}, 0), ({"amputated_day": 100.0}, 0), ({"died_day": 100.0}, 1), ({}, 1)],
)
def test_findings_after_the_end_of_follow_up_say_nothing(end, informative):
    found = estimated([treated("s", **end)], [seen("s", 200, **SPICULE)])

    assert found.headline.informative == informative


def test_a_finding_that_settles_nothing_bounds_nothing():
    found = estimated([treated("s")], [seen("s", 200, extent="cannot_tell")])

    assert found.headline.informative == 0


def test_a_re_operation_on_record_is_the_event_of_its_own_outcome():
    clear, clear_seen = many(20, 400)
    found = estimated([*clear, treated("again", reoperated_day=250.0)], clear_seen, outcome=Outcome.RE_OPERATION)

    share = found.headline.by(HORIZON).share
    assert share.middle == pytest.approx(1 / 21)


def test_clear_at_the_review_that_reports_a_re_operation_is_not_clear():
    found = estimated([treated("s")], [seen("s", 300, retreatment="elsewhere")])

    assert found.headline.informative == 0


def test_without_matricectomy_nothing_is_estimated():
    found = estimated([treated("s", matrix_destroyed=False, technique="pna_only", agent="none")], [])

    assert (found.headline.sides, found.headline.days, found.technique, found.three) == (0, (), (), None)
    assert found.judgement is not None
    assert found.judgement.verdict is Verdict.NOT_SHOWN


def test_few_patients_are_withheld_with_the_reason():
    found = estimated(*many(3, 400))

    assert {day.withheld for day in found.headline.days} != {""}
    assert all(day.low is None for day in found.headline.days)


def test_techniques_are_estimated_apart():
    clear, clear_seen = many(30, 400)
    sodium = [treated(f"na-{place}", agent="sodium_hydroxide") for place in range(30)]
    found = estimated(clear + sodium, clear_seen + [seen(row["side_key"], 200, **SPICULE) for row in sodium])

    shares = {row.code: row.days[1].share.middle for row in found.technique}
    assert shares["pna_chemical/phenol"] == 0
    assert found.technique[1].days[0].share.middle is None or shares["pna_chemical/sodium_hydroxide"] is None
    assert [row.sides for row in found.technique] == [30, 30]


def test_no_event_gets_an_upper_limit_and_the_verdict_follows_it():
    found = estimated(*many(100, 400))

    day = found.headline.by(HORIZON)
    assert (day.share.middle, day.low) == (0, 0)
    assert 0.03 < day.high < 0.04
    assert found.judgement.verdict is Verdict.MET


def test_the_unseen_can_turn_the_verdict():
    seen_sides, findings = many(100, 400)
    lost = [treated(f"lost-{place}") for place in range(30)]

    found = estimated(seen_sides + lost, findings)

    assert found.loss.lost == 30
    assert found.tipping.changes
    assert found.judgement.depends


def test_the_same_records_in_another_order_give_the_same_numbers():
    clear, clear_seen = many(60, 400)
    grown, grown_seen = many(6, 200, **SPICULE)
    one = estimated(clear + grown, clear_seen + grown_seen)
    other = estimated([*reversed(clear + grown)], [*reversed(clear_seen + grown_seen)])

    assert one.headline.days == other.headline.days
    assert one.seed == other.seed


def test_a_clear_finding_after_regrowth_is_to_be_checked():
    found = estimated([treated("s")], [seen("s", 100, **SPICULE), seen("s", 200)])

    assert found.to_check == ("s",)
