"""Words for the operation: where, how, with what."""

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Term


class Answer(Term):
    """A question that has a plain answer. The four are different everywhere."""

    YES = "yes", "Yes", "Asked or looked for, and present", s.OWN_DESIGN
    NO = "no", "No", "Asked or looked for, and absent", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN
    NOT_APPLICABLE = "not_applicable", "Not applicable", "The question does not arise here", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Sex(Term):
    FEMALE = "female", "Female", "As registered with the practice", s.COMMON_PRACTICE
    MALE = "male", "Male", "As registered with the practice", s.COMMON_PRACTICE
    OTHER = "other", "Other or undisclosed", "Neither of the above, or not disclosed", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Foot(Term):
    RIGHT = "right", "Right foot", "The patient's right foot", s.ANATOMY
    LEFT = "left", "Left foot", "The patient's left foot", s.ANATOMY


TOES = {1: "1st toe (hallux)", 2: "2nd toe", 3: "3rd toe", 4: "4th toe", 5: "5th toe"}


class NailSide(Term):
    """The treated side is the unit of the audit."""

    TIBIAL = "tibial", "Tibial (medial) side", "The nail edge towards the midline of the body", s.ANATOMY
    FIBULAR = "fibular", "Fibular (lateral) side", "The nail edge away from the midline of the body", s.ANATOMY
    WHOLE = "whole", "Whole nail", "The whole nail plate", s.ANATOMY


class Technique(Term):
    PNA_CHEMICAL = (
        "pna_chemical", "Partial nail avulsion with chemical matricectomy",
        "Strip of plate removed, agent to the lateral matrix horn", s.COMMON_PRACTICE,
    )  # fmt: skip
    PNA_ONLY = (
        "pna_only", "Partial nail avulsion without matricectomy",
        "Strip of plate removed, matrix left; regrowth is expected", s.COMMON_PRACTICE,
    )  # fmt: skip
    TNA_CHEMICAL = (
        "tna_chemical", "Total nail avulsion with chemical matricectomy",
        "Whole plate removed, agent to the whole matrix", s.COMMON_PRACTICE,
    )  # fmt: skip
    TNA_ONLY = (
        "tna_only", "Total nail avulsion without matricectomy",
        "Whole plate removed, matrix left; regrowth is expected", s.COMMON_PRACTICE,
    )  # fmt: skip
    WEDGE = (
        "wedge", "Wedge excision (Winograd)",
        "Plate strip, fold and matrix wedge excised, sutured", s.COMMON_PRACTICE,
    )  # fmt: skip
    MATRIX_EXCISION = (
        "matrix_excision", "Total matrix excision (Zadik)",
        "Excisional ablation of the whole matrix", s.COMMON_PRACTICE,
    )  # fmt: skip
    EXCISION_OTHER = (
        "excision_other", "Other excisional procedure",
        "Soft tissue excision with or without matrix; say whether matrix was destroyed", s.COMMON_PRACTICE,
    )  # fmt: skip
    ELECTRO = (
        "electro", "Electro- or radio-frequency matricectomy",
        "Matrix destroyed by heat from a hand-piece", s.COMMON_PRACTICE,
    )  # fmt: skip
    LASER = "laser", "CO2-laser matricectomy", "Matrix destroyed by laser", s.COMMON_PRACTICE
    COMBINED = (
        "combined", "Excision with chemical matricectomy",
        "Excision and agent in one procedure", s.COMMON_PRACTICE,
    )  # fmt: skip
    OTHER = "other", "Other technique", "Say which, and whether matrix was destroyed", s.COMMON_PRACTICE

    @property
    def takes_agent(self) -> bool:
        return self in {Technique.PNA_CHEMICAL, Technique.TNA_CHEMICAL, Technique.COMBINED}

    @property
    def destroys_matrix(self) -> bool | None:
        """True or False where the technique decides it; None where the operator must say."""
        if self in {Technique.PNA_ONLY, Technique.TNA_ONLY}:
            return False
        return None if self in {Technique.EXCISION_OTHER, Technique.OTHER} else True

    @property
    def fits_whole_nail(self) -> bool | None:
        """True: whole nail only; False: edges only; None: either."""
        if self in {Technique.TNA_CHEMICAL, Technique.TNA_ONLY, Technique.MATRIX_EXCISION}:
            return True
        return False if self in {Technique.PNA_CHEMICAL, Technique.PNA_ONLY, Technique.WEDGE} else None


