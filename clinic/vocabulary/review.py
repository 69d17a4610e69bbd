"""Words for what is found after the operation."""

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Term


class Origin(Term):
    """How the review came about; the largest bias in a regrowth audit hides here."""

    PLANNED = "planned", "Planned", "The practice asked for it", s.OWN_DESIGN
    PATIENT = "patient", "The patient asked", "The patient came or wrote because of a concern", s.OWN_DESIGN


class Observer(Term):
    """Who looked. 'Independent' is stated, never inferred."""

    OPERATOR = "operator", "The operator", "The person who operated", s.OWN_DESIGN
    COLLEAGUE = "colleague", "A colleague", "Another clinician of the practice", s.OWN_DESIGN
    INDEPENDENT = "independent", "Independent clinician", "Not involved in the operation, stated as such", s.OWN_DESIGN
    PATIENT = "patient", "The patient", "The patient's own report", s.OWN_DESIGN
    OTHER_PROVIDER = "other_provider", "Another provider", "A clinician outside the practice", s.OWN_DESIGN


class Means(Term):
    IN_PERSON = "in_person", "In person", "Examined face to face", s.OWN_DESIGN
    PHOTO = "photo", "Photograph", "Read from a photograph by a clinician", s.OWN_DESIGN
    PHONE = "phone", "Phone", "Asked by phone or video", s.OWN_DESIGN
    QUESTIONNAIRE = "questionnaire", "Questionnaire", "Written answers of the patient", s.OWN_DESIGN
    LETTER = "letter", "Other provider's letter", "Findings sent by another provider", s.OWN_DESIGN

    @property
    def is_examination(self) -> bool:
        """A clinician saw the toe, in the room or on a photograph."""
        return self in {Means.IN_PERSON, Means.PHOTO, Means.LETTER}


class Healing(Term):
    DRY = "dry", "Healed, dry", "Two dressing changes without wound fluid, skin closed or dry", s.OWN_DESIGN
    MOIST = "moist", "Healing, moist", "Closing, still some wound fluid", s.OWN_DESIGN
    NOT_HEALING = "not_healing", "Not healing", "Open without progress", s.OWN_DESIGN
    CANNOT_TELL = "cannot_tell", "Cannot tell", "Looked, but it could not be decided", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN


class Signs(Term):
    """The one-tap answer on infection. 'None seen' stores explicit values for each component."""

    NONE_SEEN = "none_seen", "No signs seen", "Every component looked for and absent", s.OWN_DESIGN
    SOME = "some", "Signs seen", "At least one component is recorded", s.OWN_DESIGN
    CANNOT_TELL = "cannot_tell", "Cannot tell", "Looked, but it could not be decided", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN


class FluidColour(Term):
    NONE = "none", "None", "No wound fluid", s.SURVEILLANCE_30_DAYS
    CLEAR = "clear", "Clear", "Clear fluid", s.SURVEILLANCE_30_DAYS
    STRAW = "straw", "Straw", "Straw-coloured serous fluid", s.SURVEILLANCE_30_DAYS
    YELLOW = "yellow", "Yellow", "Yellow fluid", s.SURVEILLANCE_30_DAYS
    GREEN = "green", "Green", "Green fluid", s.SURVEILLANCE_30_DAYS
    BLOOD = "blood", "Blood-stained", "Blood in the fluid", s.SURVEILLANCE_30_DAYS
    BROWN = "brown", "Brown", "Brown fluid", s.SURVEILLANCE_30_DAYS
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN


class FluidConsistency(Term):
    NONE = "none", "None", "No wound fluid", s.SURVEILLANCE_30_DAYS
    THIN = "thin", "Thin, watery", "Runs like water", s.SURVEILLANCE_30_DAYS
    THICK = "thick", "Thick", "Does not run", s.SURVEILLANCE_30_DAYS
    CREAMY = "creamy", "Creamy", "Like cream", s.SURVEILLANCE_30_DAYS
    MILKY = "milky", "Milky", "Like milk", s.SURVEILLANCE_30_DAYS
    OPAQUE = "opaque", "Opaque", "Light does not pass", s.SURVEILLANCE_30_DAYS
    VISCOUS = "viscous", "Viscous", "Draws threads", s.SURVEILLANCE_30_DAYS
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN


class FluidAmount(Term):
    DRY = "dry", "Dry", "No fluid on the dressing", s.COMMON_PRACTICE
    SPOTTING = "spotting", "Spotting", "Spots on the dressing", s.COMMON_PRACTICE
    MODERATE = "moderate", "Moderate", "More than spots", s.COMMON_PRACTICE
    SOAKED = "soaked", "Soaks the dressing", "Comes through", s.COMMON_PRACTICE
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN


