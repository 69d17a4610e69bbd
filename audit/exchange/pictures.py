"""The charts of a comparison, declared once: a forest of practices and a funnel. Draws nothing; knows no Django."""

from collections.abc import Iterable, Sequence

from audit.charts.plots import FunnelChart, FunnelDot, FunnelLine
from audit.charts.spec import Chart, IntervalRow, Kind
from audit.exchange.pooled import Comparison, Contribution, Line
from audit.measures.definitions import Shown
from audit.stats.funnel import Funnel, Unit, funnel, limits_at
from audit.stats.pooling import Pool
from audit.stats.releases import FEWEST_OF_PRACTICE

NO_RANKING = "Practices stand in the order of their random codes. Most differences between them are chance."
CHANCE = "A practice outside the 99.8 % limits is worth a talk: look at data quality, case mix, then practice."
SHOWN_RATE = "crude rate of the practices shown"
POOLED = "Pooled by a binomial-normal model; limits by Student's t, each practice at its effective size."


def forest(found: Comparison, own: str = "") -> Chart:
    """Every practice with its interval, then the pool and where a new practice's rate would lie.

    own: the code of the practice that looks, or empty.
    """
    rows = [_row(each, own) for each in found.headline.contributions if not each.hidden]
    rows += list(_small(found))
    if found.shown and found.headline.pool is not None and found.headline.pool.shown:
        rows += _pool_rows(found.headline.pool)
    return Chart(
        slug="forest",
        title=f"{found.outcome.label} by practice",
        kind=Kind.INTERVALS,
        rows=tuple(rows),
        axis=f"{found.outcome.label} at 12 months, % of {found.unit.plural} with a known outcome (95 % interval)",
        notes=(NO_RANKING, POOLED),
    )


def groups_chart(found: Comparison, slug: str, title: str, lines: Sequence[Line], more: str = "") -> Chart:
    """The pooled rate of each group. What may not be pooled stands in the notes with its reason, without a count.

    more: a note on what the groups are, or empty.
    """
    counted = [line for line in lines if line.pool is not None]
    apart = [f"{line.label}: {line.withheld}" for line in lines if line.pool is None and line.practices]
    notes = [POOLED, "An association, not a cause: technique, side and exposure are chosen for each patient."]
    if apart:
        notes.append(f"Not pooled: {'; '.join(apart)}.")
    if more:
        notes.append(more)
    return Chart(
        slug=slug,
        title=title,
        kind=Kind.INTERVALS,
        rows=tuple(_line_row(line) for line in counted),
        axis=f"{found.outcome.label} at 12 months, pooled % of {found.unit.plural} (95 % interval)",
        notes=tuple(notes),
    )


def placed(found: Comparison) -> Funnel:
    """Practices among limits around the crude rate of those that are shown, each at its effective size."""
    units = [
        Unit(each.code, each.found.events, each.found.ascertained, _effective(each))
        for each in found.headline.contributions
        if not each.hidden
    ]
    if not units:
        return Funnel(0.0, "pooled rate", (), withheld="no practice has enough patients")
    return funnel(units)


def funnel_chart(found: Comparison, own: str = "") -> FunnelChart | None:
    """The funnel as a chart; None where there is none."""
    beside = placed(found)
    if not beside.shown or not found.shown:
        return None
    sizes = [unit.size for unit in beside.units if unit.rate is not None]
    grid = sorted({max(1, round(max(sizes) * 1.15 * place / 40)) for place in range(1, 41)} | set(sizes))
    lines = [_limits_at(beside, size) for size in grid if size >= min(sizes) / 2]
    return FunnelChart(
        slug="funnel",
        title=f"{found.outcome.label} by number of {found.unit.plural}",
        units=tuple(
            FunnelDot(_named(unit.code, own), unit.events, unit.total, unit.size, unit.rate, unit.place.value)
            for unit in beside.units
            if unit.rate is not None and unit.place is not None
        ),
        lines=tuple(lines),
        target=beside.target,
        target_label=SHOWN_RATE,
        x_axis=f"{found.unit.plural} with a known 12-month outcome, less for several of one patient",
        y_axis=found.outcome.label,
        notes=(CHANCE, NO_RANKING, _spread_words(beside)),
    )


def _limits_at(beside: Funnel, size: int) -> FunnelLine:
    limits = limits_at(beside.target, size, beside.spread)
    return FunnelLine(size, limits.alarm_low or 0.0, limits.warning_low or 0.0, limits.warning_high, limits.alarm_high)


def _spread_words(beside: Funnel) -> str:
    if beside.spread is None:
        return "Over-dispersion is looked at from ten practices on; the limits are exact binomial limits."
    if beside.spread.variance:
        return "The practices differ more than chance gives; the limits drawn, and judged by, are widened by that."
    return "The practices differ no more than chance gives; the limits are exact binomial limits."


def _effective(each: Contribution) -> float | None:
    interval = each.found.interval
    if interval is None or interval.effective_total is None:
        return float(each.found.patients_ascertained)
    return min(float(each.found.ascertained), interval.effective_total)


def _named(code: str, own: str) -> str:
    return f"{code} (this practice)" if code == own else code


def _row(each: Contribution, own: str) -> IntervalRow:
    found, interval = each.found, each.found.interval
    return IntervalRow(
        label=_named(each.code, own),
        events=found.events,
        total=found.ascertained,
        rate=interval.rate if interval else None,
        low=interval.low if interval else None,
        high=interval.high if interval else None,
        hollow=found.shown is Shown.HOLLOW,
        note=found.note,
    )


def _small(found: Comparison) -> Iterable[IntervalRow]:
    """Practices that stand together, so that none with few patients can be had by subtraction."""
    hidden = [each for each in found.headline.contributions if each.hidden]
    if hidden:
        known = sum(each.found.ascertained for each in hidden)
        note = f"{len(hidden)} together, because some have fewer than {FEWEST_OF_PRACTICE} patients; in the pool"
        told = known and not found.small.withheld
        yield IntervalRow("Others", 0, 0, None, None, None, False, f"{note} ({known} known)" if told else note)


def _pool_rows(pooled: Pool) -> list[IntervalRow]:
    rows = [IntervalRow("Pooled", pooled.events, pooled.total, pooled.rate, pooled.low, pooled.high, False,
                        pooled.warning)]  # fmt: skip
    if pooled.predicted is not None:
        low, high = pooled.predicted
        rows.append(IntervalRow("Prediction interval", pooled.events, pooled.total, pooled.rate, low, high,
                                False, "95 %, by the model, for a further practice"))  # fmt: skip
    return rows


def _line_row(line: Line) -> IntervalRow:
    pooled = line.pool
    if pooled is None or not pooled.shown:
        events, total = (pooled.events, pooled.total) if pooled else (0, 0)
        return IntervalRow(line.label, events, total, None, None, None, False, line.withheld)
    note = pooled.warning or f"{line.practices} practices"
    return IntervalRow(line.label, pooled.events, pooled.total, pooled.rate, pooled.low, pooled.high, False, note)