class Agent(Term):
    PHENOL = "phenol", "Phenol", "Liquefied phenol applied to the matrix", s.PHARMACOPOEIA_PHENOL
    SODIUM_HYDROXIDE = "sodium_hydroxide", "Sodium hydroxide", "Sodium hydroxide solution", s.COMMON_PRACTICE
    TCA = "tca", "Trichloroacetic acid", "Trichloroacetic acid solution", s.COMMON_PRACTICE
    BCA = "bca", "Bichloroacetic acid", "Bichloroacetic acid solution", s.COMMON_PRACTICE
    OTHER = "other", "Other agent", "Say which", s.COMMON_PRACTICE
    NONE = "none", "None", "No chemical agent was applied", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class StrengthBasis(Term):
    W_W = "w_w", "% w/w", "Grams in 100 grams", s.PHARMACOPOEIA_PHENOL
    W_V = "w_v", "% w/v", "Grams in 100 millilitres", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Basis not recorded", "The strength was noted without its basis", s.OWN_DESIGN
    NOT_APPLICABLE = "not_applicable", "Not applicable", "No agent was applied", s.OWN_DESIGN


class Curettage(Term):
    NONE = "none", "None", "The matrix was not scraped", s.COMMON_PRACTICE
    BEFORE = "before", "Before the agent", "Matrix scraped before the agent", s.COMMON_PRACTICE
    AFTER = "after", "After the agent", "Matrix scraped after the agent", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Lavage(Term):
    NONE = "none", "None", "No irrigation after application", s.COMMON_PRACTICE
    ISOPROPYL = "isopropyl", "Isopropyl alcohol 70 %", "Irrigation with 70 % isopropyl alcohol", s.COMMON_PRACTICE
    ETHANOL = "ethanol", "Ethanol", "Irrigation with ethanol", s.COMMON_PRACTICE
    SALINE = "saline", "Saline", "Irrigation with saline", s.COMMON_PRACTICE
    CHLORHEXIDINE = "chlorhexidine", "Chlorhexidine in alcohol", "Irrigation with that mixture", s.COMMON_PRACTICE
    POLIHEXANIDE = "polihexanide", "Polihexanide", "Irrigation with polihexanide", s.COMMON_PRACTICE
    DILUTE_ACID = "dilute_acid", "Dilute acid", "Used after sodium hydroxide", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class LocalInfection(Term):
    """State of the toe before the first incision."""

    NONE = "none", "None", "No sign of infection before the operation", s.SURVEILLANCE_30_DAYS
    INFLAMED = "inflamed", "Inflammation only", "Redness or swelling without pus", s.COMMON_PRACTICE
    PURULENT = "purulent", "Pus", "Pus before the operation", s.SURVEILLANCE_30_DAYS
    SPREADING = "spreading", "Spreading redness", "Redness spreading from the toe", s.COMMON_PRACTICE
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN

    @property
    def present(self) -> bool:
        return self in {LocalInfection.PURULENT, LocalInfection.SPREADING}


class StageSystem(Term):
    HEIFETZ = "heifetz", "Heifetz", "Three stages, I to III", s.HEIFETZ_1937
    MOZENA = "mozena", "Mozena", "Stages I, IIa, IIb, III", s.MOZENA_2002
    MARTINEZ_NOVA = "martinez_nova", "Martínez-Nova", "Stages I, IIa, IIb, III, IV", s.MARTINEZ_NOVA_2007
    NONE = "none", "Not staged", "No stage was given", s.OWN_DESIGN


STAGES = {
    StageSystem.HEIFETZ: ("I", "II", "III"),
    StageSystem.MOZENA: ("I", "IIa", "IIb", "III"),
    StageSystem.MARTINEZ_NOVA: ("I", "IIa", "IIb", "III", "IV"),
    StageSystem.NONE: ("",),
}


