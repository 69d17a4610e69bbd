"""Words for what is recorded before an operation: why, the risks, and the consent."""

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Term

# --- why


class Indication(Term):
    ONYCHOCRYPTOSIS = (
        "onychocryptosis", "Onychocryptosis (ingrowing nail)",
        "The nail edge grows into the fold, and conservative care has failed", s.ICD_10_L60,
    )  # fmt: skip
    PARONYCHIA = "paronychia", "Recurrent paronychia", "Infection of the nail fold that comes back", s.COMMON_PRACTICE
    INVOLUTED = "involuted", "Involuted (pincer) nail", "An over-curved nail with pain", s.COMMON_PRACTICE
    ONYCHOGRYPHOSIS = (
        "onychogryphosis", "Onychogryphosis or onychauxis",
        "A thickened or deformed nail with pain", s.COMMON_PRACTICE,
    )  # fmt: skip
    HYPERTROPHY = (
        "hypertrophy", "Hypertrophic fold or granulation",
        "Chronic overgrowth of the nail fold, or granulation tissue", s.COMMON_PRACTICE,
    )  # fmt: skip
    ONYCHOPHOSIS = "onychophosis", "Painful sulcus or corn", "A subungual corn or a painful sulcus", s.COMMON_PRACTICE
    TRAUMATIC = (
        "traumatic",
        "Injured or dystrophic nail",
        "A painful nail after injury, or dystrophy",
        s.COMMON_PRACTICE,
    )
    RECURRENCE = "recurrence", "Recurrence after nail surgery", "It came back after earlier surgery", s.COMMON_PRACTICE
    OTHER = "other", "Other", "Say which", s.COMMON_PRACTICE


class Conservative(Term):
    """What was tried before surgery."""

    CUTTING = "cutting", "Nail cutting and packing", "The edge was cut back or packed", s.COMMON_PRACTICE
    TAPING = "taping", "Taping", "The fold was taped away from the nail", s.COMMON_PRACTICE
    BRACING = "bracing", "Bracing", "A brace on the nail", s.COMMON_PRACTICE
    ANTIBIOTICS = "antibiotics", "Antibiotics", "Antibiotics for this toe", s.COMMON_PRACTICE
    OTHER = "other", "Other", "Say which in the note", s.COMMON_PRACTICE


class LookAlike(Term):
    """What can be mistaken for an ingrowing nail; a tick says that somebody thought of it."""

    EXOSTOSIS = "exostosis", "Exostosis or osteochondroma", "Bone growing under the nail", s.NAIL_HANDBOOK
    PYOGENIC_GRANULOMA = "pyogenic_granuloma", "Pyogenic granuloma", "A vascular tumour of the skin", s.COMMON_PRACTICE
    MALIGNANCY = (
        "malignancy", "Melanoma or squamous carcinoma",
        "A malignant tumour that looks like granulation which does not heal", s.COMMON_PRACTICE,
    )  # fmt: skip
    GLOMUS = "glomus", "Glomus tumour", "A painful tumour under the nail", s.COMMON_PRACTICE
    OSTEOMYELITIS = "osteomyelitis", "Bone infection", "Osteomyelitis in a long infection", s.COMMON_PRACTICE


class PriorSurgery(Term):
    """What was done to this nail before."""

    NONE = "none", "None", "Asked, nothing was done before", s.COMMON_PRACTICE
    CONSERVATIVE = "conservative", "Conservative only", "Treated without surgery", s.COMMON_PRACTICE
    AVULSION = "avulsion", "Avulsion", "Nail removed, matrix left", s.COMMON_PRACTICE
    CHEMICAL = "chemical", "Chemical matricectomy", "Nail removed, an agent applied to the matrix", s.COMMON_PRACTICE
    EXCISIONAL = "excisional", "Excisional surgery", "Tissue excised", s.COMMON_PRACTICE
    NOT_ASSESSED = "not_assessed", "Not asked", "Nobody asked", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN

    @property
    def treated(self) -> bool:
        return self not in {PriorSurgery.NONE, PriorSurgery.NOT_ASSESSED, PriorSurgery.NOT_RECORDED}


