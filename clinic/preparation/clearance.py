"""Whether what the newest assessment raised has been dealt with: which flags of a patient are still open."""

from dataclasses import dataclass
from datetime import date

from clinic.patients.models import Patient
from clinic.preparation.facts import Facts, FootFacts, ToeFacts
from clinic.preparation.flags import Flag, Limits, flags_of
from clinic.preparation.models import Assessment, FlagDecision
from clinic.preparation.thresholds import DEFAULTS
from clinic.vocabulary.preparation import DecisionOutcome, FlagLevel, Topic
from clinic.vocabulary.procedure import Answer
from clinic.vocabulary.sources import OWN_DESIGN

NO_ASSESSMENT = Flag(
    "no_assessment", FlagLevel.CAUTION, "No assessment before this day is recorded", "a risk may be unknown", OWN_DESIGN
)
FOOT_FACTS = (
    "foot", "dorsalis_pedis", "posterior_tibial", "doppler", "abpi", "toe_pressure", "tbi", "ankle_pressure",
    "monofilament_sites",
)  # fmt: skip
TOE_FACTS = ("foot", "toe", "infection", "bone_infection", "prior_surgery")
OWN_FACTS = (
    "weight_kg", "diabetes", "foot_risk", "hba1c", "hba1c_unit", "hba1c_on", "inr", "inr_on", "immunosuppression",
    "pregnancy", "breastfeeding", "tobacco", "allergy_words",
)  # fmt: skip


@dataclass(frozen=True)
class FlagState:
    """A flag, and the newest decision about exactly this fact, if there is one."""

    flag: Flag
    decision: FlagDecision | None

    @property
    def is_open(self) -> bool:
        if self.flag.level == FlagLevel.NOTE:
            return False
        return self.decision is None or not DecisionOutcome(self.decision.outcome).settles


def facts_of(assessment: Assessment, on: date) -> Facts:
    """Reads what `with_parts` fetched. The age is that on `on`."""
    answers = {topic: lines_of(assessment, topic) for topic in (Topic.CONDITION, Topic.ANTITHROMBOTIC)}
    allergies = {
        item.code: item.reaction
        for item in assessment.items.all()
        if item.topic == Topic.ALLERGY and item.answer == Answer.YES
    }
    return Facts(
        age_years=assessment.patient.identity.age_on(on),
        feet=tuple(FootFacts(**{name: getattr(foot, name) for name in FOOT_FACTS}) for foot in assessment.feet.all()),
        toes=tuple(ToeFacts(**{name: getattr(toe, name) for name in TOE_FACTS}) for toe in assessment.toes.all()),
        conditions=answers[Topic.CONDITION],
        antithrombotics=answers[Topic.ANTITHROMBOTIC],
        allergies=allergies,
        **{name: getattr(assessment, name) for name in OWN_FACTS},
    )


def lines_of(assessment: Assessment, topic: Topic) -> dict[str, str]:
    """The answer to each code of a topic."""
    return {item.code: item.answer for item in assessment.items.all() if item.topic == topic}


def states_of(
    assessment: Assessment, on: date, *, thresholds: Limits = DEFAULTS, vasoconstrictor: bool = False
) -> list[FlagState]:
    """The flags of an assessment for an operation on that day, each with what was decided about it."""
    flags = flags_of(facts_of(assessment, on), on=on, thresholds=thresholds, vasoconstrictor=vasoconstrictor)
    newest = {(each.code, each.level, each.fact): each for each in assessment.decisions.all()}
    return [FlagState(flag, newest.get((flag.code, flag.level, flag.fact))) for flag in flags]


def newest_assessment(patient: Patient, on: date) -> Assessment | None:
    """The last standing assessment made by that day; with its parts, five queries."""
    standing = patient.assessments.standing().filter(assessed_on__lte=on)
    return standing.with_parts().order_by("-assessed_on", "-pk").first()


def open_flags(
    patient: Patient, on: date, *, thresholds: Limits = DEFAULTS, vasoconstrictor: bool = False
) -> list[Flag]:
    """What still has to be acknowledged or decided before an operation on that day may begin; empty when nothing.

    Without an assessment there is one flag that says so, code `no_assessment`: it is settled by an assessment, since
    there is none that a decision could belong to.
    """
    assessment = newest_assessment(patient, on)
    if assessment is None:
        return [NO_ASSESSMENT]
    states = states_of(assessment, on, thresholds=thresholds, vasoconstrictor=vasoconstrictor)
    return [state.flag for state in states if state.is_open]
