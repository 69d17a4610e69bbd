"""What the page between two audits shows, as plain values and charts. A signal means: look at it, never: failed."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from audit.charts.plots import Dot, Level, LineChart, Scale, Series, Upright
from audit.measures.columns import Cohort
from audit.measures.monitoring import (
    LABELS,
    Month,
    OperationDay,
    Watched,
    WatchedUnits,
    completeness_by_month,
    exposures,
    watched_units,
)
from audit.report.plain import rounded
from audit.report.yearly import EXPOSURE_AGENT, EXPOSURE_TECHNIQUE
from audit.stats.cusum import DOUBLED, Monitoring, monitoring
from audit.stats.rare_events import FEWEST_EVENTS, GChart, RunChart, g_chart, run_chart
from audit.stats.run_length import choose_limit

Plain = dict[str, Any]
CHANCES = (0.01, 0.05, 0.10, 0.20)
FEWEST_TO_COME = 20


@dataclass(frozen=True)
class Watch:
    """The question. accepted: the rate of one unit that is expected, between 0 and 1. chance: of a false alarm within
    one year's number of operation days. shortest, longest: seconds between which the practice asks for no note."""

    watched: Watched
    accepted: float
    chance: float
    shortest: int
    longest: int


def watching_piece(cohort: Cohort, watch: Watch) -> Plain:
    """Everything that is watched, by the cut-off of the cohort."""
    found = watched_units(cohort, watch.watched)
    months = completeness_by_month(cohort)
    return {
        "watched": watch.watched.value,
        "label": LABELS[watch.watched],
        "accepted": rounded(watch.accepted),
        "chance": watch.chance,
        "as_of": cohort.as_of.isoformat(),
        "since": cohort.performed_from.isoformat(),
        "cusum": _cusum(found, watch, cohort.as_of),
        "gaps": _gaps(found, cohort.as_of),
        "completeness": _completeness(months),
        "exposure": _exposure(cohort, watch.shortest, watch.longest),
    }


def _cusum(found: WatchedUnits, watch: Watch, as_of: date) -> Plain:
    days = found.patient_days(watch.accepted)
    expected = [day.expected for day in days]
    if not days:
        return {"withheld": "no operation in this time", "signals": []}
    year = sum(1 for day in found.days if (as_of - day.performed_on).days <= 365)
    coming = max(year, FEWEST_TO_COME)
    limit = choose_limit(expected, coming, watch.chance)
    chart = monitoring(days, as_of.toordinal(), limit.limit, DOUBLED, found.matures)
    settled = _settled(found, as_of)
    return {
        "withheld": chart.withheld,
        "limit": limit.limit,
        "odds_ratio": limit.odds_ratio,
        "in_control": round(limit.in_control),
        "shifted": round(limit.shifted),
        "false_alarm": rounded(limit.false_alarm),
        "coming": coming,
        "exact": limit.exact,
        "correlation": rounded(found.correlation),
        "known": [rounded(value) for value in chart.known.values],
        "unknown_as_clear": [rounded(value) for value in chart.unknown_as_clear.values],
        "vlad": [rounded(value) for value in chart.vlad],
        "days": [day.performed_on.isoformat() for day in settled],
        "events": [bool(day.event) for day in settled],
        "toes": [day.toe_key for day in settled],
        "unknown": chart.unknown,
        "immature": chart.immature,
        "signals": _signals(chart, settled),
    }


def _settled(found: WatchedUnits, as_of: date) -> list[OperationDay]:
    return [
        day for day in found.days if day.event is not None and (as_of - day.performed_on).days >= found.matures
    ]  # fmt: skip


def _signals(chart: Monitoring, settled: list[OperationDay]) -> list[Plain]:
    """Where the sum reached its limit; the toes of the events since it last was 0."""
    found = []
    for place in chart.known.signals:
        first = place
        while first > 0 and chart.known.values[first - 1] > 0 and first - 1 not in chart.known.signals:
            first -= 1
        toes = [settled[each].toe_key for each in range(first, place + 1) if settled[each].event]
        found.append({"place": place, "on": settled[place].performed_on.isoformat(), "toes": toes})
    return found


