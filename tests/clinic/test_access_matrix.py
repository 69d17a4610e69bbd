"""Every page of the site map × every role × own practice, other practice and signed out.

A new page is one line in TABLE. A page with a key in its address also gets one line in OBJECTS.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date

import pytest
from django.db import transaction
from django.test import Client
from django.urls import get_resolver, reverse
from django.urls.resolvers import URLPattern, URLResolver

from audit.models import AuditYear
from clinic.access.models import Practice, random_key
from clinic.access.rules import Action, Role, may
from clinic.photographs.models import Photograph
from clinic.procedures.models import Amendment, Operation
from clinic.recall.models import Closure
from clinic.reminders.models import Message
from clinic.reports.models import PatientReport
from clinic.reviews.models import Booking, Contact
from clinic.theatre.models import Mark
from tests.audit.exchange.stored import brought_set, create_export, create_group, create_signature, own_topic
from tests.factories import (
    NOON,
    create_action,
    create_assessment,
    create_audit_year,
    create_consent,
    create_limit,
    create_member,
    create_operation,
    create_patient,
    create_photograph,
    create_report,
    create_review,
    create_template,
)

# An address of documentation: a request from the machine itself may see more.
ELSEWHERE = {"REMOTE_ADDR": "192.0.2.7"}
SIGN_IN = "sign-in"

# name: (method, action that guards it or None for open pages, status for those who may, status signed out)
# POST-only pages are asked without data: they answer, but never 403 or 405, to those who may.
TABLE: dict[str, tuple[str, Action | None, int, int | str]] = {
    "sign-in": ("GET", None, 302, 200),
    "sign-out": ("POST", None, 302, 302),
    "set-password": ("GET", None, 410, 410),
    "home": ("GET", Action.OWN_ACCOUNT, 302, SIGN_IN),
    "account": ("GET", Action.OWN_ACCOUNT, 200, SIGN_IN),
    "help": ("GET", Action.OWN_ACCOUNT, 200, SIGN_IN),
    "people": ("GET", Action.MANAGE_PEOPLE, 200, SIGN_IN),
    "person-add": ("GET", Action.MANAGE_PEOPLE, 200, SIGN_IN),
    "person-change": ("GET", Action.MANAGE_PEOPLE, 200, SIGN_IN),
    "practice-settings": ("GET", Action.SET_PRACTICE, 200, SIGN_IN),
    "settings-topic": ("GET", Action.SET_PRACTICE, 200, SIGN_IN),
    "operation-templates": ("GET", Action.SET_PRACTICE, 200, SIGN_IN),
    "operation-template-new": ("GET", Action.SET_PRACTICE, 200, SIGN_IN),
    "operation-template": ("GET", Action.SET_PRACTICE, 200, SIGN_IN),
    "limits": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "limit-new": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "limit-candidate": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "limit": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "limit-change": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "limit-withdraw": ("POST", Action.SET_AUDIT, 302, SIGN_IN),
    "follow-up": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "schedule": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    # patients; a search without a word and a strike without a reason show their page again
    "patients": ("GET", Action.FIND_PATIENT, 200, SIGN_IN),
    "find-patient": ("POST", Action.FIND_PATIENT, 200, SIGN_IN),
    "patient-new": ("GET", Action.REGISTER_PATIENT, 200, SIGN_IN),
    "patient": ("GET", Action.FIND_PATIENT, 200, SIGN_IN),
    "patient-change": ("GET", Action.REGISTER_PATIENT, 200, SIGN_IN),
    "patient-merge": ("GET", Action.SET_PRACTICE, 200, SIGN_IN),
    "patient-fhir": ("GET", Action.TAKE_OWN_DATA, 200, SIGN_IN),
    # before an operation; what is answered without a reason leads back with a sentence
    "assessment-new": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    "assessment": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "assessment-change": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    "flag-decide": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    "assessment-strike": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    "consent-new": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    "consent": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "consent-confirm": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    "consent-withdraw": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    "consent-strike": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    # red flags
    "red-flags": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    # procedures
    "operation-new": ("GET", Action.RECORD_OPERATION, 200, SIGN_IN),
    "operation": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "operation-amend": ("GET", Action.RECORD_OPERATION, 200, SIGN_IN),
    "site-decide": ("GET", Action.RECORD_OPERATION, 302, SIGN_IN),
    "operation-undo": ("POST", Action.RECORD_OPERATION, 302, SIGN_IN),
    "operation-strike": ("POST", Action.RECORD_OPERATION, 200, SIGN_IN),
    "toe-amputated": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    # in the room
    "room": ("GET", Action.ASSIST_OPERATION, 200, SIGN_IN),
    "tap": ("POST", Action.ASSIST_OPERATION, 302, SIGN_IN),
    "mark": ("GET", Action.ASSIST_OPERATION, 200, SIGN_IN),
    "checklist": ("GET", Action.ASSIST_OPERATION, 200, SIGN_IN),
    "dose-add": ("GET", Action.ASSIST_OPERATION, 200, SIGN_IN),
    "event-add": ("GET", Action.ASSIST_OPERATION, 200, SIGN_IN),
    "closing": ("GET", Action.ASSIST_OPERATION, 200, SIGN_IN),
    "sign": ("GET", Action.RECORD_OPERATION, 200, SIGN_IN),
    "cosign": ("POST", Action.RECORD_OPERATION, 302, SIGN_IN),
    "operation-note": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "operation-note-pdf": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "amendment-seen": ("POST", Action.SET_AUDIT, 302, SIGN_IN),
    # reviews
    "toe": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "review-record": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    "review": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "review-correct": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    "review-undo": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    "review-strike": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    "review-accept": ("POST", Action.ACCEPT_REPORT, 302, SIGN_IN),
    "draft": ("POST", Action.RECORD_REVIEW, 200, SIGN_IN),
    # photographs; a strike without a reason leads back with a sentence
    "photograph-add": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    "photograph": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "photograph-file": ("GET", Action.READ_RECORD, 200, SIGN_IN),
    "photograph-strike": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    "photograph-withdraw": ("GET", Action.RECORD_REVIEW, 200, SIGN_IN),
    # worklist
    "today": ("GET", Action.SEE_WORKLIST, 200, SIGN_IN),
    "book": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "booking-cancel": ("POST", Action.BOOK_REVIEW, 302, SIGN_IN),
    "contact": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "contact-dealt-with": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    # the patient's own report: an address that was never made
    "report": ("GET", None, 404, 404),
    "report-link": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "report-answered": ("POST", Action.RECORD_REVIEW, 302, SIGN_IN),
    # recall
    "recall": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "letters": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "messages": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "message-approve": ("POST", Action.SET_AUDIT, 302, SIGN_IN),
    "message-decide": ("POST", Action.BOOK_REVIEW, 400, SIGN_IN),
    "calendar": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "calendar-feed": ("GET", None, 404, 404),
    "recall-csv": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "close": ("GET", Action.BOOK_REVIEW, 200, SIGN_IN),
    "open-again": ("POST", Action.BOOK_REVIEW, 302, SIGN_IN),
    "contact-undo": ("POST", Action.BOOK_REVIEW, 302, SIGN_IN),
    # audit; a chart or number that nobody asked for does not exist
    "audit": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-course": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-chart": ("GET", Action.READ_AUDIT, 404, SIGN_IN),
    "audit-records": ("GET", Action.READ_AUDIT, 404, SIGN_IN),
    "audit-process": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-outlook": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-checks": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-checks-family": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-json": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    # the yearly audit; what is not signed has no snapshot, and a form sent empty says so
    "audit-years": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-period": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-quality": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-year-results": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-year-course": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-standard": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-standard-edit": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-actions": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-no-action": ("POST", Action.SET_AUDIT, 400, SIGN_IN),
    "audit-action": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-sign": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "audit-reopen": ("POST", Action.SET_AUDIT, 404, SIGN_IN),
    "audit-report": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-report-pdf": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-snapshot": ("GET", Action.SET_AUDIT, 404, SIGN_IN),
    "audit-changes": ("GET", Action.READ_AUDIT, 404, SIGN_IN),
    "audit-monitoring": ("GET", Action.READ_AUDIT, 200, SIGN_IN),
    "audit-monitoring-chart": ("GET", Action.READ_AUDIT, 404, SIGN_IN),
    "audit-change-note": ("POST", Action.SET_AUDIT, 400, SIGN_IN),
    # exchange; two practices have no chart
    "exchange": ("GET", Action.READ_POOLED, 200, SIGN_IN),
    "own-data": ("GET", Action.TAKE_OWN_DATA, 200, SIGN_IN),
    "export-new": ("GET", Action.EXPORT_DATA, 200, SIGN_IN),
    "export": ("GET", Action.EXPORT_DATA, 200, SIGN_IN),
    "export-file": ("POST", Action.EXPORT_DATA, 200, SIGN_IN),
    "export-tables": ("POST", Action.EXPORT_DATA, 200, SIGN_IN),
    "export-withdraw": ("POST", Action.EXPORT_DATA, 302, SIGN_IN),
    "group-new": ("GET", Action.RUN_GROUP, 200, SIGN_IN),
    "group-join": ("GET", Action.HAND_IN, 200, SIGN_IN),
    "group": ("GET", Action.READ_POOLED, 200, SIGN_IN),
    "group-invite": ("POST", Action.RUN_GROUP, 200, SIGN_IN),
    "group-close": ("POST", Action.RUN_GROUP, 302, SIGN_IN),
    "group-leave": ("POST", Action.HAND_IN, 302, SIGN_IN),
    "hand-in": ("GET", Action.READ_POOLED, 200, SIGN_IN),
    "compare": ("GET", Action.READ_POOLED, 200, SIGN_IN),
    "compare-chart": ("GET", Action.READ_POOLED, 404, SIGN_IN),
    "compare-report": ("POST", Action.READ_POOLED, 200, SIGN_IN),
    "topic-new": ("GET", Action.RUN_GROUP, 200, SIGN_IN),
    "topic": ("GET", Action.READ_POOLED, 200, SIGN_IN),
    "set-original": ("POST", Action.READ_POOLED, 200, SIGN_IN),
    "set-withdraw": ("POST", Action.READ_POOLED, 302, SIGN_IN),
    # health
    "healthz": ("GET", None, 200, 200),
    "readyz": ("GET", Action.MANAGE_PEOPLE, 200, 403),
}
# Pages whose own check stands in the view, so that they carry no action.
UNDECORATED = {"readyz"}


def mark_of(practice: Practice) -> Mark:
    operation = create_operation(practice)
    return Mark.objects.create(
        operation=operation, kind="injected", at=NOON, received_at=NOON, by=operation.operator, tap=random_key()
    )


def site_of(operation: Operation) -> list[str]:
    return [operation.key, operation.nail_procedures.get().key]


def amendment_of(practice: Practice) -> Amendment:
    operation = create_operation(practice)
    return Amendment.objects.create(
        operation=operation,
        number=1,
        kind="amendment",
        by=operation.operator,
        opened_at=NOON,
        closed_at=NOON,
        reason="x",
    )


def booking_of(practice: Practice) -> Booking:
    operation = create_operation(practice)
    return Booking.objects.create(operation=operation, starts_at=NOON, booked_by=operation.operator)


def contact_of(practice: Practice) -> Contact:
    operation = create_operation(practice)
    return Contact.objects.create(
        operation=operation,
        made_on=date(2026, 11, 24),
        channel="phone",
        result="problem",
        recorded_by=operation.operator,
        recorded_at=NOON,
    )


def closure_of(practice: Practice) -> Closure:
    operation = create_operation(practice)
    return Closure.objects.create(
        operation=operation, reason="never_tried", closed_on=date(2026, 11, 24), closed_by=operation.operator,
        closed_at=NOON,
    )  # fmt: skip


def message_of(practice: Practice) -> Message:
    operation = create_operation(practice)
    return Message.objects.create(
        operation=operation, point="twelve_months", after_days=-14, kind="invitation", approved_by=operation.operator,
        queued_at=NOON, not_before_at=NOON,
    )  # fmt: skip


def report_of(practice: Practice) -> PatientReport:
    """Sent by a patient and accepted by a clinician."""
    report = create_report(create_operation(practice, performed_on=date(2026, 5, 25)))
    report.review.accepted_by, report.review.accepted_at = report.link.made_by, NOON
    report.review.save()
    return report


def photograph_of(practice: Practice) -> Photograph:
    return create_photograph(create_operation(practice).nail_procedures.get())


def audit_year_of(practice: Practice) -> AuditYear:
    """The one audit year of the practice, made when first asked for."""
    return AuditYear.objects.filter(practice=practice).first() or create_audit_year(practice)


# Pages of one audit year, which every practice has.
YEAR_PAGES = (
    "audit-period", "audit-quality", "audit-year-results", "audit-year-course", "audit-standard", "audit-actions",
    "audit-no-action", "audit-sign", "audit-reopen", "audit-report", "audit-report-pdf", "audit-snapshot",
    "audit-changes",
)  # fmt: skip
# The arguments of each page that names a row, made of a new row of the practice.
OBJECTS: dict[str, Callable[[Practice], list[str]]] = {
    "set-password": lambda practice: [create_member(practice).key, "none-none"],
    "person-change": lambda practice: [create_member(practice).key],
    "audit-checks-family": lambda practice: ["proportions"],
    "settings-topic": lambda practice: ["times"],
    "operation-template": lambda practice: [create_template(practice).key],
    "limit-candidate": lambda practice: ["lidocaine-uk"],
    "schedule": lambda practice: ["common"],
    **{name: lambda practice: [create_limit(practice).key] for name in ("limit", "limit-change", "limit-withdraw")},
    "patient": lambda practice: [create_patient(practice).key],
    "patient-change": lambda practice: [create_patient(practice).key],
    "patient-merge": lambda practice: [create_patient(practice).key],
    "patient-fhir": lambda practice: [create_patient(practice).key],
    "assessment-new": lambda practice: [create_patient(practice).key],
    "consent-new": lambda practice: [create_patient(practice).key],
    **{
        name: lambda practice: [create_assessment(create_patient(practice)).key]
        for name in ("assessment", "assessment-change", "flag-decide", "assessment-strike")
    },
    **{
        name: lambda practice: [create_consent(create_patient(practice)).key]
        for name in ("consent", "consent-confirm", "consent-withdraw", "consent-strike")
    },
    "operation-new": lambda practice: [create_patient(practice).key],
    "operation": lambda practice: [create_operation(practice).key],
    "operation-amend": lambda practice: [create_operation(practice).key],
    "red-flags": lambda practice: [create_operation(practice).key],
    "site-decide": lambda practice: site_of(create_operation(practice)),
    "operation-undo": lambda practice: [create_operation(practice).key],
    "operation-strike": lambda practice: [create_operation(practice).key],
    "toe-amputated": lambda practice: [create_operation(practice).nail_procedures.get().key],
    **{
        name: lambda practice: [create_operation(practice).key]
        for name in (
            "room",
            "tap",
            "dose-add",
            "event-add",
            "closing",
            "sign",
            "cosign",
            "operation-note",
            "operation-note-pdf",
        )
    },
    "mark": lambda practice: [mark_of(practice).key],
    "checklist": lambda practice: [create_operation(practice).key, "before_incision"],
    "amendment-seen": lambda practice: [amendment_of(practice).operation.key, "1"],
    "toe": lambda practice: [create_operation(practice).nail_procedures.get().key],
    "review-record": lambda practice: [create_operation(practice).key],
    "review": lambda practice: [create_review(create_operation(practice)).key],
    "review-correct": lambda practice: [create_review(create_operation(practice)).key],
    "review-undo": lambda practice: [create_review(create_operation(practice)).key],
    "review-strike": lambda practice: [create_review(create_operation(practice)).key],
    "review-accept": lambda practice: [create_review(create_operation(practice)).key],
    "photograph-add": lambda practice: [create_operation(practice).nail_procedures.get().key],
    **{
        name: lambda practice: [photograph_of(practice).key]
        for name in ("photograph", "photograph-strike", "photograph-withdraw")
    },
    "photograph-file": lambda practice: [photograph_of(practice).key, "full"],
    "draft": lambda practice: ["review", create_operation(practice).key],
    "book": lambda practice: [create_operation(practice).key],
    "booking-cancel": lambda practice: [booking_of(practice).key],
    "contact": lambda practice: [create_operation(practice).key],
    "report": lambda practice: ["never-made-by-anybody"],
    "report-link": lambda practice: [create_operation(practice).key],
    "report-answered": lambda practice: [report_of(practice).review.key],
    "calendar-feed": lambda practice: ["never-made-by-anybody"],
    "message-decide": lambda practice: [message_of(practice).key],
    "close": lambda practice: [create_operation(practice).key],
    "open-again": lambda practice: [closure_of(practice).key],
    "contact-undo": lambda practice: [contact_of(practice).key],
    "contact-dealt-with": lambda practice: [contact_of(practice).key],
    "audit-chart": lambda practice: ["none", "svg"],
    "audit-monitoring-chart": lambda practice: ["none", "svg"],
    **{name: lambda practice: [audit_year_of(practice).starting_year] for name in YEAR_PAGES},
    "audit-standard-edit": lambda practice: [audit_year_of(practice).starting_year, "O8"],
    "audit-action": lambda practice: [create_action(audit_year_of(practice)).key],
    "export-new": lambda practice: [create_signature(practice).audit_year.key],
    **{
        name: lambda practice: [create_export(practice).key]
        for name in ("export", "export-file", "export-tables", "export-withdraw")
    },
    **{
        name: lambda practice: [create_group(practice).key]
        for name in (
            "group",
            "group-invite",
            "group-close",
            "group-leave",
            "hand-in",
            "compare",
            "compare-report",
            "topic-new",
        )
    },
    "compare-chart": lambda practice: [create_group(practice).key, "forest", "svg"],
    "topic": lambda practice: [own_topic(practice).key],
    "set-original": lambda practice: [brought_set(practice).key],
    "set-withdraw": lambda practice: [brought_set(practice).key],
}
# Pages whose arguments name no row of a practice: the key itself is the secret, or it names a year, a chart, a family
# of checks, a topic or a shipped row.
NOT_OF_A_PRACTICE = {
    "set-password", "audit-chart", "audit-checks-family", "audit-monitoring-chart", "audit-standard-edit",
    "settings-topic", "limit-candidate", "schedule", "report", "calendar-feed", *YEAR_PAGES,
}  # fmt: skip


def arguments(name: str, practice: Practice) -> list[str]:
    return OBJECTS[name](practice) if name in OBJECTS else []


def pages(resolver: URLResolver | None = None, space: str = "") -> dict[str, URLPattern]:
    """Each page of the site map under the name that reverse() takes."""
    found: dict[str, URLPattern] = {}
    for each in (resolver or get_resolver()).url_patterns:
        if isinstance(each, URLResolver):
            found |= pages(each, f"{space}{each.namespace}:" if each.namespace else space)
        else:
            found[f"{space}{each.name}"] = each
    return found


PAGES = pages()


def ask(client: Client, name: str, keys: list[str]):
    return client.generic(TABLE[name][0], reverse(name, args=keys), **ELSEWHERE)


def expected(name: str, role: str) -> int:
    _, action, status, _ = TABLE[name]
    return status if action is None or may(role, action) else 403


def test_every_page_stands_in_the_table():
    assert sorted(set(PAGES) - set(TABLE)) == []
    assert sorted(set(TABLE) - set(PAGES)) == []


def test_every_page_carries_the_action_of_the_table():
    for name in set(PAGES) & set(TABLE):
        action = None if name in UNDECORATED else TABLE[name][1]

        assert getattr(PAGES[name].callback, "action", None) == action, name


def test_every_page_that_names_a_row_has_an_object():
    named = {name for name, page in PAGES.items() if page.pattern.converters}

    assert sorted(named) == sorted(OBJECTS)


@pytest.fixture
def signed_in(practice, client_of) -> dict[str, Client]:
    """A browser for each role of the practice."""
    return {role: client_of(create_member(practice, role=role)) for role in Role.values}


@contextmanager
def undone() -> Iterator[None]:
    """What one request writes is not there for the next."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.mark.parametrize("name", TABLE)
def test_a_page(name, practice, other_practice, signed_in, client_of):
    """All of one page in one test: its rows are made once."""
    own = arguments(name, practice)
    for role, client in signed_in.items():
        with undone():
            assert ask(client, name, own).status_code == expected(name, role), role

    if name in OBJECTS and name not in NOT_OF_A_PRACTICE:
        rows_elsewhere = arguments(name, other_practice)
        for role, client in signed_in.items():
            missing = 404 if may(role, TABLE[name][1]) else 403
            assert ask(client, name, rows_elsewhere).status_code == missing, role

    if TABLE[name][1]:
        for role in Role.values:
            nobodys = client_of(create_member(None, role=role))
            assert ask(nobodys, name, own).status_code == 403, role

    with undone():
        answer, wanted = ask(Client(), name, own), TABLE[name][3]
    if wanted == SIGN_IN:
        assert answer.status_code == 302
        assert answer["Location"].startswith(reverse("sign-in") + "?next=")
    else:
        assert answer.status_code == wanted

    for method in ("PUT", "DELETE", "PATCH"):
        refused = signed_in[Role.ADMINISTRATOR].generic(method, reverse(name, args=own), **ELSEWHERE)
        assert refused.status_code == 405
