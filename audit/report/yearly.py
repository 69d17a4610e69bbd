"""The yearly figures as one value: headline, tables, follow-up, infection, definitions and notes. Knows no Django."""

from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

from audit.measures.columns import Cohort, check
from audit.measures.definitions import DEFINITIONS, DefinitionSet, Outcome, Unit
from audit.measures.follow_up import FollowUp, follow_up
from audit.measures.groupings import by_toe, by_year
from audit.measures.infection import Infection, infection
from audit.measures.outcomes import unit_frame
from audit.measures.over_time import OverTime
from audit.measures.over_time import over_time as estimate_over_time
from audit.measures.strata import (
    Count,
    by_curettage,
    by_exposure,
    by_lavage,
    by_operator,
    by_side,
    by_technique,
    count,
    headline_units,
    technique_label,
    without_matricectomy,
)
from audit.report import plain
from audit.report.plain_over_time import over_time as over_time_as_plain
from audit.report.sentences import headline_sentence
from clinic.vocabulary.procedure import Agent, Technique

EXPLORATORY = "Exploratory: about 1 in 20 intervals misses by chance."
ASSOCIATION = (
    "The operator chooses technique, side and exposure for each patient, so a difference between groups is an "
    "association, not a cause."
)
CLUSTERED = "Intervals are clustered on the patient where a patient contributes more than one unit."
OPERATORS = "All matricectomies; letters without rank, for the practice lead only"
EXPOSURE_TECHNIQUE, EXPOSURE_AGENT = Technique.PNA_CHEMICAL, Agent.PHENOL


