"""Every record of a practice as plain tables: for its own use, with names, never for peer review."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import models

from clinic.access.models import Practice
from clinic.patients.identity import Identity
from clinic.patients.models import Patient
from clinic.photographs.models import Photograph
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
from clinic.redflags.models import RedFlag, RedFlagSeen
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
)
# Of no use to anybody but this program, or no record of the practice.
LEFT_OUT_FIELDS = {"id", "record_number_digest", "practice_id_of_patient", "practice", "file_name", "tap"}


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
    return value