class ConsentGiver(Term):
    PATIENT = "patient", "The patient", "The patient consented", s.COMMON_PRACTICE
    PARENT = "parent", "Parent or guardian", "Somebody with parental responsibility consented", s.COMMON_PRACTICE
    OTHER = "other", "Somebody else with authority", "Say who in the record", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class SiteOutcome(Term):
    """What was decided where consent and operation do not name the same. The words say it, they never advise it."""

    AGREED = (
        "agreed", "The patient agreed to what the operation names",
        "Agreed before the operation; the consent on record names something else", s.OWN_DESIGN,
    )  # fmt: skip
    MISWRITTEN = "miswritten", "The consent was written down wrongly", "What was said was right", s.OWN_DESIGN
    NOT_AGREED = (
        "not_agreed", "The operation was not what the patient agreed to",
        "It is recorded as it was done, and as an event", s.OWN_DESIGN,
    )  # fmt: skip


class Anaesthetic(Term):
    """Generic names only."""

    LIDOCAINE = "lidocaine", "Lidocaine", "Local anaesthetic", s.COMMON_PRACTICE
    MEPIVACAINE = "mepivacaine", "Mepivacaine", "Local anaesthetic", s.COMMON_PRACTICE
    PRILOCAINE = "prilocaine", "Prilocaine", "Local anaesthetic", s.COMMON_PRACTICE
    BUPIVACAINE = "bupivacaine", "Bupivacaine", "Local anaesthetic", s.COMMON_PRACTICE
    LEVOBUPIVACAINE = "levobupivacaine", "Levobupivacaine", "Local anaesthetic", s.COMMON_PRACTICE
    ROPIVACAINE = "ropivacaine", "Ropivacaine", "Local anaesthetic", s.COMMON_PRACTICE
    ARTICAINE = "articaine", "Articaine", "Local anaesthetic", s.COMMON_PRACTICE
    OTHER = "other", "Other", "Say which", s.COMMON_PRACTICE


# Per cent w/v in common use, ascending; common practice, no source. An agent of unknown name has no list.
STRENGTHS: Mapping[Anaesthetic, tuple[Decimal, ...]] = MappingProxyType(
    {
        Anaesthetic.LIDOCAINE: (Decimal("1"), Decimal("2")),
        Anaesthetic.MEPIVACAINE: (Decimal("2"), Decimal("3")),
        Anaesthetic.PRILOCAINE: (Decimal("1"), Decimal("3"), Decimal("4")),
        Anaesthetic.BUPIVACAINE: (Decimal("0.25"), Decimal("0.5"), Decimal("0.75")),
        Anaesthetic.LEVOBUPIVACAINE: (Decimal("0.25"), Decimal("0.5"), Decimal("0.75")),
        Anaesthetic.ROPIVACAINE: (Decimal("0.2"), Decimal("0.5"), Decimal("0.75"), Decimal("1")),
        Anaesthetic.ARTICAINE: (Decimal("4"),),
        Anaesthetic.OTHER: (),
    }
)


class VasoconstrictorKind(Term):
    """What limits distinguish: sources give one limit for all dilutions of a vasoconstrictor."""

    NONE = "none", "Plain", "Without vasoconstrictor", s.COMMON_PRACTICE
    ADRENALINE = "adrenaline", "With adrenaline", "With adrenaline (epinephrine)", s.COMMON_PRACTICE
    FELYPRESSIN = "felypressin", "With felypressin", "With felypressin", s.COMMON_PRACTICE


class Vasoconstrictor(Term):
    """What the ampoule holds beside the anaesthetic."""

    NONE = "none", "None", "Plain solution", s.COMMON_PRACTICE
    ADRENALINE_100 = (
        "adrenaline_100", "Adrenaline 1:100 000",
        "Adrenaline (epinephrine), 10 micrograms in 1 mL: 1 g in 100 000 mL", s.COMMON_PRACTICE,
    )  # fmt: skip
    ADRENALINE_200 = (
        "adrenaline_200", "Adrenaline 1:200 000",
        "Adrenaline (epinephrine), 5 micrograms in 1 mL: 1 g in 200 000 mL", s.COMMON_PRACTICE,
    )  # fmt: skip
    FELYPRESSIN = "felypressin", "Felypressin", "Solution with felypressin", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN

    @property
    def kind(self) -> VasoconstrictorKind | None:
        """None where nothing was recorded, which is not the same as plain."""
        return KIND_OF.get(self)