# --- blood supply and feeling, per foot


class Pulse(Term):
    PALPABLE = "palpable", "Palpable", "Felt", s.COMMON_PRACTICE
    NOT_PALPABLE = "not_palpable", "Not palpable", "Felt for, not found", s.COMMON_PRACTICE
    NOT_EXAMINED = "not_examined", "Not examined", "Nobody felt for it", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Doppler(Term):
    TRIPHASIC = "triphasic", "Triphasic", "Three phases heard", s.COMMON_PRACTICE
    BIPHASIC = "biphasic", "Biphasic", "Two phases heard", s.COMMON_PRACTICE
    MONOPHASIC = "monophasic", "Monophasic", "One phase heard", s.COMMON_PRACTICE
    NO_SIGNAL = "no_signal", "No signal", "Listened for, nothing heard", s.COMMON_PRACTICE
    NOT_EXAMINED = "not_examined", "Not examined", "Nobody listened", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


# --- the patient's health


class Diabetes(Term):
    NONE = "none", "None", "Asked, no diabetes", s.COMMON_PRACTICE
    TYPE_1 = "type_1", "Type 1", "Type 1 diabetes", s.COMMON_PRACTICE
    TYPE_2 = "type_2", "Type 2", "Type 2 diabetes", s.COMMON_PRACTICE
    OTHER = "other", "Other kind", "Another kind of diabetes", s.COMMON_PRACTICE
    NOT_ASSESSED = "not_assessed", "Not asked", "Nobody asked", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN

    @property
    def present(self) -> bool:
        return self in {Diabetes.TYPE_1, Diabetes.TYPE_2, Diabetes.OTHER}


class FootRisk(Term):
    """The category of the diabetic foot, as the practice's own protocol defines it."""

    LOW = "low", "Low", "Low risk", s.COMMON_PRACTICE
    MODERATE = "moderate", "Moderate", "Moderate risk", s.COMMON_PRACTICE
    HIGH = "high", "High", "High risk", s.COMMON_PRACTICE
    ACTIVE = "active", "Active foot disease", "An ulcer, infection or other active problem", s.COMMON_PRACTICE
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody judged it", s.OWN_DESIGN
    NOT_APPLICABLE = "not_applicable", "Not applicable", "No diabetes", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Hba1cUnit(Term):
    MMOL_MOL = "mmol_mol", "mmol/mol", "IFCC units", s.HBA1C_BEFORE_SURGERY
    PERCENT = "percent", "%", "NGSP units", s.HBA1C_BEFORE_SURGERY


class Antithrombotic(Term):
    ANTIPLATELET = "antiplatelet", "Antiplatelet", "Such as low-dose aspirin", s.ANTITHROMBOTICS_NAIL
    WARFARIN = "warfarin", "Warfarin", "Warfarin or another vitamin K antagonist", s.ANTITHROMBOTICS_NAIL
    DOAC = "doac", "Direct oral anticoagulant", "A direct thrombin or factor Xa inhibitor", s.ANTITHROMBOTICS_NAIL
    HEPARIN = "heparin", "Heparin", "Any heparin", s.ANTITHROMBOTICS_NAIL


class Immunosuppression(Term):
    NONE = "none", "None", "Asked, none", s.COMMON_PRACTICE
    STEROID = "steroid", "Steroid", "A steroid by mouth or injection", s.COMMON_PRACTICE
    BIOLOGIC = "biologic", "Biologic", "A biologic medicine", s.COMMON_PRACTICE
    CHEMOTHERAPY = "chemotherapy", "Chemotherapy", "Chemotherapy", s.COMMON_PRACTICE
    OTHER_MEDICINE = "other_medicine", "Another medicine", "Another medicine that suppresses it", s.COMMON_PRACTICE
    DISEASE = "disease", "By a disease", "A disease suppresses the immune system", s.COMMON_PRACTICE
    SEVERAL = "several", "More than one", "Say which in the note", s.COMMON_PRACTICE
    NOT_ASSESSED = "not_assessed", "Not asked", "Nobody asked", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN

    @property
    def present(self) -> bool:
        empty = {Immunosuppression.NONE, Immunosuppression.NOT_ASSESSED, Immunosuppression.NOT_RECORDED}
        return self not in empty


