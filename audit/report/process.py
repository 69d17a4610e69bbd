"""The criteria of process as plain values for other programs."""

from collections.abc import Iterable
from typing import Any

from audit.measures.process import Met


def to_json(criteria: Iterable[Met]) -> list[dict[str, Any]]:
    return [
        {
            "code": found.criterion.code,
            "label": found.criterion.label,
            "definition": found.criterion.definition,
            "numerator": found.criterion.numerator,
            "denominator": found.criterion.denominator,
            "met": found.met,
            "of": found.of,
            "patients": found.patients,
            "rate": _rounded(found.found and found.found.rate),
            "low": _rounded(found.found and found.found.low),
            "high": _rounded(found.found and found.found.high),
            "withheld": found.found.withheld if found.found else "no case",
            "target": found.criterion.target,
            "apart": len(found.apart),
            "apart_because": found.criterion.apart,
        }
        for found in criteria
    ]


def _rounded(share: float | None) -> float | None:
    return None if share is None else round(share, 6)