KIND_OF: Mapping[Vasoconstrictor, VasoconstrictorKind] = MappingProxyType(
    {
        Vasoconstrictor.NONE: VasoconstrictorKind.NONE,
        Vasoconstrictor.ADRENALINE_100: VasoconstrictorKind.ADRENALINE,
        Vasoconstrictor.ADRENALINE_200: VasoconstrictorKind.ADRENALINE,
        Vasoconstrictor.FELYPRESSIN: VasoconstrictorKind.FELYPRESSIN,
    }
)


class Tourniquet(Term):
    RING = "ring", "Ring tourniquet", "Single-use digital ring", s.COMMON_PRACTICE
    DRAIN_CLAMP = "drain_clamp", "Drain and clamp", "Soft drain held by a clamp", s.COMMON_PRACTICE
    BAND_CLAMP = "band_clamp", "Band and clamp", "Silicone band held by a clamp", s.COMMON_PRACTICE
    GLOVE_FINGER = "glove_finger", "Glove finger", "Cut from a glove; discouraged", s.NPSA_TOURNIQUET
    OTHER = "other", "Other", "Say which", s.COMMON_PRACTICE
    NONE = "none", "None used", "No tourniquet was applied", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class EventKind(Term):
    SIDE_MISMATCH = "side_mismatch", "Side mismatch noticed", "Stopped before the first incision", s.WHO_CHECKLIST
    WRONG_SITE = "wrong_site", "Wrong toe or side treated", "Another site than the patient agreed to", s.WHO_CHECKLIST
    TOURNIQUET_NOTICED = (
        "tourniquet_noticed", "Tourniquet noticed before leaving",
        "Found in place at the last check, before the patient left", s.NPSA_TOURNIQUET,
    )  # fmt: skip
    SKIN_BURN = "skin_burn", "Chemical burn of the skin", "Injury beyond the intended field", s.COMMON_PRACTICE
    VASOVAGAL = "vasovagal", "Vasovagal reaction", "Faint or near faint", s.COMMON_PRACTICE
    OSTEOMYELITIS = "osteomyelitis", "Bone infection", "Diagnosed after the operation", s.COMMON_PRACTICE
    TOXICITY_SIGNS = (
        "toxicity_signs", "Signs of toxicity after the anaesthetic",
        "Tingling around the mouth, metallic taste, ringing ears, dizziness, agitation, drowsiness, twitching, a fit, "
        "collapse, a slow or irregular heartbeat", s.LA_TOXICITY,
    )  # fmt: skip
    ALLERGIC_SIGNS = (
        "allergic_signs", "Severe allergic signs",
        "Difficulty breathing, a rash all over, low blood pressure", s.COMMON_PRACTICE,
    )  # fmt: skip
    AGENT_SPILL = "agent_spill", "Agent on other skin or in an eye", "Spilt beyond the toe", s.COMMON_PRACTICE
    AGENT_SIGNS = (
        "agent_signs", "Signs after the agent",
        "Dizziness, irregular heartbeat, dark urine or confusion", s.COMMON_PRACTICE,
    )  # fmt: skip
    EXPIRED_BATCH = "expired_batch", "Expired batch used", "Noticed during or after the operation", s.COMMON_PRACTICE
    OTHER = "other", "Other event", "Say which", s.COMMON_PRACTICE


class AmendmentKind(Term):
    """Why a signed record was opened again."""

    AMENDMENT = "amendment", "Amendment", "What was signed is changed; the old value stays readable", s.OWN_DESIGN
    LATE_ENTRY = "late_entry", "Late entry", "Something that belongs to the record is added afterwards", s.OWN_DESIGN
    STRUCK_OUT = "struck_out", "Struck out", "The whole record was entered by mistake", s.OWN_DESIGN


class Harm(Term):
    NEAR_MISS = "near_miss", "Near miss", "Noticed before it reached the patient", s.COMMON_PRACTICE
    NONE = "none", "No harm", "Reached the patient, no harm", s.COMMON_PRACTICE
    LOW = "low", "Low harm", "Extra observation or minor treatment", s.COMMON_PRACTICE
    MODERATE = "moderate", "Moderate harm", "Further treatment, significant but not permanent", s.COMMON_PRACTICE
    SEVERE = "severe", "Severe harm", "Permanent harm", s.COMMON_PRACTICE
