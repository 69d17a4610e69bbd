"""Estimated risks in words."""

from typing import TYPE_CHECKING

from django import template

if TYPE_CHECKING:
    from audit.measures.over_time import OverTime, Risk
    from audit.stats.bootstrap import Regrown

register = template.Library()


@register.filter
def risk_rows(found: "OverTime") -> list["Risk"]:
    return [found.headline, *found.technique]


@register.filter
def share_words(day: "Regrown") -> str:
    """The middle of the bounds, or both where they are too far apart for one number."""
    from audit.charts.words import percent

    share = day.share
    if share.is_range:
        return f"{percent(share.lower)} to {percent(share.upper)}"
    return percent(share.middle)


@register.filter
def limits_words(day: "Regrown") -> str:
    from audit.charts.words import percent

    return f"95 % interval {percent(day.low)} to {percent(day.high)}"


@register.filter
def methods_words(risk: "Risk") -> str:
    """Every method behind the limits of a row, once."""
    return "; ".join(dict.fromkeys(day.method.value for day in risk.days if day.shown))


@register.filter
def three_words(found: "OverTime") -> str:
    from audit.charts.words import percent

    three = found.three
    if three is None or three.all_reviews.middle is None:
        return ""
    parts = [f"By day {three.day:.0f} from all reviews {percent(three.all_reviews.middle)}"]
    for words, share in (("planned reviews only", three.planned_only), ("silence taken as clear", three.silent_clear)):
        parts.append(f"{words} {percent(share.middle)}" if share.middle is not None else f"{words}: not estimable")
    warning = f" Read with care: {three.warning}." if three.warning else ""
    return f"{', '.join(parts)}.{warning}"


@register.filter
def verdict_words(found: "OverTime") -> str:
    from audit.report.sentences import verdict_sentence

    return verdict_sentence(found)


@register.filter
def unseen_words(found: "OverTime") -> str:
    from audit.report.sentences import unseen_sentence

    return unseen_sentence(found)