class Condition(Term):
    CARDIAC = "cardiac", "Heart disease", "Heart block, failure or rhythm disorder", s.LIDOCAINE_CAUTIONS
    EPILEPSY = "epilepsy", "Epilepsy", "Epilepsy", s.LIDOCAINE_CAUTIONS
    LIVER = "liver", "Liver disease", "Reduced function of the liver", s.LIDOCAINE_CAUTIONS
    RENAL = "renal", "Kidney disease", "Reduced function of the kidneys", s.LIDOCAINE_CAUTIONS
    MYASTHENIA = "myasthenia", "Myasthenia gravis", "Myasthenia gravis", s.LIDOCAINE_CAUTIONS
    PORPHYRIA = "porphyria", "Porphyria", "Acute porphyria", s.LIDOCAINE_CAUTIONS
    METHAEMOGLOBINAEMIA = (
        "methaemoglobinaemia", "Methaemoglobinaemia risk",
        "Known methaemoglobinaemia, or a risk of it", s.COMMON_PRACTICE,
    )  # fmt: skip
    RAYNAUD = "raynaud", "Raynaud's phenomenon", "Raynaud's phenomenon", s.COMMON_PRACTICE
    VASOSPASM = "vasospasm", "Other vasospasm", "Vasospasm, chilblains", s.COMMON_PRACTICE
    SICKLE_CELL = "sickle_cell", "Sickle cell disease", "Sickle cell disease or trait", s.COMMON_PRACTICE
    BUERGER = "buerger", "Buerger's disease", "Thromboangiitis obliterans", s.COMMON_PRACTICE
    CRPS = "crps", "CRPS", "Complex regional pain syndrome, now or earlier", s.COMMON_PRACTICE
    PROSTHETIC_JOINT = "prosthetic_joint", "Prosthetic joint", "An artificial joint", s.COMMON_PRACTICE
    HEART_VALVE = "heart_valve", "Prosthetic heart valve", "An artificial heart valve", s.COMMON_PRACTICE

    @property
    def changes_anaesthetic(self) -> bool:
        """The anaesthetic is broken down more slowly, or acts otherwise."""
        return self in {
            Condition.CARDIAC, Condition.EPILEPSY, Condition.LIVER, Condition.RENAL, Condition.MYASTHENIA,
            Condition.PORPHYRIA, Condition.METHAEMOGLOBINAEMIA,
        }  # fmt: skip

    @property
    def narrows_vessels(self) -> bool:
        return self in {Condition.RAYNAUD, Condition.VASOSPASM, Condition.SICKLE_CELL, Condition.BUERGER}

    @property
    def is_prosthesis(self) -> bool:
        return self in {Condition.PROSTHETIC_JOINT, Condition.HEART_VALVE}


class Allergen(Term):
    AMIDE = "amide", "Amide anaesthetic", "Lidocaine, mepivacaine, prilocaine and their kind", s.COMMON_PRACTICE
    ESTER = "ester", "Ester anaesthetic", "Procaine, tetracaine and their kind", s.COMMON_PRACTICE
    PHENOL = "phenol", "Phenol", "Phenol", s.COMMON_PRACTICE
    IODINE = "iodine", "Iodine", "Iodine or povidone-iodine", s.COMMON_PRACTICE
    CHLORHEXIDINE = "chlorhexidine", "Chlorhexidine", "Chlorhexidine", s.COMMON_PRACTICE
    LATEX = "latex", "Latex or rubber", "Latex or other rubber", s.COMMON_PRACTICE
    DRESSING = "dressing", "Adhesive dressing", "Adhesive or dressing", s.COMMON_PRACTICE
    ANTIBIOTIC = "antibiotic", "Antibiotic", "Say which in the note", s.COMMON_PRACTICE


