"""Django looks for models here; each slice keeps its own."""

from clinic.access.models import Draft, Member, Practice, SignInThrottle, Submission, UploadTry
from clinic.dosing.models import DoseLimit
from clinic.handover.models import Handover
from clinic.patients.identity import Identity, NameDigest
from clinic.patients.models import Patient
from clinic.photographs.models import Photograph
from clinic.planning.models import FollowUp, PlannedSchedule
from clinic.practice.models import OperationTemplate
from clinic.preparation.models import (
    AssessedToe,
    Assessment,
    AssessmentItem,
    Consent,
    ConsentElement,
    FlagDecision,
    FootFinding,
)
from clinic.procedures.models import (
    Amendment,
    AnaestheticDose,
    Application,
    NailProcedure,
    Operation,
    OperationEvent,
    TreatedSide,
)
from clinic.procedures.site_decision import SiteDecision
from clinic.recall.models import CalendarAddress, Closure
from clinic.redflags.models import RedFlag, RedFlagSeen
from clinic.reminders.models import Message, TextApproval
from clinic.reports.models import PatientReport, ReportedToe, ReportLink
from clinic.reviews.models import Booking, Contact, Review, SideFinding, ToeFinding
from clinic.theatre.models import CheckedItem, ChecklistPhase, Mark

__all__ = [
    "Amendment",
    "AnaestheticDose",
    "Application",
    "AssessedToe",
    "Assessment",
    "AssessmentItem",
    "Booking",
    "CalendarAddress",
    "CheckedItem",
    "ChecklistPhase",
    "Closure",
    "Consent",
    "ConsentElement",
    "Contact",
    "DoseLimit",
    "Draft",
    "FlagDecision",
    "FollowUp",
    "FootFinding",
    "Handover",
    "Identity",
    "Mark",
    "Member",
    "Message",
    "NailProcedure",
    "NameDigest",
    "Operation",
    "OperationEvent",
    "OperationTemplate",
    "Patient",
    "PatientReport",
    "Photograph",
    "PlannedSchedule",
    "Practice",
    "RedFlag",
    "RedFlagSeen",
    "ReportLink",
    "ReportedToe",
    "Review",
    "SideFinding",
    "SignInThrottle",
    "SiteDecision",
    "Submission",
    "TextApproval",
    "ToeFinding",
    "TreatedSide",
    "UploadTry",
]
