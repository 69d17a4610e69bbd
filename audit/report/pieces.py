"""The two pieces a report is made of: one for each outcome and unit, and one that all outcomes share."""

from typing import Any

from audit.measures.afterwards import incidents, satisfaction
from audit.measures.columns import Cohort
from audit.measures.definitions import Outcome, Unit
from audit.measures.exposure_trend import ExposureTrend, exposure_trend
from audit.measures.flow import flow
from audit.measures.healing import healing
from audit.measures.infection import infection
from audit.measures.lost_and_seen import lost_and_seen
from audit.measures.material import Material
from audit.measures.outcomes import SEVERAL, unit_frame
from audit.measures.pain import pain
from audit.measures.process import process
from audit.measures.quality import quality
from audit.measures.strata import Count, technique_label
from audit.measures.visits import reviews_done, unplanned
from audit.report import plain, plain_common, yearly
from audit.report.yearly import EXPOSURE_AGENT, EXPOSURE_TECHNIQUE
from audit.stats.funnel import Funnel, funnel
from audit.stats.funnel import Unit as FunnelUnit
from audit.stats.funnel_limits import funnel_limits

Plain = dict[str, Any]
# Sizes at which the limits of a funnel are worked out for drawing.
LIMIT_POINTS = 24


def outcome_piece(
    cohort: Cohort,
    years: Cohort,
    *,
    outcome: Outcome | str,
    unit: Unit | str,
    standard: float | None,
    starts_month: int,
) -> Plain:
    """Everything about one outcome counted in one unit.

    cohort: the period. years: the period and the audit years before it. standard: a proportion, or None.
    """
    outcome, unit = Outcome(outcome), Unit(unit)
    found = yearly.build(cohort, unit=unit, outcome=outcome, standard=standard, years=years, starts_month=starts_month)
    units = found.units
    sides = units if unit is Unit.SIDE else unit_frame(cohort, outcome, Unit.SIDE)
    dose = exposure_trend(
        cohort, sides, technique=EXPOSURE_TECHNIQUE, agent=EXPOSURE_AGENT,
        label=technique_label(EXPOSURE_TECHNIQUE, EXPOSURE_AGENT),
    )  # fmt: skip
    return {
        **yearly.to_json(found, records=True),
        "flow": plain_common.flow(flow(cohort, units)),
        "lost_and_seen": plain_common.lost_and_seen(lost_and_seen(cohort, units)),
        "operators": _funnel(found.operator.rows),
        "exposure_trend": _dose(dose),
        "bands": list(cohort.bands),
    }


def common_piece(material: Material) -> Plain:
    """Everything that is counted once for all outcomes."""
    cohort = material.cohort
    return {
        "performed_from": cohort.performed_from.isoformat(),
        "performed_to": cohort.performed_to.isoformat(),
        "as_of": cohort.as_of.isoformat(),
        "practice": cohort.practice_code,
        "infection": plain.infection(infection(cohort)),
        "healing": plain_common.healing(healing(cohort)),
        "pain": plain_common.pain(pain(cohort)),
        "reviews": plain_common.reviews(reviews_done(cohort)),
        "unplanned": plain.tally(unplanned(cohort, material.contacts)),
        "satisfaction": plain.tally(satisfaction(cohort)),
        "incidents": plain_common.incidents(incidents(cohort, material.incidents)),
        "process": plain_common.process(process(material.process)),
        "quality": plain_common.quality(quality(material)),
    }


def _funnel(rows: tuple[Count, ...]) -> Plain:
    """Operators around their pooled rate; below five a table with intervals is all."""
    units = [
        FunnelUnit(row.label.removeprefix("Operator "), row.events, row.ascertained, _size(row))
        for row in rows
        if row.ascertained and not row.code.endswith(SEVERAL)
    ]
    if not units:
        return {"withheld": "no operator with a known outcome", "units": [], "lines": [], "target": None, "source": ""}
    found = funnel(units)
    return {
        "withheld": found.withheld,
        "target": plain.rounded(found.target),
        "source": found.target_source,
        "units": [
            {"label": each.code, "events": each.events, "total": each.total, "size": each.size,
             "rate": plain.rounded(each.rate), "place": each.place.value if each.place else each.withheld}
            for each in found.units
        ],
        "lines": _lines(found),
    }  # fmt: skip


def _size(row: Count) -> float | None:
    size = row.interval.effective_total if row.interval else None
    return min(size, float(row.ascertained)) if size else None


def _lines(found: Funnel) -> list[Plain]:
    if not found.shown or not 0 < found.target < 1:
        return []
    largest = max(unit.size for unit in found.units)
    sizes = sorted({max(5, round(largest * 1.1 * place / LIMIT_POINTS)) for place in range(1, LIMIT_POINTS + 1)})
    limits = [(size, funnel_limits(found.target, size)) for size in sizes]
    return [
        {"size": size, "alarm_low": plain.rounded(each.alarm_low), "warning_low": plain.rounded(each.warning_low),
         "warning_high": plain.rounded(each.warning_high), "alarm_high": plain.rounded(each.alarm_high)}
        for size, each in limits
    ]  # fmt: skip


def _dose(found: ExposureTrend | None) -> Plain | None:
    if found is None:
        return None
    effect, exact = found.found.doubling, found.exact
    return {
        "population": found.population,
        "units": found.units,
        "events": found.events,
        "other_strengths": found.other_strengths,
        "operators": found.operators,
        "recorded": found.found.recorded,
        "missing": found.found.missing,
        "odds_ratio": plain.rounded(effect.odds_ratio) if effect else None,
        "low": plain.rounded(effect.low) if effect else None,
        "high": plain.rounded(effect.high) if effect else None,
        "method": found.found.regression.rule.value if found.found.regression else "",
        "line": found.found.line,
        "withheld": found.found.withheld,
        "notes": list(found.found.notes),
        "trend_p": plain.rounded(exact.p) if exact else None,
        "trend_test": exact.test.value if exact and exact.test else "",
        "exploratory": exact.exploratory if exact else "",
    }
