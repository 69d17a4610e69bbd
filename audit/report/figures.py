"""The charts of the yearly report, made from the plain pieces that are printed. Draws nothing; knows no Django."""

from dataclasses import replace
from typing import Any

from audit.charts.plots import (
    Dot,
    FunnelChart,
    FunnelDot,
    FunnelLine,
    LineChart,
    Series,
    Step,
    StepBand,
    StepChart,
)
from audit.charts.spec import Chart, IntervalRow, Kind
from audit.charts.telling import AnyChart
from audit.measures.definitions import DEFINITIONS, Definition, Outcome, Unit
from audit.report.yearly import CLUSTERED
from clinic.schedule import SCHEDULE

FIVE_RULES = "Five rules and one variant side by side; not to be compared with hospital infection tables."
HORIZON_DAY = 365
Plain = dict[str, Any]


def outcome_charts(piece: Plain) -> tuple[AnyChart, ...]:
    """Every chart of one outcome in the order of print."""
    charts: list[AnyChart] = [
        _groups(piece, "technique"),
        _groups(piece, "exposure", "bands"),
        _groups(piece, "side"),
        curve(piece),
        _groups(piece, "year", "year"),
    ]
    if piece["operators"]["lines"]:
        charts.append(operators(piece))
    return tuple(charts)


def common_charts(piece: Plain) -> tuple[AnyChart, ...]:
    """Every chart that all outcomes share."""
    return infection(piece), reviews(piece), pain(piece)


def all_charts(outcome: Plain, common: Plain) -> tuple[AnyChart, ...]:
    return *outcome_charts(outcome), *common_charts(common)


def infection(piece: Plain) -> Chart:
    """Infection by each rule, per toe. No standard is drawn: it belongs to another outcome."""
    found = piece["infection"]
    apart = (
        f"{found['without_contact']} without a contact on day 1 to 30 and {found['pending']} pending are not counted."
    )
    return Chart(
        slug="infection",
        title="Infection within 30 days, by rule",
        kind=Kind.INTERVALS,
        rows=tuple(_row(flag, flag["total"]) for flag in found["flags"]),
        axis=f"Nail procedures, % of {found['contacted']} with a contact on day 1 to 30 (95 % interval)",
        standard=None,
        notes=(apart, FIVE_RULES, CLUSTERED),
    )


def reviews(piece: Plain) -> Chart:
    """How many of the planned looks took place."""
    return Chart(
        slug="reviews-done",
        title="Reviews done within their windows",
        kind=Kind.INTERVALS,
        rows=tuple(_row({**each["done"], "label": each["label"]}, each["done"]["total"]) for each in piece["reviews"]),
        axis="Nail procedures seen, % of those whose window has closed (95 % interval)",
        notes=(CLUSTERED, _definition("review_done").sentence),
    )


def pain(piece: Plain) -> LineChart:
    """Quartiles of the scores at each point of the schedule."""
    days = {point.code: point.target_day for point in SCHEDULE}
    series = []
    for name, label in (("upper", "upper quartile"), ("median", "median"), ("lower", "lower quartile")):
        dots = [
            Dot(days[each["code"]], each[name], each["label"], f"{each['scored']} scored")
            for each in piece["pain"]
            if each[name] is not None
        ]
        series.append(Series(label, tuple(dots)))
    return LineChart(
        "pain", "Pain at each review", tuple(series), "days since the operation", "Pain score, 0 to 10",
        notes=(_definition("pain").sentence,), empty="no score on record",
    )  # fmt: skip


def curve(piece: Plain) -> StepChart:
    """The estimated share over time: all matricectomies, and the two largest groups of technique."""
    found = piece["estimated"]
    rows = [found["all"], *sorted(found["technique"], key=lambda row: -row["sides"])[:2]]
    # A group of one technique alone is the whole; one with too few observed has no band.
    rows = rows[:1] if len(found["technique"]) == 1 else rows
    bands = [_band(row) for row in rows if row["curve"] and (row is rows[0] or row["curve"]["until"])]
    label = Outcome(piece["outcome"]).label
    last = max((band.until or 0 for band in bands), default=0)
    days = rows[0]["curve"]["at"] if rows[0]["curve"] else []
    at = tuple(day for place, day in enumerate(days) if not place or days[place - 1] < last)
    bands = [replace(band, observed=band.observed[: len(at)]) for band in bands]
    return StepChart(
        slug=f"{piece['outcome'].replace('_', '-')}-over-time",
        title=f"{label}, estimated over time",
        bands=tuple(bands),
        at=at,
        observed_label="Patients still under observation",
        x_axis="days since the operation",
        y_axis=f"{label}, estimated share of treated sides with matricectomy",
        standard=piece["standard"],
        standard_day=float(HORIZON_DAY),
        notes=(_definition("curve").sentence, "Between two looks the share is known only to lie in the shaded band."),
    )


def operators(piece: Plain) -> FunnelChart:
    """Operators under letters, in the order of the letters and of nothing else."""
    found, label = piece["operators"], Outcome(piece["outcome"]).label
    return FunnelChart(
        slug=f"{piece['outcome'].replace('_', '-')}-by-operator",
        title=f"{label} by operator, without ranking",
        units=tuple(
            FunnelDot(unit["label"], unit["events"], unit["total"], unit["size"], unit["rate"], unit["place"])
            for unit in found["units"]
            if unit["rate"] is not None
        ),
        lines=tuple(
            FunnelLine(line["size"], line["alarm_low"] or 0, line["warning_low"] or 0, line["warning_high"],
                       line["alarm_high"]) for line in found["lines"]
        ),
        target=found["target"],
        target_label=found["source"],
        x_axis=f"{Unit(piece['unit']).plural} with a known outcome, effective number",
        y_axis=f"{label} at 12 months",
        notes=(_definition("operator").sentence,),
    )  # fmt: skip


def _band(row: Plain) -> StepBand:
    found = row["curve"]
    return StepBand(
        row["label"],
        tuple(Step(day, lower, upper) for day, lower, upper in found["steps"]),
        tuple(found["observed_patients"]),
        found["until"],
        found["withheld"],
    )


def _groups(piece: Plain, code: str, *definitions: str) -> Chart:
    outcome, unit = Outcome(piece["outcome"]), Unit(piece["unit"])
    title = piece["titles"][code]
    said = [_definition(outcome.value), _definition("window"), *(_definition(name) for name in definitions)]
    return Chart(
        slug=f"{outcome.value.replace('_', '-')}-by-{code}",
        title=f"{title['title']}. {title['population']}",
        kind=Kind.INTERVALS,
        rows=tuple(_row(row, row["ascertained"]) for row in piece[code]),
        axis=f"{outcome.label} at 12 months, % of {unit.plural} with a known outcome (95 % interval)",
        standard=piece["standard"],
        notes=(*piece["notes"][1:], CLUSTERED, *(one.sentence for one in said)),
    )


def _row(found: Plain, total: int) -> IntervalRow:
    interval = found["interval"] or {}
    hollow = found["shown"] == "hollow"
    return IntervalRow(
        label=found["label"],
        events=found["events"],
        total=total,
        rate=interval.get("rate"),
        low=interval.get("low"),
        high=interval.get("high"),
        hollow=hollow,
        note=found.get("note", "too few to judge" if hollow else ""),
    )


def _definition(code: str) -> Definition:
    return next(one for one in DEFINITIONS.items if one.code == code)