class Reaction(Term):
    SEVERE = "severe", "Severe, whole body", "Breathing, circulation or collapse", s.COMMON_PRACTICE
    SWELLING = "swelling", "Swelling", "Swelling of face, lips or throat", s.COMMON_PRACTICE
    RASH = "rash", "Rash or hives", "General rash or hives", s.COMMON_PRACTICE
    CONTACT = "contact", "Contact dermatitis", "Skin inflamed where it touched", s.COMMON_PRACTICE
    SIDE_EFFECT = "side_effect", "Called a side effect", "Told as a side effect, not an allergy", s.COMMON_PRACTICE
    UNKNOWN = "unknown", "Reaction not known", "The patient does not know what happened", s.COMMON_PRACTICE


class Pregnancy(Term):
    """Answers about pregnancy, and about breastfeeding."""

    YES = "yes", "Yes", "Asked, yes", s.PREGNANCY_LEAFLETS
    NO = "no", "No", "Asked, no", s.PREGNANCY_LEAFLETS
    DECLINED = "declined", "Declined to answer", "Asked, and not answered", s.OWN_DESIGN
    NOT_APPLICABLE = "not_applicable", "Not applicable", "The question does not arise here", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not asked", "Nobody asked", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Tobacco(Term):
    NEVER = "never", "Never", "Never used tobacco", s.COMMON_PRACTICE
    EX = "ex", "Stopped", "Used tobacco earlier", s.COMMON_PRACTICE
    CURRENT = "current", "Uses tobacco", "Uses tobacco now", s.COMMON_PRACTICE
    NOT_ASSESSED = "not_assessed", "Not asked", "Nobody asked", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class WeightBasis(Term):
    MEASURED = "measured", "Measured", "On a scale", s.COMMON_PRACTICE
    STATED = "stated", "Stated by the patient", "The patient said so", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Topic(Term):
    """What a line of an assessment is about; each topic has its own codes."""

    INDICATION = "indication", "Further reason", "A reason beside the main one", s.OWN_DESIGN
    CONSERVATIVE = "conservative", "Tried before", "Conservative treatment before surgery", s.OWN_DESIGN
    LOOK_ALIKE = "look_alike", "Considered", "A look-alike that was considered", s.OWN_DESIGN
    ANTITHROMBOTIC = "antithrombotic", "Takes", "A medicine against clotting", s.OWN_DESIGN
    CONDITION = "condition", "Condition", "A condition that matters for the operation", s.OWN_DESIGN
    ALLERGY = "allergy", "Allergy", "An allergy or other reaction", s.OWN_DESIGN

    @property
    def terms(self) -> type[Term]:
        return CODES[self]


CODES: dict[Topic, type[Term]] = {
    Topic.INDICATION: Indication,
    Topic.CONSERVATIVE: Conservative,
    Topic.LOOK_ALIKE: LookAlike,
    Topic.ANTITHROMBOTIC: Antithrombotic,
    Topic.CONDITION: Condition,
    Topic.ALLERGY: Allergen,
}


# --- flags


class FlagLevel(Term):
    """In the order of weight."""

    STOP = "stop", "Stop and discuss", "No operation before a named clinician has entered a decision", s.OWN_DESIGN
    CAUTION = "caution", "Caution", "Somebody must acknowledge it, with a reason", s.OWN_DESIGN
    NOTE = "note", "Note", "Recorded and shown", s.OWN_DESIGN


class DecisionOutcome(Term):
    """What came of a flag. The words say what was decided, never what should be."""

    ACKNOWLEDGED = "acknowledged", "Acknowledged", "A caution was seen, with a reason", s.OWN_DESIGN
    PROCEED = "proceed", "Operate as planned", "A clinician decided so, with a reason", s.OWN_DESIGN
    CHANGED = "changed", "Operate with a change", "A clinician decided so; the reason says what changes", s.OWN_DESIGN
    POSTPONE = "postpone", "Not now", "A clinician decided to wait", s.OWN_DESIGN
    NOT_HERE = "not_here", "Not at this practice", "A clinician decided against it here", s.OWN_DESIGN

    @property
    def settles(self) -> bool:
        """Whether an operation may begin after it."""
        return self in {DecisionOutcome.ACKNOWLEDGED, DecisionOutcome.PROCEED, DecisionOutcome.CHANGED}


