"""Published rates beside ours, only where the outcome and the time point are the same; otherwise: not comparable."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from audit.measures.definitions import Outcome
from audit.report.plain import rounded
from audit.stats.proportion import wilson
from clinic.vocabulary.terms import Source

Plain = dict[str, Any]
TWELVE_MONTHS = "12 months"


@dataclass(frozen=True)
class Published:
    """One published count. outcome: None where it is none of ours. ours: code of our group it may stand beside."""

    source: Source
    population: str
    said: str
    outcome: Outcome | None
    time: str
    unit: str
    events: int
    total: int
    ours: str = "pna_chemical:phenol"


PUBLISHED = (
    Published(
        Source("Bos AMC et al. Br J Surg 2007;94:292-296", "abstract read; counts from a published summary"),
        "Partial avulsion with phenol, arm of a trial", "recurrence", Outcome.SYMPTOMATIC_RECURRENCE, TWELVE_MONTHS,
        "patients", 8, 58,
    ),
    Published(
        Source("Gerritsma-Bleeker CLE et al. Arch Surg 2002;137:320-325", "abstract read"),
        "Segmental phenolisation, arm of a trial", "any recurrence", Outcome.ANY_REGROWTH, TWELVE_MONTHS, "toes", 7, 29,
    ),
    Published(
        Source("Gerritsma-Bleeker CLE et al. Arch Surg 2002;137:320-325", "abstract read"),
        "Segmental phenolisation, arm of a trial", "symptomatic recurrence that was re-operated on", None,
        TWELVE_MONTHS, "toes", 3, 29,
    ),
    Published(
        Source(
            "Silva NCS et al. Dermatol Surg 2024, doi 10.1097/DSS.0000000000004265", "abstract read; count from 1.87 %"
        ),
        "Phenol 88 %, 45 seconds", "any spicule or sign of ingrowth", Outcome.ANY_REGROWTH, "6 months", "operations",
        15, 802,
    ),
    Published(
        Source("Leung SY, Lai KM. HK Pract 2005;27:286-293", "abstract read"),
        "Phenol", "recurrence", Outcome.SYMPTOMATIC_RECURRENCE, "6 months", "patients", 0, 34,
    ),
    Published(
        Source("Bostanci S et al. Acta Derm Venereol 2001;81:181-183", "abstract read"),
        "Phenol", "recurrence and spikes", Outcome.ANY_REGROWTH, "25 months on average", "sides", 4, 350,
    ),
)  # fmt: skip


def beside_published(outcomes: Mapping[str, Plain]) -> list[Plain]:
    """Each published rate with its interval, and our own group where it may stand beside it."""
    return [_row(each, outcomes) for each in PUBLISHED]


def _row(published: Published, outcomes: Mapping[str, Plain]) -> Plain:
    interval = wilson(published.events, published.total)
    why = _not_comparable(published)
    return {
        "citation": published.source.citation,
        "note": published.source.note,
        "population": published.population,
        "said": published.said,
        "time": published.time,
        "unit": published.unit,
        "events": published.events,
        "total": published.total,
        "rate": rounded(interval.rate),
        "low": rounded(interval.low),
        "high": rounded(interval.high),
        "not_comparable": why,
        "ours": None if why else _ours(published, outcomes),
    }


def _not_comparable(published: Published) -> str:
    """Both must be the same: what was counted, and when."""
    reasons = []
    if published.outcome is None:
        reasons.append("another outcome")
    if published.time != TWELVE_MONTHS:
        reasons.append(f"another time: {published.time}")
    return f"not comparable: {', '.join(reasons)}" if reasons else ""


def _ours(published: Published, outcomes: Mapping[str, Plain]) -> Plain | None:
    piece = outcomes[published.outcome.value] if published.outcome else None
    rows = piece["technique"] if piece else []
    return next((row for row in rows if row["code"] == published.ours), None)
