"""How many outcomes are known, how they became known, and why the others are not. Knows no Django."""

from dataclasses import dataclass, replace

import pandas as pd

from audit.measures.definitions import LOSS_LIMIT, HowKnown, Shown, Status
from audit.measures.strata import Count, clustered, count, shown_by
from audit.stats.proportion import Proportion
from clinic.vocabulary.review import LossReason
from clinic.vocabulary.terms import Term


@dataclass(frozen=True)
class Part:
    """One share of a whole. units: whole number. keys: the unit keys behind it."""

    code: str
    label: str
    units: int
    keys: tuple[str, ...]


@dataclass(frozen=True)
class FollowUp:
    """Completeness of follow-up at 12 months.

    ascertained of eligible, in units; completeness: with interval, clustered on the patient, None where thin.
    by_source: the ascertained by how they became known; sums to ascertained.
    by_reason: the lost by reason; sums to lost.
    examined: only what a clinician saw; reported: ascertained units known from a report alone.
    sentences: what must be said about the loss, by rule; empty where nothing must.
    """

    ascertained: int
    eligible: int
    lost: int
    pending: int
    completeness: Proportion | None
    shown: Shown
    by_source: tuple[Part, ...]
    by_reason: tuple[Part, ...]
    examined: Count
    reported: int
    sentences: tuple[str, ...]


def follow_up(units: pd.DataFrame) -> FollowUp:
    """Completeness of one group of units.

    units: one row per unit, as `outcomes.unit_frame` gives them, no unit_key twice. Units to which the outcome does
    not apply, pending and censored ones are in no denominator.
    """
    every = count(units)
    eligible = units[units["status"].isin([Status.EVENT, Status.CLEAR, Status.LOST])]
    known = eligible[eligible["status"] != Status.LOST]
    shown = shown_by(len(eligible), every.patients)
    rated = shown in {Shown.FULL, Shown.HOLLOW}
    examined = _examined_only(known)
    return FollowUp(
        ascertained=every.ascertained,
        eligible=every.eligible,
        lost=every.lost,
        pending=every.pending,
        completeness=clustered(eligible, eligible["status"] != Status.LOST) if rated else None,
        shown=shown,
        by_source=_parts(known, "source", HowKnown),
        by_reason=_parts(eligible[eligible["status"] == Status.LOST], "loss_reason", LossReason),
        examined=examined,
        reported=len(known) - examined.ascertained,
        sentences=loss_sentences(every),
    )


def loss_sentences(found: Count) -> tuple[str, ...]:
    """What must be said about loss to follow-up; nothing where nobody is lost.

    Loss above 20 % of the eligible is serious by convention; above the event rate no rate is secure, because the lost
    could hold more events than were seen. Both are compared as shares: lost of eligible with events of ascertained.
    Definition "loss".
    """
    if not found.lost:
        return ()
    loss = found.lost / found.eligible
    said = f"{found.lost} of {found.eligible} eligible are lost to follow-up"
    sentences = []
    if loss > LOSS_LIMIT:
        sentences.append(f"Loss to follow-up above {LOSS_LIMIT * 100:.0f} %: {said}.")
    if not found.ascertained:
        sentences.append("No outcome is known, so nothing can be said about the rate.")
    elif loss > found.events / found.ascertained:
        sentences.append(f"The loss exceeds the event rate: {said}, {found.events} of {found.ascertained} known had "
                         "the event. The lost could change the picture; read the best and worst case.")  # fmt: skip
    return tuple(sentences)


def _examined_only(known: pd.DataFrame) -> Count:
    """Best and worst case are left out: those who only reported are not lost."""
    seen = count(known[known["examined"]], code="examined", label="Seen by a clinician")
    return replace(seen, best=None, worst=None)


def _parts(units: pd.DataFrame, column: str, terms: type[Term]) -> tuple[Part, ...]:
    """Every term keeps its line, so that an absent one reads 0; "not applicable" cannot occur here."""
    terms_here = [term for term in terms if term.value != "not_applicable"]
    return tuple(_part(term, units[units[column] == term.value]) for term in terms_here)


def _part(term: Term, units: pd.DataFrame) -> Part:
    return Part(term.value, term.label, len(units), tuple(units["unit_key"]))