# --- consent


class ConsentIntent(Term):
    TEMPORARY = "temporary", "Temporary", "The nail may grow back; the matrix is left", s.COMMON_PRACTICE
    PERMANENT = "permanent", "Permanent", "The matrix is destroyed, so that nail does not grow back", s.COMMON_PRACTICE


class Interpreter(Term):
    NOT_NEEDED = "not_needed", "Not needed", "Patient and clinician share a language", s.COMMON_PRACTICE
    INTERPRETER = "interpreter", "Interpreter", "An interpreter took part", s.COMMON_PRACTICE
    FAMILY = "family", "Family or friend", "Somebody close to the patient interpreted", s.COMMON_PRACTICE
    NOT_THERE = "not_there", "Needed, none was there", "Say in the note how it was settled", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class ConsentPoint(Term):
    """What was talked about."""

    DIAGNOSIS = "diagnosis", "Diagnosis", "What is wrong with the toe", s.COMMON_PRACTICE
    PROCEDURE = "procedure", "Procedure, said back", "In the patient's own words", s.COMMON_PRACTICE
    SITE = "site", "Foot, toe and nail side", "Said by the patient", s.WHO_CHECKLIST
    INTENT = "intent", "Temporary or permanent", "Whether the matrix is destroyed", s.COMMON_PRACTICE
    ALTERNATIVES = "alternatives", "Other treatments", "What else could be done", s.COMMON_PRACTICE
    NO_TREATMENT = "no_treatment", "No treatment", "What happens if nothing is done", s.COMMON_PRACTICE
    BENEFITS = "benefits", "Benefits", "What the operation can give", s.COMMON_PRACTICE
    PAIN = "pain", "Pain", "Pain during and afterwards", s.CONSENT_LEAFLETS
    BLEEDING = "bleeding", "Bleeding", "Bleeding", s.CONSENT_LEAFLETS
    INFECTION = "infection", "Infection", "Infection", s.CONSENT_LEAFLETS
    SLOW_HEALING = "slow_healing", "Weeping and slow healing", "Weeks of wound fluid", s.CONSENT_LEAFLETS
    REGROWTH = "regrowth", "Regrowth", "The nail can grow back", s.CONSENT_LEAFLETS
    SKIN_BURN = "skin_burn", "Burn of the skin", "By the agent", s.CONSENT_LEAFLETS
    APPEARANCE = "appearance", "Narrower or altered nail", "The nail looks otherwise", s.CONSENT_LEAFLETS
    NUMBNESS = "numbness", "Numbness or sensitivity", "Feeling may change", s.COMMON_PRACTICE
    ANAESTHETIC = "anaesthetic", "Reaction to the anaesthetic", "Reaction to it", s.COMMON_PRACTICE
    ALLERGY = "allergy", "Allergy", "Allergic reaction", s.COMMON_PRACTICE
    FURTHER_SURGERY = "further_surgery", "Further surgery", "Another operation may follow", s.COMMON_PRACTICE
    RARE = "rare", "Rare harm", "Bone infection, loss of blood flow, lasting pain", s.COMMON_PRACTICE
    AFTERWARDS = "afterwards", "Driving, footwear, work", "What daily life allows afterwards", s.COMMON_PRACTICE
    AUDIT = "audit", "Use of data for audit", "An information, not a consent", s.COMMON_PRACTICE
    WITHDRAWAL = "withdrawal", "Right to withdraw", "Consent can be taken back", s.COMMON_PRACTICE
    CAPACITY = (
        "capacity", "Capacity or who decides",
        "Capacity, parental responsibility, or a minor competent to decide", s.COMMON_PRACTICE,
    )  # fmt: skip
