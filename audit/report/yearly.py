"""The yearly figures as one value: headline, tables, follow-up, infection, definitions and notes. Knows no Django."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

from audit.charts.words import percent, standard_text
from audit.measures.columns import Cohort, check
from audit.measures.definitions import DEFINITIONS, DefinitionSet, Outcome, Shown, Unit
from audit.measures.follow_up import FollowUp, Part, follow_up
from audit.measures.infection import FlagCount, Infection, infection
from audit.measures.outcomes import unit_frame
from audit.measures.over_time import OverTime, Risk
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
from audit.stats.proportion import Method, Proportion
from clinic.vocabulary.procedure import Agent, Technique

DECIMALS = 6
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
    follow_up_population says in words.
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
    follow_up: FollowUp
    follow_up_population: str
    infection: Infection
    definitions: DefinitionSet
    notes: tuple[str, ...]
    cohort: Cohort = field(repr=False, compare=False)

    @cached_property
    def over_time(self) -> OverTime:
        """The estimated risk; worked out when first asked for, since most files and records do without."""
        return estimate_over_time(self.cohort, self.outcome, self.headline, self.standard)

    @property
    def tables(self) -> tuple[Table, ...]:
        return self.technique, self.exposure, self.side, self.curettage, self.lavage, self.operator


def build(cohort: Cohort, *, unit: Unit | str, outcome: Outcome | str, standard: float | None) -> Yearly:
    """Counts everything that the yearly page and the audit command show.

    cohort: frames as declared in `columns`, checked first. unit, outcome: codes of Unit and Outcome.
    standard: a proportion, 0 to 1, or None where the practice has set none.
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
        follow_up=follow_up(followed),
        follow_up_population="All operations" if len(followed) > len(headline_units(units)) else "All matricectomies",
        infection=infection(cohort),
        definitions=DEFINITIONS,
        notes=(CLUSTERED, EXPLORATORY, ASSOCIATION),
        cohort=cohort,
    )


def headline_sentence(found: Count, outcome: Outcome, unit: Unit, standard: float | None) -> str:
    """The headline in one or more sentences, by rule; it says what was counted and judges nobody.

    found: the headline count. standard: a proportion, 0 to 1, or None.
    Four forms: nothing known; too few for a rate; no event; a rate with interval. Where a rate is given, the interval
    lies at or below the standard, above it, or includes it.
    """
    parts = [_counted(found, outcome, unit)]
    if found.interval is not None:
        parts.append(_against(found.interval, standard))
    if found.shown is Shown.HOLLOW:
        parts.append(f"With fewer than 20 {unit.plural} this is too few to judge.")
    parts.append(_rest(found))
    return " ".join(part for part in parts if part)


def to_json(yearly: Yearly) -> dict[str, Any]:
    """The same figures as plain values in a fixed order, for a file: codes, whole numbers, rates to 6 decimals.

    Dates as ISO text, None where there is no rate. Unit keys stay out: they lead to records.
    """
    return {
        "definitions_version": yearly.definitions.version,
        "practice": yearly.practice_code,
        "performed_from": yearly.performed_from.isoformat(),
        "performed_to": yearly.performed_to.isoformat(),
        "as_of": yearly.as_of.isoformat(),
        "outcome": yearly.outcome.value,
        "unit": yearly.unit.value,
        "standard": _rounded(yearly.standard),
        "headline": {**_count(yearly.headline), "sentence": yearly.headline_sentence},
        "no_matricectomy": _count(yearly.no_matricectomy),
        **{table.code: [_count(row) for row in table.rows] for table in yearly.tables},
        "follow_up": {"population": yearly.follow_up_population, **_follow_up(yearly.follow_up)},
        "infection": _infection(yearly.infection),
        "estimated": _over_time(yearly.over_time),
        "notes": list(yearly.notes),
    }


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


def _counted(found: Count, outcome: Outcome, unit: Unit) -> str:
    what = f"{outcome.label} at 12 months"
    if found.shown is Shown.EMPTY:
        return f"{what}, per {unit.label.lower()}: {found.note}."
    of = f"{found.events} of {found.ascertained} {_plural(unit, found.ascertained)}{_patients(found, unit)}"
    if found.interval is None:
        return f"{what}: {of}; too few for a rate, so the events are listed."
    if found.events == 0:
        return f"{what}: none seen, {of}{_upper(found.interval)}."
    return f"{what}: {of}, {percent(_known(found.interval.rate))} ({_limits(found.interval)})."


