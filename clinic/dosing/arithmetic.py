"""Local anaesthetic given in one attendance, against limits somebody approved. It counts; it recommends nothing.

Doses of one agent with one kind of vasoconstrictor are summed over both feet. Several such sums count as shares of
their limits: Σ dose / limit, at most 1. That meets both schools: the one that adds shares of maxima, and the one that
gives nothing more of any agent once one maximum is reached. Shares are exact fractions: 192/420 + 114/210 is 1.

Pure: no Django, no records.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from clinic.dosing.amounts import Dose, Drug, Limit, Toe, check_strength, named, refuse_unless_positive, said
from clinic.dosing.results import Level, LimitState, Note, Result, Total
from clinic.vocabulary import sources as s
from clinic.vocabulary.procedure import Anaesthetic, Foot, VasoconstrictorKind
from clinic.vocabulary.sites import capital, small, toe_name
from clinic.vocabulary.terms import Source

__all__ = ["Dose", "Level", "Limit", "LimitState", "Note", "Result", "Total", "assess", "check_strength", "is_above"]

FULL, AMBER_ABOVE = Fraction(1), Fraction(4, 5)
ADULT_FROM, OLD_FROM = 18, 70


def assess(
    doses: Sequence[Dose], limits: Iterable[Limit], *, weight_kg: Decimal | None, age_years: int | None
) -> Result:
    """All doses of one attendance, both feet, against the approved limits.

    weight_kg, age_years: None where not recorded; no weight is assumed. Edge cases: no dose gives NONE_GIVEN; what is
    above a limit at any weight, or by the recorded volumes alone, is above it whatever is missing besides. Raises
    ValueError for two limits of one drug and a weight that is not positive.
    """
    refuse_unless_positive("weight_kg", weight_kg)
    limit_of = _one_each(limits)
    drugs = sorted({dose.drug for dose in doses}, key=_place)
    of_drug = {drug: [dose for dose in doses if dose.drug == drug] for drug in drugs}
    totals = tuple(_total(drug, given, limit_of.get(drug), weight_kg) for drug, given in of_drug.items())
    digits = tuple(
        _at_toe(toe, [dose for dose in given if dose.toe == toe], limit_of[drug])
        for drug, given in of_drug.items()
        if drug in limit_of and limit_of[drug].per_digit_mg is not None
        for toe in sorted({dose.toe for dose in given if dose.toe}, key=lambda toe: (toe[0] == Foot.LEFT, toe[1]))
    )
    share, least = _sum_of_shares(totals)
    parts = [(part.share, part.least, part.state) for part in (*totals, *digits)]
    parts += [(share, least, _state(share, least))] if len(totals) > 1 else []
    return Result(
        rows=tuple(f"{_where(dose.toe)}: {dose.words}" for dose in doses),
        by_agent=_by_agent(doses),
        totals=totals,
        digits=digits,
        share=share,
        sum_words=_sum_words(totals, share, least),
        state=max((state for _, _, state in parts), key=list(LimitState).index, default=LimitState.NONE_GIVEN),
        level=max((_level(*part) for part in parts), key=list(Level).index, default=Level.PLAIN),
        reasons=tuple(dict.fromkeys(part.reason for part in (*totals, *digits) if part.reason)),
        notes=tuple(_notes(of_drug, limit_of, age_years)) if doses else (),
    )


def is_above(doses: Sequence[Dose], limit: Limit, weight_kg: Decimal) -> bool:
    """Whether these doses of the limit's drug, in the attendance or at one toe, are more mg than it allows.

    Counts the recorded volumes: True stays true whatever a missing one was.
    """
    if _sum(doses) > limit.at(weight_kg):
        return True
    toes = {dose.toe for dose in doses if dose.toe}
    at_toe = (_sum([dose for dose in doses if dose.toe == toe]) for toe in toes)
    return limit.per_digit_mg is not None and any(milligrams > limit.per_digit_mg for milligrams in at_toe)


def percent(share: Fraction) -> str:
    """One decimal place; a share that rounding would put on a border it does not meet is said to lie beside it."""
    shown = Decimal(round(share * 1000)) / 10
    for border in (AMBER_ABOVE, FULL):
        if shown == border * 100 and share != border:
            return f"just {'above' if share > border else 'below'} {said(shown)} %"
    return f"{said(shown)} %"


def _one_each(limits: Iterable[Limit]) -> dict[Drug, Limit]:
    found: dict[Drug, Limit] = {}
    for limit in limits:
        if limit.drug in found:
            raise ValueError(f"limits must hold one limit of each drug; there are two for {named(limit.drug)}")
        found[limit.drug] = limit
    return found


def _total(drug: Drug, given: Sequence[Dose], limit: Limit | None, weight_kg: Decimal | None) -> Total:
    if limit is None:
        return _unlimited(drug, given)
    limit_mg = None if weight_kg is None else limit.at(weight_kg)
    reason = "no weight" if weight_kg is None else _missing_volume(drug, given)
    sure_mg = limit.absolute_mg if limit_mg is None else limit_mg
    return _measured(drug, None, given, limit_mg, sure_mg, reason, limit.words(weight_kg))


def _at_toe(toe: Toe, given: Sequence[Dose], limit: Limit) -> Total:
    per_digit = limit.per_digit_mg
    limited = f"limit {said(per_digit)} mg per digit ({limit.source})" if per_digit is not None else ""
    return _measured(limit.drug, toe, given, per_digit, per_digit, _missing_volume(limit.drug, given), limited)


def _unlimited(drug: Drug, given: Sequence[Dose]) -> Total:
    said_drug = named(drug)
    if drug[1] is None:
        state, reason = LimitState.INCOMPLETE, f"vasoconstrictor not recorded for {small(drug[0].label)}"
    else:
        state, reason = LimitState.NO_LIMIT, f"no approved limit for {said_drug}"
    words = f"{capital(named(drug))}: {_added(given)}; limit not assessed: {reason}"
    return Total(*drug, None, _sum(given), None, None, Fraction(0), state, reason, words)


def _measured(
    drug: Drug,
    toe: Toe | None,
    given: Sequence[Dose],
    limit_mg: Decimal | None,
    sure_mg: Decimal | None,
    reason: str,
    limited: str,
) -> Total:
    """limit_mg: the limit, None where it is unknown. sure_mg: what the limit cannot exceed. reason: what is missing."""
    milligrams = _sum(given)
    least = Fraction(0) if sure_mg is None else Fraction(milligrams) / Fraction(sure_mg)
    share = None if reason else least
    state = _state(share, least, otherwise=LimitState.NO_WEIGHT if limit_mg is None else LimitState.INCOMPLETE)
    place = f"{_where(toe)}, {named(drug)}" if toe else capital(named(drug))
    standing = _standing(milligrams, sure_mg, share, least, reason)
    words = f"{place}: {_added(given)}; {limited}: {standing}"
    shown_reason = "" if state == LimitState.ABOVE else reason
    return Total(*drug, toe, milligrams, limit_mg, share, least, state, shown_reason, words)


def _state(share: Fraction | None, least: Fraction, *, otherwise: LimitState = LimitState.INCOMPLETE) -> LimitState:
    if least > FULL:
        return LimitState.ABOVE
    if share is None:
        return otherwise
    return LimitState.AT_LIMIT if share == FULL else LimitState.WITHIN


def _standing(
    milligrams: Decimal, sure_mg: Decimal | None, share: Fraction | None, least: Fraction, reason: str
) -> str:
    if sure_mg is None or (share is None and least <= FULL):
        return f"limit not assessed: {reason}"
    at_least = "at least " if share is None else ""
    beyond = f", {said(milligrams - sure_mg)} mg above the limit" if least > FULL else ""
    return f"{at_least}{percent(least)} of {said(sure_mg)} mg{beyond}{', at the limit' if share == FULL else ''}"


def _sum_of_shares(totals: Sequence[Total]) -> tuple[Fraction | None, Fraction]:
    shares = [total.share for total in totals if total.share is not None]
    complete = len(shares) == len(totals) > 0
    return sum(shares, Fraction(0)) if complete else None, sum((total.least for total in totals), Fraction(0))


def _sum_words(totals: Sequence[Total], share: Fraction | None, least: Fraction) -> str:
    if len(totals) < 2:
        return ""
    if share is None:
        known = f"at least {percent(least)}, above the limit" if least > FULL else "not assessed"
        return f"Sum of the shares of all limits: {known}"
    added = " + ".join(percent(total.share) for total in totals if total.share is not None)
    beside = {LimitState.ABOVE: ", above the limit", LimitState.AT_LIMIT: ", at the limit"}
    return f"Sum of the shares of all limits: {added} = {percent(share)}{beside.get(_state(share, share), '')}"


def _level(share: Fraction | None, least: Fraction, state: LimitState) -> Level:
    if least > FULL:
        return Level.RED
    return Level.AMBER if share is None or share > AMBER_ABOVE or not state.is_assessed else Level.PLAIN


def _notes(
    of_drug: Mapping[Drug, Sequence[Dose]], limit_of: Mapping[Drug, Limit], age_years: int | None
) -> Iterable[Note]:
    if age_years is None:
        yield Note("Age not recorded; whether a lower limit applies was not looked at", s.OWN_DESIGN)
    elif age_years < ADULT_FROM or age_years >= OLD_FROM:
        who = "children" if age_years < ADULT_FROM else "older people"
        words = f"Age {age_years}: the limit may be lower for {who}; clinician decides, see local protocol"
        yield Note(words, s.COMMON_PRACTICE)
    for drug, given in of_drug.items():
        limit = limit_of.get(drug)
        if limit is None:
            continue
        if limit.period_h is not None:
            words = f"The limit of {named(drug)} is for {limit.period_h} h; only this attendance is added up"
            yield Note(words, Source(limit.source))
        if limit.per_digit_mg is not None and any(dose.toe is None for dose in given):
            yield Note(f"A dose of {named(drug)} names no toe and is in no sum per digit", s.OWN_DESIGN)


def _by_agent(doses: Sequence[Dose]) -> tuple[tuple[Anaesthetic, Decimal], ...]:
    agents = [agent for agent in Anaesthetic if any(dose.agent == agent for dose in doses)]
    return tuple((agent, _sum([dose for dose in doses if dose.agent == agent])) for agent in agents)


def _sum(given: Sequence[Dose]) -> Decimal:
    """mg of the recorded volumes."""
    return sum((dose.milligrams for dose in given if dose.milligrams is not None), Decimal(0))


def _added(given: Sequence[Dose]) -> str:
    """'80 mg + 80 mg = 160 mg'."""
    known = [f"{said(dose.milligrams)} mg" for dose in given if dose.milligrams is not None]
    unknown = len(given) - len(known)
    total = f"{' + '.join(known)} = {said(_sum(given))} mg" if len(known) > 1 else "".join(known)
    without = f"{unknown} without volume" if unknown else ""
    return " and ".join(filter(None, [total, without]))


def _missing_volume(drug: Drug, given: Sequence[Dose]) -> str:
    missing = any(dose.volume_ml is None for dose in given)
    return f"volume not recorded for {named(drug)}" if missing else ""


def _where(toe: Toe | None) -> str:
    return capital(toe_name(*toe)) if toe else "No toe named"


def _place(drug: Drug) -> tuple[int, int]:
    agent, kind = drug
    kinds: list[VasoconstrictorKind | None] = [*VasoconstrictorKind, None]
    return list(Anaesthetic).index(agent), kinds.index(kind)
