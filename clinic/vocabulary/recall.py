"""Words of following up: why somebody is not tried, what a patient answers, how a message fares."""

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Term


class Stop(Term):
    """Why nobody is tried. In this order of strength; each leaves the outcome unknown unless it is seen after all."""

    DIED = "died", "Has died", "Nobody is written to or called", s.OWN_DESIGN
    NO_CONTACT = "no_contact", "Wishes no contact", "The patient asked the practice not to get in touch", s.OWN_DESIGN
    MOVED = "moved", "Moved away", "Told at a contact, and not in touch since", s.OWN_DESIGN
    DECLINED = "declined", "Declined", "Wishes no more reviews, and has not been in touch since", s.OWN_DESIGN
    CLOSED = "closed", "Closed as lost", "Somebody closed it with a reason", s.OWN_DESIGN


class LinkReason(Term):
    """What a patient's link asks about."""

    SIX_MONTHS = "six_months", "6 months", "The review at six months", s.OWN_DESIGN
    TWELVE_MONTHS = "twelve_months", "12 months", "The review at twelve months", s.OWN_DESIGN
    PROBLEM = "problem", "A problem", "The patient told of a problem", s.OWN_DESIGN


class FluidSeen(Term):
    """What the patient sees at the wound, in the patient's words."""

    NONE = "none", "None, it is dry", "No fluid", s.OWN_DESIGN
    CLEAR = "clear", "A little clear fluid", "Thin and clear", s.OWN_DESIGN
    YELLOW = "yellow", "Yellow or smelly", "Coloured or with a smell; a sign to look at", s.COMMON_PRACTICE
    NOT_SURE = "not_sure", "Not sure", "The patient cannot say", s.OWN_DESIGN


class SeenAtSide(Term):
    """A patient's answer about one treated side."""

    NO = "no", "No", "Not there", s.OWN_DESIGN
    YES = "yes", "Yes", "There", s.OWN_DESIGN
    NOT_SURE = "not_sure", "Not sure", "The patient cannot say", s.OWN_DESIGN


class ReportFlag(Term):
    """What makes somebody look at a patient's report before the others."""

    SIGN_RED = "sign_red", "hot, very red or badly swollen", "A warning sign, ticked by the patient", s.COMMON_PRACTICE
    SIGN_LINES = "sign_lines", "red lines on the skin", "A warning sign, ticked by the patient", s.COMMON_PRACTICE
    SIGN_DARK = "sign_dark", "toe black, blue or numb", "A warning sign, ticked by the patient", s.NPSA_TOURNIQUET
    SIGN_SHAKY = "sign_shaky", "feels hot and shaky", "A warning sign, ticked by the patient", s.COMMON_PRACTICE
    YELLOW_FLUID = "yellow_fluid", "yellow or smelly fluid", "A sign of a possible infection", s.COMMON_PRACTICE
    HIGH_PAIN = "high_pain", "pain of 7 or more", "Severe pain, 7 to 10 of 10", s.COMMON_PRACTICE
    WROTE = "wrote", "wrote more", "The patient wrote a note; somebody has to read it", s.OWN_DESIGN
    WANTS_CALL = "wants_call", "wants a call", "The patient asks to be called", s.OWN_DESIGN
    SORE = "sore", "sore or catching", "A treated side hurts or catches", s.OWN_DESIGN
    NAIL_GROWS = "nail_grows", "nail growing back", "The patient sees nail where it was taken away", s.OWN_DESIGN

    @property
    def is_warning(self) -> bool:
        """To be looked at first, a note too, as nobody knows what it says; the others ask for an appointment."""
        return self.is_sign or self == ReportFlag.WROTE

    @property
    def is_sign(self) -> bool:
        """A sign for which the patient should call and not wait to be read."""
        return self in {*TICKED_SIGNS, ReportFlag.YELLOW_FLUID, ReportFlag.HIGH_PAIN}


TICKED_SIGNS = (ReportFlag.SIGN_RED, ReportFlag.SIGN_LINES, ReportFlag.SIGN_DARK, ReportFlag.SIGN_SHAKY)


class MessageKind(Term):
    INVITATION = "invitation", "Invitation", "Asks the patient to get in touch", s.OWN_DESIGN
    LINK = "link", "With link", "Holds the link to the patient's own report", s.OWN_DESIGN


class MessageState(Term):
    """Where a message stands. From `handing` on it is never sent again unless a person says so."""

    QUEUED = "queued", "Waiting", "To be sent at the next run", s.OWN_DESIGN
    CLAIMED = "claimed", "Taken up", "A run has taken it up; nothing has left yet", s.OWN_DESIGN
    HANDING = "handing", "Being handed over", "The mail server may or may not have it", s.OWN_DESIGN
    SENT = "sent", "Sent", "The mail server has taken it", s.OWN_DESIGN
    UNCLEAR = "unclear", "Perhaps sent", "The run ended before the mail server answered", s.OWN_DESIGN
    FAILED = "failed", "Not sent", "The mail server refused it, or could not be reached again and again", s.OWN_DESIGN
    DROPPED = "dropped", "Taken out", "No longer wanted when its turn came", s.OWN_DESIGN


class MessageFault(Term):
    """Why a message did not leave, or had to wait. Never what a server said: it may quote the address."""

    UNREACHABLE = "unreachable", "Mail server not reached", "No connection, or no answer in time", s.OWN_DESIGN
    LATER = "later", "Mail server asked to wait", "A temporary refusal", s.OWN_DESIGN
    REFUSED = "refused", "Address refused", "The mail server does not take this address or message", s.OWN_DESIGN
    NO_ADDRESS = "no_address", "No e-mail address", "The address was taken away meanwhile", s.OWN_DESIGN
    NO_ANSWER = "no_answer", "No answer to the text", "The text left, and no answer came", s.OWN_DESIGN
    BROKEN = "broken", "Fault of the program", "Something unforeseen; the program's log names its kind", s.OWN_DESIGN
    NOT_WANTED = "not_wanted", "Not wanted any more", "Booked, seen, stopped or tried otherwise meanwhile", s.OWN_DESIGN
