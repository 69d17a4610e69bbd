"""Reference entries of a family, and the comparison of our value with the published one."""

import json
from pathlib import Path

import pytest

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"


def entries(family):
    """One test case for each entry of fixtures/reference/FAMILY.json."""
    found = json.loads((REFERENCE / f"{family}.json").read_text("utf-8"))
    return [pytest.param(entry, id=entry["id"]) for entry in found]


def agree(found, expected, tolerance):
    """Every number of `expected` is met within its tolerance, which has the same shape or is one for all."""
    if isinstance(expected, dict):
        assert found.keys() == expected.keys()
        for key, value in expected.items():
            agree(found[key], value, tolerance[key] if isinstance(tolerance, dict) else tolerance)
    elif isinstance(expected, list):
        assert len(found) == len(expected)
        for place, value in enumerate(expected):
            agree(found[place], value, tolerance[place] if isinstance(tolerance, list) else tolerance)
    else:
        assert found == pytest.approx(expected, abs=tolerance, rel=0)