class Swab(Term):
    NOT_TAKEN = "not_taken", "Not taken", "No specimen was taken", s.OWN_DESIGN
    PENDING = "pending", "Taken, result awaited", "Specimen sent", s.OWN_DESIGN
    NO_GROWTH = "no_growth", "No growth", "Nothing was cultured", s.OWN_DESIGN
    ORGANISM = "organism", "Organism grown", "An organism was cultured", s.SURVEILLANCE_30_DAYS
    ORGANISM_PUS = "organism_pus", "Organism and pus cells", "Cultured, with pus cells seen", s.SIGN_COUNT_30_DAYS
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN


class Antibiotic(Term):
    NONE = "none", "No antibiotic", "None since the last review", s.OWN_DESIGN
    OURS = "ours", "Given by us", "Prescribed or supplied by the practice", s.OWN_DESIGN
    GP = "gp", "Given by the GP", "Prescribed by the general practitioner", s.OWN_DESIGN
    OTHER = "other", "Given elsewhere", "Emergency department or other provider", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not asked", "Nobody asked", s.OWN_DESIGN

    @property
    def given(self) -> bool:
        return self in {Antibiotic.OURS, Antibiotic.GP, Antibiotic.OTHER}


class Diagnosis(Term):
    """What the clinician called it, apart from what the rules make of the signs."""

    NONE = "none", "No infection", "The clinician saw no infection", s.OWN_DESIGN
    SUPERFICIAL = "superficial", "Superficial infection", "Skin and subcutaneous tissue", s.SURVEILLANCE_30_DAYS
    DEEP = "deep", "Deep infection", "Deeper than the skin", s.SURVEILLANCE_30_DAYS
    CELLULITIS = "cellulitis", "Spreading cellulitis", "Spreading skin infection", s.COMMON_PRACTICE
    OSTEOMYELITIS = "osteomyelitis", "Bone infection", "Osteomyelitis", s.COMMON_PRACTICE
    NOT_ASSESSED = "not_assessed", "Not assessed", "No clinician judged it", s.OWN_DESIGN

    @property
    def infected(self) -> bool:
        return self not in {Diagnosis.NONE, Diagnosis.NOT_ASSESSED}


class PainState(Term):
    SCORED = "scored", "Scored", "A number from 0 to 10 was given", s.FARRAR_2001
    NOT_ASKED = "not_asked", "Not asked", "Nobody asked", s.OWN_DESIGN


class Extent(Term):
    """How much nail has come back at a treated side."""

    NONE = "none", "None seen", "No nail from the treated matrix", s.ROUNDING_COCHRANE
    SPICULE = "spicule", "Spicule", "Isolated spike of nail from the treated matrix", s.BOS_2007
    STRIP = "strip", "Partial strip", "Continuous strip, narrower than what was removed", s.OWN_DESIGN
    FULL = "full", "Full width", "As wide as what was removed", s.OWN_DESIGN
    SOME = "some", "Regrown, not graded", "Nail has come back; how much was not graded, as in a report", s.OWN_DESIGN
    CANNOT_TELL = "cannot_tell", "Cannot tell", "Looked, but it could not be decided", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN
    NOT_APPLICABLE = (
        "not_applicable", "Not applicable",
        "No matrix was destroyed, so growth is expected and was not graded", s.OWN_DESIGN,
    )  # fmt: skip

    @property
    def regrown(self) -> bool:
        return self in {Extent.SPICULE, Extent.STRIP, Extent.FULL, Extent.SOME}


class Symptoms(Term):
    """Symptoms at the treated side, asked whatever the regrowth."""

    NONE = "none", "No symptoms", "Asked, none", s.ROUNDING_COCHRANE
    PAIN = "pain", "Sore or catching", "Pain or catching only", s.OWN_DESIGN
    INGROWTH = "ingrowth", "Ingrowing, inflamed", "Nail grows in, the fold is inflamed", s.ROUNDING_COCHRANE
    INFECTED = "infected", "Infected", "Infection at the treated side", s.OWN_DESIGN
    CANNOT_TELL = "cannot_tell", "Cannot tell", "Asked, but it could not be decided", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not asked", "Nobody asked", s.OWN_DESIGN


