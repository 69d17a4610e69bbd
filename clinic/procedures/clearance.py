"""What was settled before an operation: consent that names its sites, and flags that were dealt with.

A consent counts for one operation: once its toe was operated on, a later operation needs another one.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from clinic.access.numbers import say_day
from clinic.patients.models import Patient
from clinic.preparation.clearance import NO_ASSESSMENT, FlagState, newest_assessment, states_of
from clinic.preparation.matching import Mismatch, check_site, compare_intent, valid_on
from clinic.preparation.models import Assessment, Consent
from clinic.procedures.models import NailProcedure, Operation
from clinic.procedures.site_decision import SiteDecision
from clinic.vocabulary.preparation import FlagLevel
from clinic.vocabulary.procedure import Vasoconstrictor, VasoconstrictorKind
from clinic.vocabulary.sites import capital, part_of, site_name, small

WHO = "The operation names"
Treated = tuple[str, int, date]


@dataclass(frozen=True)
class Difference:
    """One way in which consent and operation differ, and the newest decision about exactly this."""

    fact: str
    decision: SiteDecision | None


@dataclass(frozen=True)
class SiteCheck:
    """One toe of an operation beside its consent. consent: the one that names exactly this site."""

    nail: NailProcedure
    place: str
    consent: Consent | None
    is_missing: bool
    differences: tuple[Difference, ...]

    @property
    def still_open(self) -> tuple[Difference, ...]:
        return tuple(each for each in self.differences if each.decision is None)


@dataclass(frozen=True)
class Clearance:
    """sites: of an operation on record. consents: those that count on the day. states: flags of the assessment."""

    on: date
    sites: tuple[SiteCheck, ...]
    consents: tuple[Consent, ...]
    assessment: Assessment | None
    states: tuple[FlagState, ...]

    @property
    def open_stops(self) -> list[FlagState]:
        return [state for state in self.states if state.is_open and state.flag.level == FlagLevel.STOP]

    @property
    def open_cautions(self) -> list[FlagState]:
        return [state for state in self.states if state.is_open and state.flag.level == FlagLevel.CAUTION]

    @property
    def shown_states(self) -> list[FlagState]:
        """All but notes, what is open first."""
        weighty = [state for state in self.states if state.flag.level != FlagLevel.NOTE]
        return sorted(weighty, key=lambda state: not state.is_open)

    @property
    def notes(self) -> list[FlagState]:
        return [state for state in self.states if state.flag.level == FlagLevel.NOTE]

    @property
    def is_settled(self) -> bool:
        return not self.obstacles() and not self.gaps()

    def obstacles(self) -> list[str]:
        """What a named clinician must decide before the operation can be signed."""
        found = [f"{site.place}: {each.fact}" for site in self.sites for each in site.still_open]
        return found + [f"{state.flag.level.label}, without a decision: {state.flag.fact}" for state in self.open_stops]

    def gaps(self) -> list[str]:
        """What is not on record; signing with it is possible, but said."""
        found = [f"Consent to the {small(site.place)}" for site in self.sites if site.is_missing]
        found += [
            f"Confirmation of the consent to the {small(site.place)} on the day"
            for site in self.sites
            if site.consent and site.consent.reconfirmed_on != self.on
        ]
        cautions = [state.flag for state in self.open_cautions]
        return found + [
            NO_ASSESSMENT.fact if flag == NO_ASSESSMENT else f"Acknowledgement of a caution: {flag.fact}"
            for flag in cautions
        ]


def clearance_of(operation: Operation) -> Clearance:
    """For an operation on record. A fixed number of statements."""
    on = operation.performed_on
    consents = usable(_consents(operation.patient), treated_before(operation.patient, without=operation), on)
    decisions = {(row.nail_procedure_id, row.fact): row for row in _decisions(operation)}
    doses = operation.doses.values_list("vasoconstrictor", flat=True)
    kinds = {Vasoconstrictor(code).kind for code in doses}
    narrows = bool(kinds & {VasoconstrictorKind.ADRENALINE, VasoconstrictorKind.FELYPRESSIN})
    sites = tuple(_site_check(nail, consents, decisions) for nail in operation.nail_procedures.all())
    return _clearance(operation.patient, on, sites, consents, vasoconstrictor=narrows)


def clearance_before(patient: Patient, on: date, consents: Sequence[Consent]) -> Clearance:
    """For an operation that is still being entered. consents: the usable ones."""
    return _clearance(patient, on, (), consents, vasoconstrictor=False)


def _clearance(
    patient: Patient, on: date, sites: tuple[SiteCheck, ...], consents: Sequence[Consent], *, vasoconstrictor: bool
) -> Clearance:
    assessment = newest_assessment(patient, on)
    states = [FlagState(NO_ASSESSMENT, None)]
    if assessment:
        states = states_of(assessment, on, vasoconstrictor=vasoconstrictor)
    return Clearance(on, sites, tuple(consents), assessment, tuple(states))


def _site_check(
    nail: NailProcedure, consents: Sequence[Consent], decisions: dict[tuple[int, str], SiteDecision]
) -> SiteCheck:
    part = part_of(nail.sides)
    consent, found = compared(consents, nail.foot, nail.toe, part, matrix_destroyed=nail.matrix_destroyed)
    missing = any(mismatch.differs == ("consent",) for mismatch in found)
    differences = () if missing else tuple(Difference(m.sentence, decisions.get((nail.pk, m.sentence))) for m in found)
    return SiteCheck(nail, capital(site_name(nail.foot, nail.toe, part)), consent, missing, differences)


def compared(
    consents: Sequence[Consent], foot: str, toe: int, part: str, *, matrix_destroyed: bool
) -> tuple[Consent | None, list[Mismatch]]:
    """The consent that names exactly this site, and how site or intent differ from what was consented to."""
    consent, mismatch = check_site(consents, foot, toe, part, who=WHO)
    if consent is None:
        return None, [mismatch] if mismatch else []
    intent = compare_intent(consent, matrix_destroyed=matrix_destroyed)
    return consent, [intent] if intent else []


def usable(consents: Iterable[Consent], treated: Iterable[Treated], on: date) -> list[Consent]:
    """Consents valid on that day whose toe no other operation has treated since; the newest first."""
    spent = list(treated)
    return [
        consent
        for consent in sorted(consents, key=lambda each: (each.discussed_on, each.pk), reverse=True)
        if valid_on(consent, on)
        and not any(
            (foot, toe) == (consent.foot, consent.toe) and consent.discussed_on <= day < on for foot, toe, day in spent
        )
    ]


def treated_before(patient: Patient, *, without: Operation | None) -> list[Treated]:
    """Foot, toe and day of the patient's other standing operations."""
    nails = NailProcedure.objects.filter(operation__patient=patient, operation__struck_at__isnull=True)
    others = nails.exclude(operation=without) if without else nails
    return list(others.values_list("foot", "toe", "operation__performed_on"))


def usable_for(patient: Patient, on: date, *, without: Operation | None) -> list[Consent]:
    return usable(_consents(patient), treated_before(patient, without=without), on)


def _consents(patient: Patient) -> list[Consent]:
    return list(patient.consents.standing().select_related("discussed_by", "reconfirmed_by"))


def _decisions(operation: Operation) -> Iterable[SiteDecision]:
    return operation.site_decisions.select_related("decided_by").order_by("decided_at", "pk")


def consent_dates(consent: Consent) -> str:
    """'talked about 3 Jun 2026, confirmed 10 Jun 2026'."""
    again = f"confirmed {say_day(consent.reconfirmed_on)}" if consent.reconfirmed_on else "not yet confirmed on the day"
    return f"talked about {say_day(consent.discussed_on)}, {again}"


def consent_words(consent: Consent) -> str:
    """The same, beginning with the site."""
    return f"{capital(site_name(consent.foot, consent.toe, consent.part))}; {consent_dates(consent)}"
