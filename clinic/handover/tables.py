"""Every record of a practice as plain tables: for its own use, with names, never for peer review."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from django.db import models

from clinic.access.models import Practice
from clinic.patients.identity import Identity
from clinic.patients.models import Patient
from clinic.photographs.models import Photograph
from clinic.planning.models import FollowUp, PlannedSchedule
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
from clinic.recall.models import Closure
from clinic.redflags.models import RedFlag, RedFlagSeen
from clinic.reminders.models import Message
from clinic.reports.models import PatientReport, ReportedToe
from clinic.reviews.models import Booking, Contact, Review, SideFinding, ToeFinding
from clinic.theatre.models import CheckedItem, ChecklistPhase, Mark

# Name of the table, model, path to the practice.
TABLES: tuple[tuple[str, type[models.Model], str], ...] = (
    ("patients", Patient, "practice"),
    ("identities", Identity, "patient__practice"),
    ("assessments", Assessment, "patient__practice"),
    ("assessed_feet", FootFinding, "assessment__patient__practice"),
    ("assessed_toes", AssessedToe, "assessment__patient__practice"),
    ("assessment_items", AssessmentItem, "assessment__patient__practice"),
    ("flag_decisions", FlagDecision, "assessment__patient__practice"),
    ("consents", Consent, "patient__practice"),
    ("consent_points", ConsentElement, "consent__patient__practice"),
    ("operations", Operation, "practice"),
    ("nail_procedures", NailProcedure, "operation__practice"),
    ("treated_sides", TreatedSide, "nail_procedure__operation__practice"),
    ("applications", Application, "treated_side__nail_procedure__operation__practice"),
    ("anaesthetic_doses", AnaestheticDose, "operation__practice"),
    ("operation_events", OperationEvent, "operation__practice"),
    ("amendments", Amendment, "operation__practice"),
    ("site_decisions", SiteDecision, "operation__practice"),
    ("times", Mark, "operation__practice"),
    ("checklist", ChecklistPhase, "operation__practice"),
    ("checked_items", CheckedItem, "phase__operation__practice"),
    ("red_flags", RedFlag, "operation__practice"),
    ("red_flags_seen", RedFlagSeen, "flag__operation__practice"),
    ("reviews", Review, "operation__practice"),
    ("toe_findings", ToeFinding, "review__operation__practice"),
    ("side_findings", SideFinding, "review__operation__practice"),
    ("bookings", Booking, "operation__practice"),
    ("contacts", Contact, "operation__practice"),
    ("photographs", Photograph, "nail_procedure__operation__practice"),
    ("patient_reports", PatientReport, "review__operation__practice"),
    ("reported_toes", ReportedToe, "report__review__operation__practice"),
    ("follow_up_settings", FollowUp, "practice"),
    ("planned_schedules", PlannedSchedule, "operation__practice"),
    ("closures", Closure, "operation__practice"),
    ("messages", Message, "operation__practice"),
)
# What stays, and why; every other model of the clinic is a table above.
NOT_TAKEN: Mapping[str, str] = MappingProxyType(
    {
        "CalendarAddress": "a secret of a member, kept as a digest",
        "DoseLimit": "a setting of this program, not a record of a patient",
        "Draft": "typed and not saved, so no record",
        "Handover": "the log of these very files",
        "Member": "people who work here and their passwords",
        "NameDigest": "made from names for searching",
        "OperationTemplate": "a setting of this program, not a record of a patient",
        "Practice": "the practice itself, whose records these are",
        "ReportLink": "a secret sent to a patient, kept as a digest; what came back is in patient_reports",
        "SignInThrottle": "guards the sign-in",
        "Submission": "guards against forms sent twice",
        "TextApproval": "who read the wording of messages; each message names who approved it",
        "UploadTry": "guards uploads",
    }
)
# Of no use to anybody but this program, or no record of the practice.
LEFT_OUT_FIELDS = {"id", "record_number_digest", "practice_id_of_patient", "practice", "file_name", "tap", "link"}


@dataclass(frozen=True)
class Sheet:
    """One table. rows: plain values, each None, a number, a truth or a text."""

    name: str
    columns: tuple[str, ...]
    rows: list[tuple[Any, ...]]


def sheets(practice: Practice) -> Iterator[Sheet]:
    """Every table of the practice, one statement each, rows in the order they were written."""
    for name, model, path in TABLES:
        yield sheet(name, model, path, practice)


def sheet(name: str, model: type[models.Model], path: str, practice: Practice) -> Sheet:
    fields = [field for field in model._meta.concrete_fields if field.name not in LEFT_OUT_FIELDS]
    found = model._default_manager.filter(**{path: practice}).order_by("pk")
    rows = found.values_list(*(column_of(field) for field in fields))
    return Sheet(name, tuple(field.name for field in fields), [tuple(map(plain, row)) for row in rows.iterator()])


def column_of(field: models.Field) -> str:
    """Where a row points at another, the address key of that one, which stands in its own table."""
    if not field.is_relation:
        return field.attname
    target = field.related_model
    has_key = any(each.name == "key" for each in target._meta.concrete_fields)
    return f"{field.name}__key" if has_key else field.attname


def plain(value: Any) -> Any:
    """ISO days and instants, numbers as numbers; nothing that depends on a language."""
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False, sort_keys=True)
    return value
