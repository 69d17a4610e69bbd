"""What must hold before practices are compared, each with pass or fail and why. Knows no Django."""

from collections.abc import Sequence
from dataclasses import dataclass

from audit.charts.words import percent
from audit.exchange.pooled import Comparison, Member, years_of
from audit.exchange.words import period_words, without_gaps
from audit.measures.definitions import LOSS_LIMIT
from audit.stats.funnel import FEWEST_UNITS
from audit.stats.releases import FEWEST_PRACTICES, LARGEST_SHARE


@dataclass(frozen=True)
class Check:
    """One check before comparing. found: in words, with its numbers. passed: whether it holds."""

    label: str
    found: str
    passed: bool


def checks(
    members: Sequence[Member], found: Comparison, *, refused: int = 0, apart: int = 0, brought: int = 0
) -> tuple[Check, ...]:
    """Every check.

    refused: files refused at intake; apart: sets kept but not pooled, their definitions differ; brought: sets in the
    pool that somebody else than the practice handed in.
    """
    practices = len(members)
    patients = [each.found.patients_ascertained for each in found.headline.contributions]
    largest = max(patients, default=0) / max(1, sum(patients))
    versions = {(member.manifest.definitions, member.manifest.window) for member in members}
    periods = {without_gaps(years_of(member)) for member in members}
    years = sorted({year for period in periods for year in period})
    return (
        Check("Practices", f"{practices}; pooled from {FEWEST_PRACTICES}, funnel from {FEWEST_UNITS}",
              practices >= FEWEST_PRACTICES),
        Check("Same definitions", f"{practices} of {practices + apart}" if len(versions) <= 1 else
              f"{len(versions)} versions", len(versions) <= 1 and not apart),
        Check("Same period", ", ".join(map(period_words, years)) or "none", len(periods) <= 1),
        Check("Handed in by the practice itself",
              "1 set was brought by somebody else" if brought == 1 else
              f"{brought} sets were brought by somebody else" if brought else "every set", not brought),
        *_completeness(found),
        Check("No practice dominates", f"largest share {percent(largest)}, at most {percent(LARGEST_SHARE)}",
              largest <= LARGEST_SHARE),
        Check("Files refused at intake", str(refused), True),
    )  # fmt: skip


def _completeness(found: Comparison) -> tuple[Check, ...]:
    counts = [each.found for each in found.headline.contributions]
    known, eligible = sum(one.ascertained for one in counts), sum(one.eligible for one in counts)
    poor = [one.code for one in counts if one.eligible and 1 - one.ascertained / one.eligible > LOSS_LIMIT]
    share = f"{known} of {eligible} known, {percent(known / eligible)}" if eligible else "nobody eligible"
    loss = 1 - known / eligible if eligible else 1.0
    more = f"; loss above {percent(LOSS_LIMIT)} in {len(poor)} of {len(counts)} practices" if poor else ""
    events = sum(one.events for one in counts)
    rate = events / known if known else 0.0
    return (
        Check("12-month outcome known", share + more, bool(eligible) and not poor and loss <= LOSS_LIMIT),
        Check("Loss below the event rate", f"loss {percent(loss)}, events {percent(rate)} of the known",
              bool(known) and loss <= rate),
    )  # fmt: skip
