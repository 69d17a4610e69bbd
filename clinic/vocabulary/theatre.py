"""Terms of the operation as it happens: checklist, times, tourniquet, end of the operation."""

from dataclasses import dataclass

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Term


class Phase(Term):
    """The three phases of the safer-surgery checklist."""

    BEFORE_ANAESTHESIA = "before_anaesthesia", "Before anaesthesia", "Before the first injection", s.WHO_CHECKLIST
    BEFORE_INCISION = "before_incision", "Before incision", "Before the nail is cut", s.WHO_CHECKLIST
    BEFORE_LEAVING = "before_leaving", "Before leaving the room", "While the patient is in the room", s.WHO_CHECKLIST


class PhaseTiming(Term):
    LIVE = "live", "At the time", "Gone through when it was due", s.WHO_CHECKLIST
    AFTERWARDS = "afterwards", "Completed afterwards", "Filled in later; it could stop nothing then", s.OWN_DESIGN


class CheckAnswer(Term):
    YES = "yes", "Yes", "Checked and so", s.WHO_CHECKLIST
    NO = "no", "No", "Checked and not so; the note says what was done", s.OWN_DESIGN
    NOT_APPLICABLE = "not_applicable", "Not applicable", "Cannot apply to this operation", s.OWN_DESIGN


@dataclass(frozen=True)
class CheckItem:
    """One line of the checklist: a code that never changes and the wording that a practice may set."""

    code: str
    phase: Phase
    wording: str


CHECK_ITEMS = (
    CheckItem("identity", Phase.BEFORE_ANAESTHESIA, "Name and date of birth asked and matched"),
    CheckItem("consent", Phase.BEFORE_ANAESTHESIA, "Consent is on record and confirmed today"),
    CheckItem("site_stated", Phase.BEFORE_ANAESTHESIA, "The patient says foot, toe and side; it matches the record"),
    CheckItem("site_marked", Phase.BEFORE_ANAESTHESIA, "Toe or foot is marked, not the nail to be removed"),
    CheckItem("allergies", Phase.BEFORE_ANAESTHESIA, "Allergies read aloud"),
    CheckItem("medicines", Phase.BEFORE_ANAESTHESIA, "Medicines, blood thinners and pregnancy checked"),
    CheckItem("perfusion", Phase.BEFORE_ANAESTHESIA, "Blood supply of the foot checked"),
    CheckItem("weight", Phase.BEFORE_ANAESTHESIA, "Weight and the limit of the anaesthetic known"),
    CheckItem("emergency", Phase.BEFORE_ANAESTHESIA, "Everybody knows where the emergency kit is"),
    CheckItem("ampoule", Phase.BEFORE_ANAESTHESIA, "Agent, strength, batch and expiry read from the ampoule"),
    CheckItem("team", Phase.BEFORE_INCISION, "Everybody in the room is known by name and role"),
    CheckItem("site_repeated", Phase.BEFORE_INCISION, "Foot, toe, side and procedure said again"),
    CheckItem("numb", Phase.BEFORE_INCISION, "The block was tested and works"),
    CheckItem("tourniquet_time", Phase.BEFORE_INCISION, "Tourniquet time said aloud, or none used"),
    CheckItem("agent_plan", Phase.BEFORE_INCISION, "Agent, strength and planned applications said aloud"),
    CheckItem("sterile", Phase.BEFORE_INCISION, "The pack is sterile"),
    CheckItem("tourniquet_off", Phase.BEFORE_LEAVING, "The tourniquet is off and was shown, or none was used"),
    CheckItem("blood_flow", Phase.BEFORE_LEAVING, "Blood flow has returned to the toe"),
    CheckItem("count", Phase.BEFORE_LEAVING, "Instruments, swabs, needles and tourniquet are complete"),
    CheckItem("skin", Phase.BEFORE_LEAVING, "The skin was inspected for the agent"),
    CheckItem("dressing", Phase.BEFORE_LEAVING, "The dressing does not constrict"),
    CheckItem("aftercare", Phase.BEFORE_LEAVING, "Aftercare given in words and in writing"),
    CheckItem("emergency_number", Phase.BEFORE_LEAVING, "The emergency number was given"),
    CheckItem("next_visit", Phase.BEFORE_LEAVING, "The next appointment is made"),
)


