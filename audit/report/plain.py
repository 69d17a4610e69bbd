"""Results of measures as plain values in a fixed order: codes, whole numbers, shares to six decimals, None for nothing.

Page, chart, file and command print these same values, so that no digit differs between them. With `records` the keys
of the records behind each number stand beside it; they lead to patients, so no file that leaves the practice has them.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from audit.measures.follow_up import FollowUp, Part
from audit.measures.infection import FlagCount, Infection
from audit.measures.strata import Count
from audit.measures.tally import Tally
from audit.stats.proportion import Proportion

DECIMALS = 6
RECORDS = "records"
Plain = dict[str, Any]


def rounded(value: float | None) -> float | None:
    """Adding zero turns a minus zero into zero."""
    return None if value is None else round(float(value), DECIMALS) + 0.0


def without_records(value: Any) -> Any:
    """The same values without the keys of records."""
    if isinstance(value, dict):
        return {name: without_records(each) for name, each in value.items() if name != RECORDS}
    return [without_records(each) for each in value] if isinstance(value, list) else value


def proportion(found: Proportion | None) -> Plain | None:
    if found is None:
        return None
    return {
        "events": found.events,
        "total": found.total,
        "rate": rounded(found.rate),
        "low": rounded(found.low),
        "high": rounded(found.high),
        "method": found.method.value,
        "clusters": found.clusters,
        "design_effect": rounded(found.design_effect),
        "effective_total": rounded(found.effective_total),
        "one_sided": rounded(found.one_sided),
        "withheld": found.withheld,
    }


def keys(found: Mapping[str, Sequence[str]]) -> dict[str, list[str]]:
    return {name: list(each) for name, each in found.items()}


_NUMBERS = (
    "events", "ascertained", "eligible", "pending", "lost", "censored", "censored_death", "censored_reoperation",
    "censored_amputation", "patients", "patients_ascertained", "late_events",
)  # fmt: skip


def count(found: Count) -> Plain:
    numbers: Mapping[str, int] = {name: getattr(found, name) for name in _NUMBERS}
    return {
        "code": found.code,
        "label": found.label,
        **numbers,
        "interval": proportion(found.interval),
        "best": proportion(found.best),
        "worst": proportion(found.worst),
        "shown": found.shown.value,
        "note": found.note,
        RECORDS: keys(found.keys),
    }


def tally(found: Tally) -> Plain:
    apart = {name: len(each) for name, each in found.keys.items() if name not in {"event", "other"}}
    return {
        "code": found.code,
        "label": found.label,
        "events": found.events,
        "total": found.total,
        "patients": found.patients,
        "interval": proportion(found.interval),
        "shown": found.shown.value,
        "note": found.note,
        "apart": apart,
        RECORDS: keys(found.keys),
    }


def part(found: Part) -> Plain:
    return {"code": found.code, "label": found.label, "units": found.units, RECORDS: {"units": list(found.keys)}}


def follow_up(found: FollowUp) -> Plain:
    return {
        "ascertained": found.ascertained,
        "eligible": found.eligible,
        "lost": found.lost,
        "pending": found.pending,
        "completeness": proportion(found.completeness),
        "by_source": [part(each) for each in found.by_source],
        "by_reason": [part(each) for each in found.by_reason],
        "examined": count(found.examined),
        "reported": found.reported,
        "sentences": list(found.sentences),
    }


def _flag(found: FlagCount) -> Plain:
    return {
        "code": found.flag.value,
        "label": found.flag.label,
        "meaning": found.flag.meaning,
        "events": found.events,
        "total": found.total,
        "patients": found.patients,
        "present_before": found.present_before,
        "absent_before": found.absent_before,
        "unknown_before": found.unknown_before,
        "interval": proportion(found.interval),
        "shown": found.shown.value,
        RECORDS: {"flagged": list(found.keys)},
    }


_INFECTION_NUMBERS = (
    "toes", "contacted", "without_contact", "pending", "patients", "present_before", "absent_before", "unknown_before",
)  # fmt: skip


def infection(found: Infection) -> Plain:
    numbers: Mapping[str, int] = {name: getattr(found, name) for name in _INFECTION_NUMBERS}
    return {**numbers, "flags": [_flag(flag) for flag in found.flags], RECORDS: keys(found.keys)}