def _gaps(found: WatchedUnits, as_of: date) -> Plain:
    settled = _settled(found, as_of)
    if not settled:
        return {"withheld": "no operation day is mature with a known outcome yet", "gaps": [], "signals": []}
    chart = g_chart([bool(day.event) for day in settled])
    hits = [day for day in settled if day.event]
    return {
        "withheld": chart.withheld,
        "gaps": list(chart.gaps),
        "open_gap": chart.open_gap,
        "days": [day.performed_on.isoformat() for day in hits],
        "toes": [day.toe_key for day in hits],
        "units": chart.units,
        "unknown": sum(1 for day in found.days if day.event is None and _mature(day, found, as_of)),
        "centre": chart.limits.centre if chart.limits else None,
        "alarm_high": chart.limits.alarm_high if chart.limits else None,
        "alarm_low": chart.limits.alarm_low if chart.limits else None,
        "outside": list(chart.outside),
        "signals": _gap_signals(chart),
    }


def _mature(day: OperationDay, found: WatchedUnits, as_of: date) -> bool:
    return (as_of - day.performed_on).days >= found.matures


def _gap_signals(chart: GChart) -> list[str]:
    said = [
        f"gap {place + 1 if place < len(chart.gaps) else 'still open'} lies outside the 99.8 % limits"
        for place in chart.outside
    ]
    return [*said, *chart.run.signals]


def _completeness(months: tuple[Month, ...]) -> Plain:
    chart: RunChart = run_chart([month.share for month in months])
    return {
        "months": [
            {"first": month.first.isoformat(), "known": month.known, "eligible": month.eligible,
             "share": rounded(month.share)} for month in months
        ],
        "centre": rounded(chart.centre),
        "longest_allowed": chart.longest_allowed,
        "fewest_crossings": chart.fewest_crossings,
        "withheld": chart.withheld,
        "signals": list(chart.signals),
    }  # fmt: skip


def _exposure(cohort: Cohort, shortest: int, longest: int) -> Plain:
    rows = exposures(cohort, technique=EXPOSURE_TECHNIQUE.value, agent=EXPOSURE_AGENT.value)
    return {
        "population": "Partial nail avulsion, phenol",
        "shortest": shortest,
        "longest": longest,
        "rows": [{"on": row.performed_on.isoformat(), "seconds": row.seconds, "toe": row.toe_key} for row in rows],
        "beyond": [row.toe_key for row in rows if not shortest <= row.seconds <= longest],
    }


# --- charts


def watching_charts(piece: Plain, changes: list[tuple[date, str]]) -> tuple[LineChart, ...]:
    """changes: dated notes of what was changed in the practice, drawn as uprights."""
    return _cusum_chart(piece, changes), _gap_chart(piece, changes), _month_chart(piece, changes), _dots(piece, changes)


def _cusum_chart(piece: Plain, changes: list[tuple[date, str]]) -> LineChart:
    found, label = piece["cusum"], piece["label"]
    days = found.get("days", [])
    signalled = {signal["place"] for signal in found["signals"]}
    dots = tuple(
        Dot(place + 1, value, _said(day), "event" if event else "", flagged=place in signalled)
        for place, (value, day, event) in enumerate(
            zip(found.get("known", []), days, found.get("events", []), strict=True)
        )
    )
    limit = found.get("limit")
    levels = (Level(f"look at it, from {limit:g} on", limit),) if limit and dots else ()
    return LineChart(
        "cusum", f"{label}: running sum of evidence for doubled odds", (Series("known outcomes", dots),),
        "operation days with a known outcome, in order", "Sum; back to 0 after a signal", levels,
        uprights=_uprights([date.fromisoformat(day) for day in days], changes), empty=found.get("withheld", ""),
        notes=("An event raises the sum, a clear outcome lowers it; it never falls below 0.",),
    )  # fmt: skip