class MarkKind(Term):
    """A moment of the operation that somebody tapped."""

    INJECTED = "injected", "Injected", "The anaesthetic was injected", s.COMMON_PRACTICE
    TESTED = "tested", "Block tested", "The block was tested", s.COMMON_PRACTICE
    TOURNIQUET_ON = "tourniquet_on", "Tourniquet on", "The tourniquet was tightened", s.NPSA_TOURNIQUET
    TOURNIQUET_OFF = "tourniquet_off", "Tourniquet off", "The tourniquet was taken off", s.NPSA_TOURNIQUET
    APPLICATION_START = "application_start", "Application began", "The agent touched the matrix", s.COMMON_PRACTICE
    APPLICATION_STOP = "application_stop", "Application ended", "The agent was taken away", s.COMMON_PRACTICE


class BlockResult(Term):
    EFFECTIVE = "effective", "Effective", "No sharp feeling at the toe", s.COMMON_PRACTICE
    PARTIAL = "partial", "Partial", "Sharp feeling at a part of the toe", s.COMMON_PRACTICE
    FAILED = "failed", "Failed", "The toe was not numb", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class ToeColour(Term):
    PINK = "pink", "Pink", "Blood flow is seen", s.COMMON_PRACTICE
    PALE = "pale", "Pale", "Paler than the other toes", s.COMMON_PRACTICE
    DUSKY = "dusky", "Dusky or blue", "Darker than the other toes", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Haemostasis(Term):
    PRESSURE = "pressure", "Pressure", "Pressure alone", s.COMMON_PRACTICE
    ALGINATE = "alginate", "Alginate", "Alginate left on the wound", s.COMMON_PRACTICE
    SILVER_NITRATE = "silver_nitrate", "Silver nitrate", "Touched with silver nitrate", s.COMMON_PRACTICE
    FERRIC = "ferric", "Ferric subsulfate", "Ferric subsulfate solution", s.COMMON_PRACTICE
    ALUMINIUM = "aluminium", "Aluminium chloride", "Aluminium chloride solution", s.COMMON_PRACTICE
    ELECTRO = "electro", "Electrocautery", "Electrocautery", s.COMMON_PRACTICE
    SUTURE = "suture", "Suture", "Closed by suture", s.COMMON_PRACTICE
    NONE = "none", "None needed", "No measure was needed", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Dressing(Term):
    """Classes, never brands."""

    NON_ADHERENT = "non_adherent", "Non-adherent layer", "Contact layer that does not stick", s.COMMON_PRACTICE
    ALGINATE = "alginate", "Alginate", "Alginate dressing", s.COMMON_PRACTICE
    HYDROFIBRE = "hydrofibre", "Hydrofibre", "Hydrofibre dressing", s.COMMON_PRACTICE
    FOAM = "foam", "Foam", "Foam dressing", s.COMMON_PRACTICE
    HYDROGEL = "hydrogel", "Hydrogel", "Hydrogel dressing", s.COMMON_PRACTICE
    IODINE = "iodine", "Povidone-iodine layer", "Impregnated with povidone-iodine", s.COMMON_PRACTICE
    HONEY = "honey", "Honey", "Honey dressing", s.COMMON_PRACTICE
    SILVER = "silver", "Silver", "Silver dressing", s.COMMON_PRACTICE
    GAUZE = "gauze", "Plain gauze", "Plain gauze", s.COMMON_PRACTICE
    OTHER = "other", "Other", "Say which in the note", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class OuterDressing(Term):
    TUBULAR = "tubular", "Tubular gauze", "Tubular gauze", s.COMMON_PRACTICE
    CONFORMING = "conforming", "Conforming bandage", "Conforming bandage", s.COMMON_PRACTICE
    COHESIVE = "cohesive", "Cohesive bandage", "Cohesive bandage", s.COMMON_PRACTICE
    NONE = "none", "None", "No outer dressing", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Aftercare(Term):
    SPOKEN_AND_WRITTEN = "both", "Spoken and written", "Explained and handed over in writing", s.COMMON_PRACTICE
    SPOKEN = "spoken", "Spoken only", "Explained, nothing in writing", s.COMMON_PRACTICE
    WRITTEN = "written", "Written only", "Handed over in writing", s.COMMON_PRACTICE
    NOT_GIVEN = "not_given", "Not given", "Say why in the note", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN


class Route(Term):
    """How the anaesthetic was placed."""

    DIGITAL_BLOCK = "digital_block", "Digital block", "At the base of the toe", s.COMMON_PRACTICE
    TRANSTHECAL = "transthecal", "Transthecal block", "Into the flexor sheath", s.COMMON_PRACTICE
    INFILTRATION = "infiltration", "Local infiltration", "Around the nail fold", s.COMMON_PRACTICE
    ANKLE = "ankle", "Ankle or tibial block", "At the ankle", s.COMMON_PRACTICE
    NOT_RECORDED = "not_recorded", "Not recorded", "Nothing was written down", s.OWN_DESIGN
