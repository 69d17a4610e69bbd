"""One injection, and one limit that somebody may approve, in figures and in words.

1 % w/v is 1 g in 100 mL, so milligrams = % × 10 × mL. Labels state the salt (hydrochloride), and so does a strength
in per cent; nothing is converted to base. Amounts are decimals: a float would miss the borders.

Pure: no Django, no records.
"""

from dataclasses import dataclass
from decimal import Decimal

from clinic.vocabulary.procedure import STRENGTHS, TOES, Anaesthetic, Foot, Vasoconstrictor, VasoconstrictorKind
from clinic.vocabulary.sites import small

Toe = tuple[Foot, int]
Drug = tuple[Anaesthetic, VasoconstrictorKind | None]
LEAST_PERCENT, MOST_PERCENT = Decimal("0.1"), Decimal(5)  # of an agent that has no list


@dataclass(frozen=True)
class Dose:
    """One row of the record: an injection or top-up at one toe, however many sites it was given through.

    strength_percent: % w/v. volume_ml: None where it was not recorded. toe: None where the row names none.
    Raises ValueError for an amount that is no positive decimal, and for a toe that no foot has.
    """

    agent: Anaesthetic
    strength_percent: Decimal
    vasoconstrictor: Vasoconstrictor
    volume_ml: Decimal | None
    toe: Toe | None

    def __post_init__(self) -> None:
        refuse_unless_positive("strength_percent", self.strength_percent)
        refuse_unless_positive("volume_ml", self.volume_ml)
        if self.toe and (self.toe[0] not in Foot.codes() or self.toe[1] not in TOES):
            raise ValueError(f"toe must be a foot and a number from 1 to 5; it is {self.toe!r}")

    @property
    def milligrams(self) -> Decimal | None:
        return None if self.volume_ml is None else self.strength_percent * 10 * self.volume_ml

    @property
    def drug(self) -> Drug:
        """What a limit is for; the kind is None where the vasoconstrictor was not recorded."""
        return self.agent, self.vasoconstrictor.kind

    @property
    def words(self) -> str:
        """'plain lidocaine, 2 % × 10 × 4 mL = 80 mg'."""
        contains = named(self.drug)
        if self.vasoconstrictor.kind == VasoconstrictorKind.ADRENALINE:
            contains = f"{small(self.agent.label)} with {small(self.vasoconstrictor.label)}"
        if self.volume_ml is None or self.milligrams is None:
            return f"{contains}, {said(self.strength_percent)} %, volume not recorded"
        product = f"{said(self.strength_percent)} % × 10 × {said(self.volume_ml)} mL"
        return f"{contains}, {product} = {said(self.milligrams)} mg"


@dataclass(frozen=True)
class Limit:
    """What may be given of one agent with one kind of vasoconstrictor; amounts in mg, weights in kg, period in hours.

    The limit is the lower of mg_per_kg × weight (at most weight_cap_kg) and absolute_mg; per_digit_mg holds for each
    toe alone. Raises ValueError if it limits nothing, or an amount is no positive decimal.
    """

    agent: Anaesthetic
    vasoconstrictor: VasoconstrictorKind
    mg_per_kg: Decimal | None
    absolute_mg: Decimal | None
    per_digit_mg: Decimal | None
    weight_cap_kg: Decimal | None
    period_h: int | None
    source: str

    def __post_init__(self) -> None:
        for name in ("mg_per_kg", "absolute_mg", "per_digit_mg", "weight_cap_kg"):
            refuse_unless_positive(name, getattr(self, name))
        if self.mg_per_kg is None and self.absolute_mg is None:
            raise ValueError("mg_per_kg or absolute_mg must be given; both are missing")

    @property
    def drug(self) -> Drug:
        return self.agent, self.vasoconstrictor

    def counted_kg(self, weight_kg: Decimal) -> Decimal:
        return weight_kg if self.weight_cap_kg is None else min(weight_kg, self.weight_cap_kg)

    def at(self, weight_kg: Decimal) -> Decimal:
        """The limit in mg at this weight."""
        by_weight = None if self.mg_per_kg is None else self.mg_per_kg * self.counted_kg(weight_kg)
        return min(amount for amount in (by_weight, self.absolute_mg) if amount is not None)

    def words(self, weight_kg: Decimal | None) -> str:
        """'limit 4.5 mg/kg × 48 kg = 216 mg, at most 200 mg (source)'."""
        parts = []
        if self.mg_per_kg is not None:
            parts.append(f"{said(self.mg_per_kg)} mg/kg{self._times(self.mg_per_kg, weight_kg)}")
        if self.absolute_mg is not None:
            parts.append(f"at most {said(self.absolute_mg)} mg")
        return f"limit {', '.join(parts)} ({self.source})"

    def _times(self, mg_per_kg: Decimal, weight_kg: Decimal | None) -> str:
        if weight_kg is None:
            return "" if self.weight_cap_kg is None else f" up to {said(self.weight_cap_kg)} kg"
        counted = self.counted_kg(weight_kg)
        capped = "" if counted == weight_kg else f" (weighs {said(weight_kg)} kg, counted as {said(counted)} kg)"
        return f" × {said(counted)} kg{capped} = {said(mg_per_kg * counted)} mg"


def check_strength(agent: Anaesthetic, percent: Decimal) -> None:
    """Refuses a strength that the agent is not known in; most often mg/mL was typed as per cent.

    percent: % w/v. Raises ValueError with the sentence to show. An agent without a list takes 0.1 to 5 %.
    """
    listed = STRENGTHS[agent]
    if percent in listed or (not listed and LEAST_PERCENT <= percent <= MOST_PERCENT):
        return
    if not listed:
        bounds = f"between {said(LEAST_PERCENT)} and {said(MOST_PERCENT)} %"
        raise ValueError(f"The strength of {small(agent.label)} must be {bounds}; it is {said(percent)} %")
    known = " or ".join(filter(None, [", ".join(said(each) for each in listed[:-1]), said(listed[-1])]))
    meant = percent / 10
    asked = f"; did you mean {said(meant)} % ({said(percent)} mg/mL)?" if meant in listed else ""
    raise ValueError(f"{agent.label} is listed as {known} %, not as {said(percent)} %{asked}")


def named(drug: Drug) -> str:
    """'plain lidocaine', 'lidocaine with adrenaline'."""
    agent, kind = small(drug[0].label), drug[1]
    if kind is None:
        return f"{agent} (vasoconstrictor not recorded)"
    return f"plain {agent}" if kind == VasoconstrictorKind.NONE else f"{agent} {small(kind.label)}"


def said(number: Decimal) -> str:
    """2.50 as 2.5 and 1E+2 as 100."""
    return f"{number.normalize():f}"


def refuse_unless_positive(name: str, value: object) -> None:
    """None passes. Raises ValueError for 0, a negative or endless number, and for anything but a Decimal."""
    if value is None:
        return
    if not isinstance(value, Decimal) or not value.is_finite() or value <= 0:
        raise ValueError(f"{name} must be a decimal above 0; it is {value!r}")
