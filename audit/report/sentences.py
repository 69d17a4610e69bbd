"""Sentences that a report says of its figures, each by rule. They say what was counted and judge nobody."""

from audit.charts.words import percent, standard_text
from audit.measures.definitions import Outcome, Shown, Unit
from audit.measures.over_time import OverTime
from audit.measures.strata import Count
from audit.stats.proportion import Method, Proportion


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


def three_sentence(found: OverTime) -> str:
    """How much unplanned visits could matter, with a warning where they could much; empty without an estimate."""
    three = found.three
    if three is None or three.all_reviews.middle is None:
        return ""
    parts = [f"By day {three.day:.0f} from all reviews {percent(three.all_reviews.middle)}"]
    for words, share in (("planned reviews only", three.planned_only), ("silence taken as clear", three.silent_clear)):
        parts.append(f"{words} {percent(share.middle)}" if share.middle is not None else f"{words}: not estimable")
    warning = f" Read with care: {three.warning}." if three.warning else ""
    return f"{', '.join(parts)}.{warning}"


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
    needed = f" About {judgement.needed.units:,} sides would be needed to show it." if judgement.needed.units else ""
    return f"{said}{why}.{depends}{needed}"


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