class Retreatment(Term):
    NONE = "none", "None", "Nothing was done or planned", s.OWN_DESIGN
    CLIPPED = "clipped", "Spicule clipped", "Conservative care at this review", s.COMMON_PRACTICE
    PLANNED = "planned", "Re-operation planned", "Agreed, not yet done", s.OWN_DESIGN
    DONE = "done", "Re-operation done", "Second procedure on the same side for recurrence", s.OWN_DESIGN
    ELSEWHERE = "elsewhere", "Re-operated elsewhere", "Second procedure by another provider", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not asked", "Nobody asked", s.OWN_DESIGN


class UntreatedSide(Term):
    """New disease at the other edge is not recurrence; it is recorded apart."""

    NONE = "none", "Nothing new", "Looked, no ingrowth at the untreated side", s.OWN_DESIGN
    INGROWTH = "ingrowth", "Ingrowth at the untreated side", "New ingrowth, not a recurrence", s.OWN_DESIGN
    NOT_ASSESSED = "not_assessed", "Not assessed", "Nobody looked or asked", s.OWN_DESIGN
    NOT_APPLICABLE = "not_applicable", "Not applicable", "Both sides or the whole nail were treated", s.OWN_DESIGN


class Satisfaction(Term):
    VERY_SATISFIED = "very_satisfied", "Very satisfied", "Patient's word", s.COMMON_PRACTICE
    SATISFIED = "satisfied", "Satisfied", "Patient's word", s.COMMON_PRACTICE
    NEITHER = "neither", "Neither", "Patient's word", s.COMMON_PRACTICE
    DISSATISFIED = "dissatisfied", "Dissatisfied", "Patient's word", s.COMMON_PRACTICE
    VERY_DISSATISFIED = "very_dissatisfied", "Very dissatisfied", "Patient's word", s.COMMON_PRACTICE
    NOT_ASKED = "not_asked", "Not asked", "Nobody asked", s.OWN_DESIGN


class NextStep(Term):
    AS_PLANNED = "as_planned", "As scheduled", "The next review on the schedule", s.OWN_DESIGN
    SOONER = "sooner", "Sooner", "An extra review before the next scheduled one", s.OWN_DESIGN
    END_CLINIC = "end_clinic", "End clinic reviews", "No more visits; the 12-month contact stays planned", s.OWN_DESIGN


class ContactChannel(Term):
    PHONE = "phone", "Phone", "By phone", s.COMMON_PRACTICE
    LETTER = "letter", "Letter", "By letter", s.COMMON_PRACTICE
    TEXT = "text", "Text message", "By text message", s.COMMON_PRACTICE
    EMAIL = "email", "E-mail", "By e-mail", s.COMMON_PRACTICE
    IN_PERSON = "in_person", "In person", "At the practice", s.COMMON_PRACTICE


class ContactResult(Term):
    BOOKED = "booked", "Booked", "A review was booked", s.OWN_DESIGN
    SENT = "sent", "Sent", "A letter or message was sent; nobody has answered yet", s.OWN_DESIGN
    LEFT_MESSAGE = "left_message", "Left a message", "A message was left", s.OWN_DESIGN
    NO_ANSWER = "no_answer", "No answer", "Nobody answered", s.OWN_DESIGN
    WRONG_NUMBER = "wrong_number", "Wrong number", "The number is not the patient's", s.OWN_DESIGN
    DID_NOT_ATTEND = "did_not_attend", "Did not attend", "Booked, but the patient did not come", s.COMMON_PRACTICE
    DECLINED = "declined", "Declines", "The patient wishes no more reviews", s.OWN_DESIGN
    MOVED = "moved", "Moved away", "The patient lives elsewhere now", s.OWN_DESIGN
    DIED = "died", "Has died", "Told that the patient has died", s.OWN_DESIGN
    PROBLEM = "problem", "Reports a problem", "The patient reports a problem with the toe", s.OWN_DESIGN


class LossReason(Term):
    """Why the outcome of a mature operation is unknown; derived from the contact log."""

    NEVER_TRIED = "never_tried", "Never contacted", "No attempt is in the contact log", s.OWN_DESIGN
    NO_REPLY = "no_reply", "No reply", "Tried, without an answer", s.OWN_DESIGN
    DID_NOT_ATTEND = "did_not_attend", "Did not attend", "Booked, but did not come", s.COMMON_PRACTICE
    MOVED = "moved", "Moved", "Lives elsewhere now", s.OWN_DESIGN
    DECLINED = "declined", "Declined", "Wishes no more reviews", s.OWN_DESIGN
