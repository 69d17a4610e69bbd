"""What was found, in words made from the stored answers. No database access: rows arrive fetched."""

from dataclasses import dataclass

from clinic.access.numbers import plain
from clinic.procedures.models import NailProcedure
from clinic.reviews.models import GRAVE_FIELDS, OTHER_FIELDS, SIGN_FIELDS, Review, SideFinding, ToeFinding
from clinic.vocabulary import review as words
from clinic.vocabulary import sites
from clinic.vocabulary.procedure import Answer
from clinic.vocabulary.sites import capital, part_name, part_of
from clinic.vocabulary.terms import label_of

SIGN_WORDS = {
    "spreading": "spreading redness",
    "swelling": "swelling",
    "warmth": "warmth",
    "tenderness": "tenderness",
    "odour": "odour",
    "lymphangitis": "red streaks",
    "wound_opened": "wound opened",
    "bone_signs": "sausage toe or bone reached by the probe",
    "unwell": "shivering, confused or very unwell",
}
OTHER_WORDS = {
    "over_granulation": "over-granulation",
    "skin_burn": "skin burn",
    "numbness": "numbness",
    "dusky": "toe dusky, white or cold",
    "altered_pain": "pain out of proportion, or altered colour, warmth or sweating",
    "pigment": "pigment",
}
ANTIBIOTIC_WORDS = {
    words.Antibiotic.NONE: "No antibiotic.",
    words.Antibiotic.OURS: "Antibiotic given by us.",
    words.Antibiotic.GP: "Antibiotic given by the GP.",
    words.Antibiotic.OTHER: "Antibiotic given elsewhere.",
    words.Antibiotic.NOT_ASSESSED: "Antibiotic not asked.",
}


def toe_name(nail: NailProcedure) -> str:
    """'Right 1st toe (hallux)'."""
    return capital(sites.toe_name(nail.foot, nail.toe))


def site(nail: NailProcedure) -> str:
    """'Right 1st toe (hallux), both sides'."""
    return f"{toe_name(nail)}, {part_name(part_of(nail.sides)) or 'no side'}"


def toe_sentence(finding: ToeFinding) -> str:
    """One line of the timeline for a toe at a review."""
    parts = [
        f"{label_of(words.Healing, finding.healing)}." if finding.healing != "not_assessed" else "Healing not assessed."
    ]
    parts.append(_signs(finding))
    parts.append(ANTIBIOTIC_WORDS[words.Antibiotic(finding.antibiotic)])
    parts.append("Pain not asked." if finding.pain is None else f"Pain {finding.pain}.")
    others = [OTHER_WORDS[name] for name in OTHER_FIELDS if getattr(finding, name) == Answer.YES]
    if others:
        parts.append(f"Also {', '.join(others)}.")
    if finding.untreated_side == words.UntreatedSide.INGROWTH:
        parts.append("Ingrowth at the untreated side, recorded apart.")
    return " ".join(parts)


def _signs(finding: ToeFinding) -> str:
    if finding.signs == words.Signs.NONE_SEEN:
        return "No signs of infection."
    if finding.signs == words.Signs.CANNOT_TELL:
        return "Signs of infection: cannot tell."
    if finding.signs == words.Signs.NOT_ASSESSED:
        return "Signs of infection not assessed."
    seen = [SIGN_WORDS[name] for name in (*SIGN_FIELDS, *GRAVE_FIELDS) if getattr(finding, name) == Answer.YES]
    if finding.fluid_colour not in {"none", "not_assessed"}:
        colour = label_of(words.FluidColour, finding.fluid_colour).lower()
        consistency = "" if finding.fluid_consistency in {"none", "not_assessed"} else f", {finding.fluid_consistency}"
        seen.append(f"{colour} wound fluid{consistency}")
    if finding.erythema_mm:
        seen.append(f"redness {finding.erythema_mm} mm")
    if finding.temperature_c is not None:
        seen.append(f"temperature {plain(finding.temperature_c)} °C")
    if finding.pulse is not None:
        seen.append(f"pulse {finding.pulse}")
    if finding.respiratory_rate is not None:
        seen.append(f"breathing rate {finding.respiratory_rate}")
    diagnosis = {
        words.Diagnosis.NONE: "; clinician: no infection",
        words.Diagnosis.NOT_ASSESSED: "; clinician's diagnosis not recorded",
    }.get(words.Diagnosis(finding.diagnosis), f"; clinician: {label_of(words.Diagnosis, finding.diagnosis).lower()}")
    return f"Signs: {', '.join(seen) or 'not itemised'}{diagnosis}."


def side_sentence(finding: SideFinding, side: str) -> str:
    """'Fibular (lateral) side: spicule, no symptoms, spicule clipped.'"""
    extent = {
        words.Extent.NONE: "no regrowth seen",
        words.Extent.NOT_ASSESSED: "regrowth not assessed",
        words.Extent.CANNOT_TELL: "regrowth: cannot tell",
        words.Extent.NOT_APPLICABLE: "regrowth not applicable (matrix not treated)",
    }.get(words.Extent(finding.extent), label_of(words.Extent, finding.extent).lower())
    symptoms = label_of(words.Symptoms, finding.symptoms).lower()
    symptoms = {"not asked": "symptoms not asked", "cannot tell": "symptoms: cannot tell"}.get(symptoms, symptoms)
    done = (
        ""
        if finding.retreatment in {"none", "not_assessed"}
        else f", {label_of(words.Retreatment, finding.retreatment).lower()}"
    )
    return f"{capital(part_name(side))}: {extent}, {symptoms}{done}."


@dataclass(frozen=True)
class HealedBetween:
    """Healing is known only between two reviews; days since the operation."""

    after_day: int
    by_day: int

    @property
    def sentence(self) -> str:
        if self.after_day == 0:
            return f"Healed by day {self.by_day}"
        return f"Healed between day {self.after_day} and day {self.by_day}"


def healed_between(findings: list[tuple[int, str]]) -> HealedBetween | None:
    """findings: (day, healing code) of one toe. The last 'not healed' before the first 'healed, dry'; None if never."""
    ordered = sorted(findings)
    healed = next((day for day, code in ordered if code == words.Healing.DRY), None)
    if healed is None:
        return None
    open_codes = {words.Healing.MOIST, words.Healing.NOT_HEALING}
    open_days = [day for day, code in ordered if code in open_codes and day < healed]
    return HealedBetween(max(open_days, default=0), healed)


def how_seen(review: Review) -> str:
    """'in person, the operator' or 'questionnaire, the patient's report'."""
    means = label_of(words.Means, review.means).lower()
    if review.observer == words.Observer.PATIENT:
        return f"{means}, the patient's report"
    observer = label_of(words.Observer, review.observer)
    return f"{means}, {observer[0].lower()}{observer[1:]}"
