"""What a review of the demonstration writes down, complete and explicit, as the forms would store it."""

import random

from clinic.demo.shapes import Regrowth, SidePlan, ToePlan
from clinic.reviews.recording import explicit_signs
from clinic.vocabulary.procedure import Answer
from clinic.vocabulary.review import (
    Antibiotic,
    Extent,
    Healing,
    Means,
    PainState,
    Retreatment,
    Satisfaction,
    Signs,
    Symptoms,
    UntreatedSide,
)

# Before five weeks the groove is still open: nobody can say how much nail comes back.
EXTENT_FROM_DAY = 35
IN_TIME_PARTIAL, IN_TIME_TOTAL = 56, 84
SELF_REPORT = {Means.QUESTIONNAIRE, Means.PHONE}


def toe_finding(rng: random.Random, toe: ToePlan, day: int, means: str) -> dict[str, object]:
    """The findings of one toe at one review; `early` of the toe replaces what is ordinary."""
    own = dict(toe.early.get(day, {}))
    healing = own.pop("healing", None) or _healing(toe, day, means)
    signs = own.pop("signs", None) or (Signs.NONE_SEEN if means == Means.IN_PERSON else Signs.NOT_ASSESSED)
    rest = {name: own.pop(name) for name in ("antibiotic", "pain", "untreated_side", "over_granulation") if name in own}
    calm = Answer.NOT_ASSESSED if means != Means.IN_PERSON else Answer.NO
    return {
        "healing": healing,
        **explicit_signs(signs, healing, own),
        "antibiotic": rest.get("antibiotic", _antibiotic(day, means)),
        "pain_state": PainState.SCORED,
        "pain": rest.get("pain", _pain(rng, day)),
        "over_granulation": rest.get("over_granulation", calm),
        "skin_burn": calm,
        "numbness": calm,
        "untreated_side": rest.get("untreated_side", _untreated(toe, means, day)),
        "satisfaction": Satisfaction.NOT_ASKED,
    }


def _healing(toe: ToePlan, day: int, means: str) -> str:
    if means != Means.IN_PERSON:
        return Healing.NOT_ASSESSED
    if toe.healed_day is not None and day >= toe.healed_day:
        return Healing.DRY
    return Healing.MOIST if day <= (IN_TIME_PARTIAL if toe.partial else IN_TIME_TOTAL) else Healing.NOT_HEALING


def _antibiotic(day: int, means: str) -> str:
    return Antibiotic.NONE if day <= 60 or means == Means.IN_PERSON else Antibiotic.NOT_ASSESSED


def _pain(rng: random.Random, day: int) -> int:
    return rng.choice((1, 2, 2, 3, 4)) if day < 10 else rng.choice((0, 0, 0, 1, 1, 2)) if day < 60 else 0


def _untreated(toe: ToePlan, means: str, day: int) -> str:
    if not toe.partial or len(toe.sides) == 2:
        return UntreatedSide.NOT_APPLICABLE
    return UntreatedSide.NONE if means == Means.IN_PERSON and day >= EXTENT_FROM_DAY else UntreatedSide.NOT_ASSESSED


def side_finding(
    toe: ToePlan, side: SidePlan, day: int, *, grown: Regrowth | None = None, final: bool = False
) -> dict[str, object]:
    """grown: what came back at this side by now. final: the review decides the 12-month outcome."""
    if grown is not None and grown.side == side.name:
        return {"extent": grown.extent, "symptoms": grown.symptoms, "retreatment": grown.retreatment}
    return {
        "extent": _extent(toe, day, final),
        "symptoms": Symptoms.NONE,
        "retreatment": Retreatment.NONE,
    }


def _extent(toe: ToePlan, day: int, final: bool) -> str:
    if day < EXTENT_FROM_DAY:
        return Extent.NOT_ASSESSED
    if toe.matrix_destroyed:
        return Extent.NONE
    # Nail is expected to come back where the matrix was left: graded once, at the end.
    return Extent.FULL if final else Extent.NOT_APPLICABLE
