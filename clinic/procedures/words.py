"""Foot, toe and side in full words, as they are read back before saving."""

from collections.abc import Collection, Iterable

from clinic.vocabulary.procedure import TOES, Foot, NailSide

SITES = [(f"{foot.value}-{toe}", f"{foot.value.capitalize()} {words}") for foot in Foot for toe, words in TOES.items()]
BOTH = "both"
PARTS = [
    (NailSide.TIBIAL.value, NailSide.TIBIAL.label),
    (NailSide.FIBULAR.value, NailSide.FIBULAR.label),
    (BOTH, "Both sides"),
    (NailSide.WHOLE.value, NailSide.WHOLE.label),
]


def toe_name(foot: str, toe: int) -> str:
    """'right 1st toe (hallux)'."""
    return f"{foot} {TOES[toe]}"


def sides_of(part: str) -> tuple[str, ...]:
    """The treated sides that a choice of the picker means."""
    return (NailSide.TIBIAL.value, NailSide.FIBULAR.value) if part == BOTH else (part,)


def part_of(sides: Collection[str]) -> str:
    """The choice of the picker for stored sides."""
    return BOTH if len(sides) > 1 else next(iter(sides), "")


def part_name(part: str) -> str:
    return {"tibial": "tibial (medial) side", "fibular": "fibular (lateral) side", BOTH: "both sides"}.get(
        part, "whole nail"
    )


def landmark(part: str, toe: int) -> str:
    """What the side lies next to; toes, not left and right, because both feet mirror."""
    if part == NailSide.TIBIAL:
        return "the side facing the other foot" if toe == 1 else "the side towards the 1st toe"
    if part == NailSide.FIBULAR:
        if toe == 5:
            return "the outer edge of the foot"
        return "the side next to the 2nd toe" if toe == 1 else "the side away from the 1st toe"
    return "the centre is kept" if part == BOTH else "the complete nail plate"


def site_name(foot: str, toe: int, part: str) -> str:
    """'right 1st toe (hallux), tibial (medial) side'."""
    return f"{toe_name(foot, toe)}, {part_name(part)}"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def listed(items: Iterable[str]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    every = list(items)
    return " and ".join(filter(None, [", ".join(every[:-1]), every[-1]])) if every else ""
