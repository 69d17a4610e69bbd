"""Steps, lines and funnels: one value, and words, table, file and picture made from it."""

import csv
from io import StringIO

import pytest

from audit.charts.canvas import COLUMNS, THEMES
from audit.charts.draw import image
from audit.charts.draw_plots import log_ticks, nice_ticks
from audit.charts.plots import (
    Dot,
    FunnelChart,
    FunnelDot,
    FunnelLine,
    Level,
    LineChart,
    Scale,
    Series,
    Step,
    StepBand,
    StepChart,
    Upright,
)
from audit.charts.telling import alt_text, csv_text, table

STEPS = StepChart(
    "curve", "Regrowth",
    (
        StepBand("All", (Step(60, 0, 0.01), Step(180, 0.02, 0.05), Step(210, 0.05, 0.05)), (100, 60, 12), 365),
        StepBand("Few", (), (4, 2, 0), None, "too few observed"),
    ),
    (0, 180, 365), "Patients still observed", "days", "share", 0.1, 365,
)  # fmt: skip
LINES = LineChart(
    "gaps", "Days between", (Series("gap", (Dot(1, 12, "1st"), Dot(2, 66, "2nd", "long", flagged=True))),),
    "regrowth", "operation days", (Level("median 10", 10, firm=True),), uprights=(Upright(1.5, "timer"),),
    scale=Scale.LOG,
)  # fmt: skip
FUNNEL = FunnelChart(
    "funnel", "By operator", (FunnelDot("A", 5, 100, 98, 0.05, "within the limits"),),
    tuple(FunnelLine(size, 0, 0.01, 0.12, 0.2) for size in (20, 60, 100)), 0.05, "pooled rate", "sides", "share",
)  # fmt: skip
PLOTS = (STEPS, LINES, FUNNEL)


def rows(chart):
    return list(csv.DictReader(StringIO(csv_text(chart))))


def test_a_range_is_said_as_a_range_and_the_end_of_observation_as_such():
    said = alt_text(STEPS)
    assert "by day 180 2.0 % to 5.0 %, 60 observed" in said
    assert "Few: too few observed" in said
    assert table(STEPS).rows[1] == ("All", "180", "2.0 % to 5.0 %", "60")
    assert table(STEPS).rows[3] == ("Few", "0", "too few observed", "4")


def test_the_file_holds_every_step_and_dot():
    assert [(row["group"], float(row["from_day"]), float(row["upper"])) for row in rows(STEPS)] == [
        ("All", 60, 0.01), ("All", 180, 0.05), ("All", 210, 0.05),
    ]  # fmt: skip
    assert [row["series"] for row in rows(LINES)] == ["gap", "gap", "level", "change"]
    assert float(rows(FUNNEL)[0]["rate"]) == 0.05


def test_a_flagged_dot_is_named():
    assert "look at 2nd" in alt_text(LINES)
    assert table(LINES).rows[1] == ("2nd", "66", "long")


def test_an_empty_chart_says_why():
    empty = LineChart("x", "X", (Series("gap", ()),), "x", "y", empty="nothing yet")
    assert "nothing yet" in alt_text(empty)
    assert b"nothing yet" in image(empty)


@pytest.mark.parametrize("chart", PLOTS, ids=lambda chart: chart.slug)
@pytest.mark.parametrize("width", COLUMNS)
@pytest.mark.parametrize("theme", THEMES)
def test_every_picture_is_the_same_each_time(chart, width, theme):
    assert image(chart, theme=theme, width=width) == image(chart, theme=theme, width=width)


def test_a_formula_in_a_name_is_no_formula():
    chart = LineChart("x", "X", (Series("=1+1", (Dot(1, 1, "@a"),)),), "x", "y")
    assert rows(chart)[0]["series"] == "'=1+1"
    assert rows(chart)[0]["place"] == "'@a"


def test_what_cannot_be_drawn_honestly_is_refused():
    with pytest.raises(ValueError, match="at most 3"):
        LineChart("x", "X", (Series("a", ()),) * 4, "x", "y")
    with pytest.raises(ValueError, match="no number"):
        LineChart("x", "X", (Series("a", (Dot(1, float("nan"), "a"),)),), "x", "y")
    with pytest.raises(ValueError, match="no range"):
        StepChart("x", "X", (StepBand("a", (Step(1, 0.2, 0.1),), (1,), 3),), (0,), "o", "x", "y")
    with pytest.raises(ValueError, match="how many are observed"):
        StepChart("x", "X", (StepBand("a", (), (), 3),), (0,), "o", "x", "y")


@pytest.mark.parametrize("top", [0.003, 0.05, 0.4, 1, 7, 34, 181, 5000])
def test_ticks_reach_the_top_in_few_even_steps(top):
    ticks = nice_ticks(top)
    assert ticks[0] == 0
    assert ticks[-1] >= top - 1e-9
    assert 2 <= len(ticks) <= 8


def test_ticks_of_a_log_axis():
    assert log_ticks(50) == [1, 3, 10, 30, 100]
