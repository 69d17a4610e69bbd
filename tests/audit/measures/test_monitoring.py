"""Operation days in order, completeness by month and exposure times; and what the page says of them."""

from datetime import date, timedelta

import pytest

from audit.charts.telling import alt_text
from audit.measures.monitoring import Watched, completeness_by_month, exposures, watched_units
from audit.report.watching import Watch, watching_charts, watching_piece
from tests.audit.frames import AS_OF, LAST_MATURE, cohort, seen, toe_seen, treated

WATCH = Watch(Watched.ANY_REGROWTH, 0.1, 0.1, 0, 180)


def operated(number, *, event=False, days_earlier=0, looked=True, **values):
    key = f"s{number}"
    day = LAST_MATURE - timedelta(days=days_earlier)
    found = [seen(key, 365, extent="spicule" if event else "none")] if looked else []
    return treated(key, performed_on=day, **values), found


def frames_of(*made):
    return cohort([side for side, _ in made], [row for _, found in made for row in found])


def test_an_operation_day_counts_once_however_many_sides():
    both = [operated(1, patient="p", toe="t"), operated(2, patient="p", toe="t", event=True)]
    (day,) = watched_units(frames_of(*both), Watched.ANY_REGROWTH).days
    assert (day.units, day.event) == (2, True)


def test_a_day_is_clear_only_when_every_side_was_seen():
    both = [operated(1, patient="p", toe="t"), operated(2, patient="p", toe="t", looked=False)]
    (day,) = watched_units(frames_of(*both), Watched.ANY_REGROWTH).days
    assert day.event is None


def test_young_operations_do_not_enter_the_sum():
    young = (treated("young", performed_on=AS_OF - timedelta(days=30)), [seen("young", 20, extent="spicule")])
    found = watching_piece(frames_of(operated(1), young), WATCH)
    assert found["cusum"]["immature"] == 1
    assert len(found["cusum"]["known"]) == 1


def test_a_cluster_of_events_is_a_signal_that_names_its_toes():
    calm = [operated(n, days_earlier=400 - n) for n in range(60)]
    bad = [operated(100 + n, event=True, days_earlier=100 - n) for n in range(8)]
    found = watching_piece(frames_of(*calm, *bad), WATCH)
    signal = found["cusum"]["signals"][0]
    assert signal["toes"]
    assert set(signal["toes"]) <= {f"toe-s{100 + n}" for n in range(8)}
    assert found["cusum"]["false_alarm"] <= 0.1
    chart = watching_charts(found, [(LAST_MATURE - timedelta(days=150), "Timer introduced")])[0]
    assert "look at" in alt_text(chart)
    assert len(chart.uprights) == 1
    assert found["gaps"]["gaps"][1:] == [0] * 7
    assert found["gaps"]["withheld"].startswith("8 events so far")


def test_completeness_is_counted_by_month_of_operation():
    made = [operated(n, days_earlier=n % 60, looked=n % 3 > 0) for n in range(60)]
    months = completeness_by_month(frames_of(*made))
    assert sum(month.eligible for month in months) == 60
    assert sum(month.known for month in months) == 40
    assert [month.first for month in months] == sorted(month.first for month in months)


def test_exposure_beyond_the_range_is_listed():
    made = [operated(1, exposure_seconds=60.0), operated(2, exposure_seconds=240.0), operated(3, agent="tca")]
    frames = frames_of(*made)
    assert len(exposures(frames, technique="pna_chemical", agent="phenol")) == 2
    assert watching_piece(frames, WATCH)["exposure"]["beyond"] == ["toe-s2"]


def test_infection_is_watched_per_toe_from_day_30_on():
    frames = cohort(
        [treated("a"), treated("b")], [],
        [toe_seen("toe-a", 9, fluid_colour="yellow", fluid_consistency="thick"), toe_seen("toe-b", 9)],
    )  # fmt: skip
    found = watched_units(frames, Watched.INFECTION)
    assert (found.matures, [day.event for day in found.days]) == (30, [True, False])


@pytest.mark.parametrize("watched", list(Watched))
def test_nothing_on_record_is_said_as_such(watched):
    found = watching_piece(cohort([]), Watch(watched, 0.05, 0.1, 0, 180))
    assert found["cusum"]["withheld"]
    assert all(alt_text(chart) for chart in watching_charts(found, [(date(2024, 1, 1), "x")]))