def _gap_chart(piece: Plain, changes: list[tuple[date, str]]) -> LineChart:
    found, label = piece["gaps"], piece["label"]
    outside = set(found.get("outside", []))
    dots = tuple(
        Dot(place + 1, gap, f"before {_said(day)}", flagged=place in outside)
        for place, (gap, day) in enumerate(zip(found["gaps"], found.get("days", []), strict=True))
    )
    levels = [Level(f"median {found['centre']}", found["centre"], firm=True)] if found.get("centre") is not None else []
    for name, words in (("alarm_high", "99.8 % limit"), ("alarm_low", "99.8 % limit")):
        if found.get(name) is not None:
            levels.append(Level(f"{words} {found[name]}", found[name]))
    days = [date.fromisoformat(day) for day in found.get("days", [])]
    return LineChart(
        "between", f"{label}: operation days between events", (Series("gap", dots),), "events, in order of operation",
        "Operation days without the event before each one; higher is better", tuple(levels),
        uprights=_uprights(days, changes), scale=Scale.LOG, empty="no event in this time",
        notes=(f"Limits are drawn from {FEWEST_EVENTS} events on.",),
    )  # fmt: skip


def _month_chart(piece: Plain, changes: list[tuple[date, str]]) -> LineChart:
    found = piece["completeness"]
    firsts = [date.fromisoformat(month["first"]) for month in found["months"]]
    dots = tuple(
        Dot(place + 1, month["share"], f"{first:%b %Y}", f"{month['known']} of {month['eligible']}")
        for place, (month, first) in enumerate(zip(found["months"], firsts, strict=True))
    )
    centre = found["centre"]
    levels = (Level(f"median {centre * 100:.0f} %", centre, firm=True),) if centre is not None and dots else ()
    return LineChart(
        "completeness", "Outcome known at 12 months, by month of operation", (Series("known", dots),),
        "month of operation", "Share of the eligible sides whose outcome is known", levels,
        uprights=_uprights(firsts, changes), scale=Scale.SHARE, empty="no outcome is due yet",
        notes=("A run longer or crossings fewer than chance gives are signals; there is no rule about trends.",),
    )  # fmt: skip


def _dots(piece: Plain, changes: list[tuple[date, str]]) -> LineChart:
    found = piece["exposure"]
    days = [date.fromisoformat(row["on"]) for row in found["rows"]]
    dots = tuple(
        Dot(
            day.toordinal(),
            row["seconds"],
            _said(row["on"]),
            flagged=not found["shortest"] <= row["seconds"] <= found["longest"],
        )
        for day, row in zip(days, found["rows"], strict=True)
    )
    uprights = tuple(Upright(day.toordinal(), f"{words}, {_said(day.isoformat())}") for day, words in changes)
    return LineChart(
        "exposure-times", f"Exposure times. {found['population']}", (Series("seconds", dots, joined=False),),
        "day of operation", "Total seconds at each side", band=(found["shortest"], found["longest"]),
        band_label="Range of the practice", uprights=uprights if dots else (),
        empty="no recorded exposure in this time",
        notes=("Outside the range the practice asks for a note; the range is a local setting.",),
    )  # fmt: skip


def _uprights(days: list[date], changes: list[tuple[date, str]]) -> tuple[Upright, ...]:
    """Between the last value before the change and the first after it."""
    if not days:
        return ()
    return tuple(
        Upright(sum(1 for each in days if each < day) + 0.5, f"{words}, {_said(day.isoformat())}")
        for day, words in changes
        if min(days) <= day <= max(days)
    )


def _said(day: str) -> str:
    found = date.fromisoformat(day)
    return f"{found.day} {found:%b %Y}"
