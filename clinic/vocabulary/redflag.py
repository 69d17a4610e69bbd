"""Red flags: what an entry may mean, how loud it is, and what was done about it. No text says what to do."""

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Term


class AlertLevel(Term):
    RED = "red", "Red flag", "Somebody must write down what was done", s.OWN_DESIGN
    AMBER = "amber", "Caution", "Shown until somebody has dealt with it", s.OWN_DESIGN


class Alert(Term):
    """One possible problem. The label names it in lists; the meaning is printed after "Possible problem:"."""

    TOURNIQUET_LEFT = (
        "tourniquet_left", "Tourniquet without its removal",
        "a tourniquet may still be on the toe", s.NPSA_TOURNIQUET,
    )  # fmt: skip
    TOURNIQUET_LONG = (
        "tourniquet_long", "Long tourniquet time",
        "harm to the toe from missing blood flow", s.COMMON_PRACTICE,
    )  # fmt: skip
    ISCHAEMIA = (
        "ischaemia", "Toe may lack blood",
        "the toe may lack blood, or a tourniquet or dressing may constrict it", s.NPSA_TOURNIQUET,
    )  # fmt: skip
    DOSE_ABOVE = (
        "dose_above", "Anaesthetic above the approved limit",
        "too much local anaesthetic for this patient", s.OWN_DESIGN,
    )  # fmt: skip
    DOSE_NEAR = (
        "dose_near", "Anaesthetic above 80 % of the approved limit",
        "little room is left below the approved limit", s.OWN_DESIGN,
    )  # fmt: skip
    ANAESTHETIC_TOXICITY = (
        "la_toxicity", "Signs after the anaesthetic",
        "systemic toxicity of the local anaesthetic; it can come late", s.LA_TOXICITY,
    )  # fmt: skip
    ANAPHYLAXIS = "anaphylaxis", "Severe allergic signs", "anaphylaxis", s.COMMON_PRACTICE
    AGENT_EXPOSURE = (
        "agent_exposure", "Much phenol",
        "more of the agent than usual may be taken up", s.COMMON_PRACTICE,
    )  # fmt: skip
    AGENT_TOXICITY = (
        "agent_toxicity", "Signs after the agent, or a spill",
        "harm from the agent beyond the matrix", s.COMMON_PRACTICE,
    )  # fmt: skip
    CELLULITIS = "cellulitis", "Infection may spread", "spreading infection of the skin", s.FOOT_INFECTION_GRADES
    SEPSIS = "sepsis", "Patient unwell", "sepsis", s.FOOT_INFECTION_GRADES
    BONE_INFECTION = "bone_infection", "Bone may be infected", "infection of the bone", s.COMMON_PRACTICE
    HIGH_RISK_FOOT = (
        "high_risk_foot", "Infection in a foot at risk",
        "an infection that may take a worse course in this patient", s.COMMON_PRACTICE,
    )  # fmt: skip
    PAIN_SYNDROME = (
        "pain_syndrome", "Unusual pain",
        "complex regional pain syndrome, or something that was overlooked", s.COMMON_PRACTICE,
    )  # fmt: skip
    NOT_HEALING = (
        "not_healing", "Not healed, or pigment",
        "something other than slow healing, such as a tumour or a foreign body", s.COMMON_PRACTICE,
    )  # fmt: skip
    EXPIRED = "expired", "Expired batch", "a product past its date was used", s.COMMON_PRACTICE
    SAFETY = (
        "safety", "Concern about the patient",
        "the patient may need protection, or somebody to decide with them", s.COMMON_PRACTICE,
    )  # fmt: skip

    @property
    def level(self) -> AlertLevel:
        return AlertLevel.AMBER if self in AMBER else AlertLevel.RED


AMBER = {
    Alert.DOSE_NEAR,
    Alert.AGENT_EXPOSURE,
    Alert.PAIN_SYNDROME,
    Alert.NOT_HEALING,
    Alert.SAFETY,
}


class AlertOrigin(Term):
    """Which entry raised it."""

    OPERATION = "operation", "The operation", "Entered with the operation or in the room", s.OWN_DESIGN
    REVIEW = "review", "A review", "Found at a review", s.OWN_DESIGN
    CONTACT = "contact", "A contact", "Told by the patient or somebody for them", s.OWN_DESIGN


class AlertAction(Term):
    """What was done. Said after the fact; nothing here is a recommendation."""

    EXAMINED = "examined", "Looked at the patient again", "What was found stands in the words", s.OWN_DESIGN
    TOLD = "told", "Told a licensed clinician", "Who, and when, stands in the words", s.OWN_DESIGN
    PROTOCOL = "protocol", "Followed the local protocol", "Which part stands in the words", s.OWN_DESIGN
    HANDED_OVER = "handed_over", "Handed over to another service", "To whom stands in the words", s.OWN_DESIGN
    NOT_SO = "not_so", "Found not to be so", "Looked into, and why it is not so stands in the words", s.OWN_DESIGN


class Reported(Term):
    """What the patient tells at a contact, in words that reception can ask."""

    NOTHING = "nothing", "Nothing of these", "Asked, none of these", s.OWN_DESIGN
    DARK_OR_NUMB = (
        "dark_or_numb", "Toe dark, white, cold or still numb",
        "Told by the patient; nobody has looked", s.NPSA_TOURNIQUET,
    )  # fmt: skip
    SPREADING = "spreading", "Spreading redness or fever", "Told by the patient; nobody has looked", s.COMMON_PRACTICE
    UNWELL = "unwell", "Very unwell, shivering or confused", "Told by the patient or for them", s.COMMON_PRACTICE
    CHILD_ALONE = "child_alone", "A child under 16 called alone", "Nobody else was on the line", s.COMMON_PRACTICE
    CONCERN = "concern", "Concern about the patient's safety", "Somebody is worried about them", s.COMMON_PRACTICE
    NOT_ASKED = "not_asked", "Not asked", "Nobody asked", s.OWN_DESIGN
