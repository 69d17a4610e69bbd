"""The estimated risk over time as plain values."""

from audit.measures.curves import OBSERVED_AT, RegrowthCurve
from audit.measures.definitions import Unit
from audit.measures.over_time import OverTime, Risk
from audit.report.plain import RECORDS, Plain, rounded
from audit.report.sentences import three_sentence, unseen_sentence, verdict_sentence
from audit.stats.bootstrap import Regrown


def over_time(found: OverTime) -> Plain:
    methods = dict.fromkeys(day.method.value for day in found.headline.days if day.shown)
    return {
        "unit": Unit.SIDE.value,
        "all": _risk(found.headline),
        "technique": [_risk(row) for row in found.technique],
        "reviews": _three(found),
        "unseen": _unseen(found),
        "verdict": _verdict(found),
        "replicates": found.replicates,
        "seed": str(found.seed),
        "methods": "; ".join(methods),
        "to_check": len(found.to_check),
        RECORDS: {"to_check": list(found.to_check)},
    }


def _risk(found: Risk) -> Plain:
    return {
        "code": found.code,
        "label": found.label,
        "sides": found.sides,
        "informative": found.informative,
        "patients": found.patients,
        "days": [_day(each) for each in found.days],
        "curve": _curve(found.curve) if found.curve else None,
    }


def _day(found: Regrown) -> Plain:
    return {
        "day": int(found.share.day),
        "risk": rounded(found.share.middle),
        "lower_bound": rounded(found.share.lower),
        "upper_bound": rounded(found.share.upper),
        "is_range": found.share.is_range,
        "low": rounded(found.low),
        "high": rounded(found.high),
        "method": found.method.value,
        "patients_observed": found.patients,
        "withheld": found.withheld,
        "caution": found.caution,
    }


def _curve(found: RegrowthCurve) -> Plain:
    return {
        "steps": [[rounded(step.day), rounded(step.lower), rounded(step.upper)] for step in found.steps],
        "until": found.until,
        "at": list(OBSERVED_AT),
        "observed_sides": list(found.observed_sides),
        "observed_patients": list(found.observed_patients),
        "withheld": found.withheld,
    }


def _three(found: OverTime) -> Plain | None:
    if found.three is None:
        return None
    three = found.three
    return {
        "all_reviews": rounded(three.all_reviews.middle),
        "planned_only": rounded(three.planned_only.middle),
        "silent_clear": rounded(three.silent_clear.middle),
        "warning": three.warning,
        "sentence": three_sentence(found),
    }


def _unseen(found: OverTime) -> Plain | None:
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


def _verdict(found: OverTime) -> Plain | None:
    if found.judgement is None:
        return None
    judgement = found.judgement
    return {
        "verdict": judgement.words,
        "code": judgement.verdict.name.lower(),
        "depends": judgement.depends,
        "standard": rounded(judgement.standard),
        "low": rounded(judgement.low),
        "high": rounded(judgement.high),
        "needed": judgement.needed.units,
        "reason": judgement.reason,
        "differing": [other.label for other in judgement.differing],
        "sentence": verdict_sentence(found),
    }