@dataclass(frozen=True)
class Table:
    """Counts of one question, a row per group. population: who is counted, in words."""

    code: str
    title: str
    population: str
    rows: tuple[Count, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Yearly:
    """Every figure of one cohort for one outcome and unit.

    standard: the practice's own, a proportion, 0 to 1, or None. headline: matricectomy only.
    no_matricectomy: the others, or "not applicable" with the reason. follow_up: of the units that
    follow_up_population says in words. units: one row each, as `outcomes.unit_frame` gives them.
    """

    practice_code: str
    performed_from: date
    performed_to: date
    as_of: date
    outcome: Outcome
    unit: Unit
    standard: float | None
    headline: Count
    headline_sentence: str
    no_matricectomy: Count
    technique: Table
    exposure: Table
    side: Table
    curettage: Table
    lavage: Table
    operator: Table
    toe: Table
    year: Table
    follow_up: FollowUp
    follow_up_population: str
    infection: Infection
    definitions: DefinitionSet
    notes: tuple[str, ...]
    cohort: Cohort = field(repr=False, compare=False)
    units: Any = field(repr=False, compare=False)

    @cached_property
    def over_time(self) -> OverTime:
        """The estimated risk; worked out when first asked for, since most files and records do without."""
        return estimate_over_time(self.cohort, self.outcome, self.headline, self.standard)

    @property
    def tables(self) -> tuple[Table, ...]:
        return self.technique, self.exposure, self.side, self.curettage, self.lavage, self.operator, self.toe, self.year


def build(
    cohort: Cohort, *, unit: Unit | str, outcome: Outcome | str, standard: float | None, years: Cohort | None = None,
    starts_month: int = 4,
) -> Yearly:  # fmt: skip
    """Counts everything that the yearly page and the audit command show.

    cohort: frames as declared in `columns`, checked first. unit, outcome: codes of Unit and Outcome.
    standard: a proportion, 0 to 1, or None where the practice has set none. years: the cohort with earlier audit years
    before it, for the table by year; the same cohort if left out. starts_month: in which the audit years begin.
    Refuses with ValueError an unknown code, a standard out of range and a frame that cannot be counted.
    """
    unit, outcome = Unit(unit), Outcome(outcome)
    if standard is not None and not 0 <= standard <= 1:
        raise ValueError(f"standard must be from 0 to 1, not {standard}")
    check(cohort)
    units = unit_frame(cohort, outcome, unit)
    followed = _followed(units, outcome)
    headline = count(headline_units(units), code="headline", label="All matricectomies")
    return Yearly(
        practice_code=cohort.practice_code,
        performed_from=cohort.performed_from,
        performed_to=cohort.performed_to,
        as_of=cohort.as_of,
        outcome=outcome,
        unit=unit,
        standard=standard,
        headline=headline,
        headline_sentence=headline_sentence(headline, outcome, unit, standard),
        no_matricectomy=without_matricectomy(units, outcome),
        technique=_table("technique", f"{outcome.label} by technique", "All techniques", by_technique(units, outcome)),
        exposure=_exposure(units, cohort.bands, outcome),
        side=_table("side", f"{outcome.label} by side", "All matricectomies", by_side(units)),
        curettage=_table("curettage", f"{outcome.label} by curettage", "All matricectomies", by_curettage(units)),
        lavage=_table("lavage", f"{outcome.label} by lavage", "Matricectomies with an agent", by_lavage(units)),
        operator=_table("operator", f"{outcome.label} by operator", OPERATORS, by_operator(units)),
        toe=_table("toe", f"{outcome.label} by toe", "All matricectomies", by_toe(cohort, units)),
        year=_table(
            "year",
            f"{outcome.label} by audit year",
            "All matricectomies, earlier years with what is known now",
            by_year(years or cohort, outcome, unit, starts_month, units if years is None else None),
        ),
        follow_up=follow_up(followed),
        follow_up_population="All operations" if len(followed) > len(headline_units(units)) else "All matricectomies",
        infection=infection(cohort),
        definitions=DEFINITIONS,
        notes=(CLUSTERED, EXPLORATORY, ASSOCIATION),
        cohort=cohort,
        units=units,
    )


def to_json(yearly: Yearly, *, records: bool = False) -> dict[str, Any]:
    """The same figures as plain values in a fixed order: codes, whole numbers, rates to 6 decimals.

    Dates as ISO text, None where there is no rate. records: with the keys of the records behind each number.
    """
    found = {
        "definitions_version": yearly.definitions.version,
        "practice": yearly.practice_code,
        "performed_from": yearly.performed_from.isoformat(),
        "performed_to": yearly.performed_to.isoformat(),
        "as_of": yearly.as_of.isoformat(),
        "outcome": yearly.outcome.value,
        "unit": yearly.unit.value,
        "standard": plain.rounded(yearly.standard),
        "headline": {**plain.count(yearly.headline), "sentence": yearly.headline_sentence},
        "no_matricectomy": plain.count(yearly.no_matricectomy),
        **{table.code: [plain.count(row) for row in table.rows] for table in yearly.tables},
        "follow_up": {"population": yearly.follow_up_population, **plain.follow_up(yearly.follow_up)},
        "infection": plain.infection(yearly.infection),
        "estimated": over_time_as_plain(yearly.over_time),
        "titles": {table.code: {"title": table.title, "population": table.population} for table in yearly.tables},
        "notes": list(yearly.notes),
    }
    return found if records else plain.without_records(found)


def _exposure(units: Any, bands: tuple[int, ...], outcome: Outcome) -> Table:
    rows = by_exposure(units, bands, agent=EXPOSURE_AGENT, technique=EXPOSURE_TECHNIQUE)
    population = technique_label(EXPOSURE_TECHNIQUE, EXPOSURE_AGENT)
    return _table("exposure", f"{outcome.label} by exposure time", population, rows)


def _table(code: str, title: str, population: str, rows: tuple[Count, ...]) -> Table:
    return Table(code, title, population, rows, (EXPLORATORY, ASSOCIATION))


def _followed(units: Any, outcome: Outcome) -> Any:
    """A patient with both kinds of operation stands in two rows; follow-up then counts what the headline counts."""
    repeated = bool(units["unit_key"].duplicated().any())
    return headline_units(units) if repeated or outcome is Outcome.ANY_REGROWTH else units
