"""Our value for each reference entry about loss to follow-up."""

from collections.abc import Callable
from typing import Any

from audit.stats.bounds import LossBounds, loss_bounds, tipping_points

Entry = dict[str, Any]


def _bounds(data: Entry) -> LossBounds:
    return loss_bounds(data["events"], data["known"], data["lost"], effect=data.get("effect", 1.0))


def _best_and_worst(data: Entry) -> Entry:
    found = _bounds(data)
    return {"best": found.best.rate, "worst": found.worst.rate}


def _limits(data: Entry) -> Entry:
    found = _bounds(data)
    return {"best": [found.best.low, found.best.high], "worst": [found.worst.low, found.worst.high]}


def _tipping(data: Entry) -> Entry:
    """Where no number of unseen events will do, the number just outside the possible ones stands."""
    found = tipping_points(_bounds(data), data["standard"])
    above, within = data["lost"] + 1, -1
    return {
        "rate_above": above if found.rate_above is None else found.rate_above,
        "lower_above": above if found.lower_above is None else found.lower_above,
        "upper_within": within if found.upper_within is None else found.upper_within,
    }


CALLS: dict[str, Callable[[Entry], Any]] = {
    "best_and_worst": _best_and_worst,
    "limits": _limits,
    "tipping": _tipping,
}