def _upper(interval: Proportion) -> str:
    """For no event the size of what may have been missed is the news."""
    one_sided = "" if interval.one_sided is None else f"; one-sided exact upper limit {percent(interval.one_sided)}"
    return f" ({_limits(interval)}{one_sided})"


def _limits(interval: Proportion) -> str:
    how = ", patients as units" if interval.method is Method.PATIENTS else ""
    return f"95 % interval {percent(_known(interval.low))} to {percent(_known(interval.high))}{how}"


def _against(interval: Proportion, standard: float | None) -> str:
    if standard is None:
        return "No standard is set."
    said = f"the standard of at most {standard_text(standard)}"
    if _known(interval.high) <= standard:
        return f"The whole interval lies at or below {said}."
    if _known(interval.low) > standard:
        return f"The whole interval lies above {said}."
    return f"The interval includes {said}, so these numbers cannot tell on which side of it the rate lies."


def _rest(found: Count) -> str:
    """What is not in the rate, always in the same words."""
    if found.shown is Shown.NOT_APPLICABLE:
        return found.note
    apart = [f"{found.lost} lost", f"{found.pending} pending"]
    apart += [f"{found.censored} counted apart"] if found.censored else []
    late = f" Seen first after the window: {found.late_events}." if found.late_events else ""
    return f"{found.ascertained} known of {found.eligible} eligible; {', '.join(apart)}.{late}"


def _plural(unit: Unit, number: int) -> str:
    return unit.label.lower() if number == 1 else unit.plural


def _patients(found: Count, unit: Unit) -> str:
    if unit is Unit.PATIENT:
        return ""
    return f" in {found.patients_ascertained} {_plural(Unit.PATIENT, found.patients_ascertained)}"


def _known(value: float | None) -> float:
    if value is None:
        raise ValueError("an interval that may not be shown has no limits")
    return value


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(float(value), DECIMALS)


def _proportion(found: Proportion | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "events": found.events,
        "total": found.total,
        "rate": _rounded(found.rate),
        "low": _rounded(found.low),
        "high": _rounded(found.high),
        "method": found.method.value,
        "clusters": found.clusters,
        "design_effect": _rounded(found.design_effect),
        "effective_total": _rounded(found.effective_total),
        "one_sided": _rounded(found.one_sided),
        "withheld": found.withheld,
    }


_NUMBERS = (
    "events", "ascertained", "eligible", "pending", "lost", "censored_death", "censored_reoperation",
    "censored_amputation", "patients", "patients_ascertained", "late_events",
)  # fmt: skip


def _count(found: Count) -> dict[str, Any]:
    numbers: Mapping[str, int] = {name: getattr(found, name) for name in _NUMBERS}
    return {
        "code": found.code,
        "label": found.label,
        **numbers,
        "interval": _proportion(found.interval),
        "best": _proportion(found.best),
        "worst": _proportion(found.worst),
        "shown": found.shown.value,
        "note": found.note,
    }


def _part(part: Part) -> dict[str, Any]:
    return {"code": part.code, "label": part.label, "units": part.units}


def _follow_up(found: FollowUp) -> dict[str, Any]:
    return {
        "ascertained": found.ascertained,
        "eligible": found.eligible,
        "lost": found.lost,
        "pending": found.pending,
        "completeness": _proportion(found.completeness),
        "by_source": [_part(part) for part in found.by_source],
        "by_reason": [_part(part) for part in found.by_reason],
        "examined": _count(found.examined),
        "reported": found.reported,
        "sentences": list(found.sentences),
    }


def _flag(found: FlagCount) -> dict[str, Any]:
    return {
        "code": found.flag.value,
        "label": found.flag.label,
        "events": found.events,
        "total": found.total,
        "patients": found.patients,
        "present_before": found.present_before,
        "absent_before": found.absent_before,
        "unknown_before": found.unknown_before,
        "interval": _proportion(found.interval),
        "shown": found.shown.value,
    }


