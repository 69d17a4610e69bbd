"""The charts of the yearly report, declared once. Draws nothing; knows no Django."""

from audit.charts.spec import Chart, IntervalRow, Kind
from audit.measures.definitions import DEFINITIONS, Definition, Shown
from audit.measures.infection import FlagCount
from audit.measures.strata import Count
from audit.report.yearly import CLUSTERED, Table, Yearly

FIVE_RULES = "Five rules and one variant side by side; not to be compared with hospital infection tables."


def all_figures(yearly: Yearly) -> tuple[Chart, ...]:
    """Every chart of the report in the order of print."""
    return (by_technique(yearly), by_exposure(yearly), by_side(yearly), infection(yearly))


def by_technique(yearly: Yearly) -> Chart:
    """The chosen outcome by technique and agent."""
    return _chart(yearly, yearly.technique)


def by_exposure(yearly: Yearly) -> Chart:
    """The chosen outcome by band of exposure, for one technique and agent named in the title."""
    return _chart(yearly, yearly.exposure, _definition("bands"))


def by_side(yearly: Yearly) -> Chart:
    """The chosen outcome by treated side."""
    return _chart(yearly, yearly.side)


def infection(yearly: Yearly) -> Chart:
    """Infection by each rule, per toe. No standard is drawn: it belongs to another outcome."""
    found = yearly.infection
    apart = f"{found.without_contact} without a contact on day 1 to 30 and {found.pending} pending are not counted."
    return Chart(
        slug="infection",
        title="Infection within 30 days, by rule",
        kind=Kind.INTERVALS,
        rows=tuple(_flag_row(flag) for flag in found.flags),
        axis=f"Nail procedures, % of {found.contacted} with a contact on day 1 to 30 (95 % interval)",
        standard=None,
        notes=(apart, FIVE_RULES, CLUSTERED),
    )


def _chart(yearly: Yearly, table: Table, *definitions: Definition) -> Chart:
    said = [_definition(yearly.outcome.value), _definition("window"), *definitions]
    return Chart(
        slug=f"{yearly.outcome.value.replace('_', '-')}-by-{table.code}",
        title=f"{table.title}. {table.population}",
        kind=Kind.INTERVALS,
        rows=tuple(_row(found) for found in table.rows),
        axis=f"{yearly.outcome.label} at 12 months, % of {yearly.unit.plural} with a known outcome (95 % interval)",
        standard=yearly.standard,
        notes=(*table.notes, CLUSTERED, *(one.sentence for one in said)),
    )


def _row(found: Count) -> IntervalRow:
    interval = found.interval
    return IntervalRow(
        label=found.label,
        events=found.events,
        total=found.ascertained,
        rate=interval.rate if interval else None,
        low=interval.low if interval else None,
        high=interval.high if interval else None,
        hollow=found.shown is Shown.HOLLOW,
        note=found.note,
    )


def _flag_row(found: FlagCount) -> IntervalRow:
    interval = found.interval
    return IntervalRow(
        label=found.flag.label,
        events=found.events,
        total=found.total,
        rate=interval.rate if interval else None,
        low=interval.low if interval else None,
        high=interval.high if interval else None,
        hollow=found.shown is Shown.HOLLOW,
        note="too few to judge" if found.shown is Shown.HOLLOW else "",
    )


def _definition(code: str) -> Definition:
    return next(one for one in DEFINITIONS.items if one.code == code)
