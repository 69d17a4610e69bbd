"""Peer sets for tests: an invented practice, protected and packed, and ways to break it."""

import random
from dataclasses import replace
from functools import cache

import pandas as pd

from audit.exchange.manifest import Manifest, manifest_of
from audit.exchange.package import members, package, rows_csv
from audit.exchange.protect import Protected, protect
from audit.exchange.release import release
from audit.exchange.rows import raw_rows
from audit.exchange.simulated import Plan, practice
from audit.measures.columns import Cohort

GROUP, PRACTICE = "G-TESTXY", "P-AB34"
PLAN = Plan("north", seed=11, patients=120)


@cache
def cohort(plan: Plan = PLAN) -> Cohort:
    return practice(plan)


@cache
def raw(plan: Plan = PLAN) -> pd.DataFrame:
    return raw_rows(cohort(plan))


@cache
def protected(plan: Plan = PLAN, *, harmless: bool = True) -> Protected:
    return protect(raw(plan), harmless_declared=harmless)


@cache
def _released(plan: Plan, seed: int) -> pd.DataFrame:
    return release(protected(plan), random.Random(seed))


def released(plan: Plan = PLAN, *, seed: int = 1) -> pd.DataFrame:
    """A copy: tests break it."""
    return _released(plan, seed).copy()


def manifest(rows: pd.DataFrame, plan: Plan = PLAN, /, **parts) -> Manifest:
    """parts: what the manifest says otherwise."""
    found = manifest_of(protected(plan), rows, rows_csv(rows), group=GROUP, practice=PRACTICE)
    return replace(found, **parts)


@cache
def _good_files() -> dict[str, bytes]:
    rows = released()
    return members(rows, manifest(rows))


def files() -> dict[str, bytes]:
    """The members of a good set by name."""
    return dict(_good_files())


def a_set(rows: pd.DataFrame | None = None, plan: Plan = PLAN, /, **parts) -> bytes:
    """A set as it leaves, of one piece."""
    rows = released(plan) if rows is None else rows
    return package(members(rows, manifest(rows, plan, **parts)))