_INFECTION_NUMBERS = (
    "toes", "contacted", "without_contact", "pending", "patients", "present_before", "absent_before", "unknown_before",
)  # fmt: skip


def _infection(found: Infection) -> dict[str, Any]:
    numbers: Mapping[str, int] = {name: getattr(found, name) for name in _INFECTION_NUMBERS}
    return {**numbers, "flags": [_flag(flag) for flag in found.flags]}


def _over_time(found: OverTime) -> dict[str, Any]:
    return {
        "unit": Unit.SIDE.value,
        "all": _risk(found.headline),
        "technique": [_risk(row) for row in found.technique],
        "reviews": _three(found),
        "unseen": _unseen(found),
        "verdict": _verdict(found),
        "replicates": found.replicates,
        "seed": str(found.seed),
    }


def _risk(found: Risk) -> dict[str, Any]:
    return {
        "code": found.code,
        "label": found.label,
        "sides": found.sides,
        "informative": found.informative,
        "patients": found.patients,
        "days": [
            {
                "day": int(each.share.day),
                "risk": _rounded(each.share.middle),
                "lower_bound": _rounded(each.share.lower),
                "upper_bound": _rounded(each.share.upper),
                "low": _rounded(each.low),
                "high": _rounded(each.high),
                "method": each.method.value,
                "patients_observed": each.patients,
                "withheld": each.withheld,
                "caution": each.caution,
            }
            for each in found.days
        ],
    }


def _three(found: OverTime) -> dict[str, Any] | None:
    if found.three is None:
        return None
    three = found.three
    return {
        "all_reviews": _rounded(three.all_reviews.middle),
        "planned_only": _rounded(three.planned_only.middle),
        "silent_clear": _rounded(three.silent_clear.middle),
        "warning": three.warning,
    }


def _unseen(found: OverTime) -> dict[str, Any] | None:
    if found.tipping is None:
        return None
    tipping = found.tipping
    return {
        "lost": tipping.lost,
        "rate_above": tipping.rate_above,
        "lower_above": tipping.lower_above,
        "upper_within": tipping.upper_within,
        "withheld": tipping.withheld,
        "sentence": unseen_sentence(found),
    }


def _verdict(found: OverTime) -> dict[str, Any] | None:
    if found.judgement is None:
        return None
    judgement = found.judgement
    return {
        "verdict": judgement.words,
        "standard": _rounded(judgement.standard),
        "low": _rounded(judgement.low),
        "high": _rounded(judgement.high),
        "needed": judgement.needed.units,
        "reason": judgement.reason,
        "differing": [other.label for other in judgement.differing],
    }


def unseen_sentence(found: OverTime) -> str:
    """How many of the lost would have to have had the event to change what is said; empty without a standard."""
    tipping = found.tipping
    if tipping is None or tipping.withheld or not tipping.lost:
        return ""
    if tipping.unsupported:
        return f"Whatever happened to the {tipping.lost} lost, counting them would not give the same verdict."
    if not tipping.changes:
        return f"No number of events among the {tipping.lost} lost would change the counted verdict."
    parts = [
        f"{change.events} or {'more' if change.up else 'fewer'} of the {change.lost} lost "
        f"({percent(change.share)}) had had the event: then “{change.after}”"
        for change in tipping.changes
    ]
    return f"The counted verdict, “{tipping.conclusion}”, changes if {'; or if '.join(parts)}."


def verdict_sentence(found: OverTime) -> str:
    """The answer to the primary question, by rule; empty where no standard is set."""
    judgement = found.judgement
    if judgement is None:
        return ""
    said = f"Against the standard of at most {standard_text(judgement.standard)} at 12 months: {judgement.words}"
    why = f" ({judgement.reason})" if judgement.reason else ""
    differing = "; ".join(f"{other.label}: {other.verdict}" for other in judgement.differing)
    depends = f" Other views of the same data say otherwise: {differing}." if differing else ""
    needed = f" About {judgement.needed.units} sides would be needed to show it." if judgement.needed.units else ""
    return f"{said}{why}.{depends}{needed}"
