"""Who may do what: one table, read by every view and every menu."""

from django.db.models import TextChoices


class Role(TextChoices):
    PRACTITIONER = "practitioner", "Practitioner"
    ASSISTANT = "assistant", "Assistant"
    RECEPTION = "reception", "Reception"
    LEAD = "lead", "Practice lead"
    ADMINISTRATOR = "administrator", "Administrator"
    REVIEWER = "reviewer", "Peer reviewer"


class Action(TextChoices):
    SEE_WORKLIST = "see_worklist", "see the day's list"
    FIND_PATIENT = "find_patient", "find a patient"
    REGISTER_PATIENT = "register_patient", "register a patient"
    READ_RECORD = "read_record", "read a clinical record"
    RECORD_OPERATION = "record_operation", "record an operation"
    ASSIST_OPERATION = "assist_operation", "record times and checks of an operation"
    RECORD_REVIEW = "record_review", "record a review"
    ACCEPT_REPORT = "accept_report", "accept a patient's report"
    BOOK_REVIEW = "book_review", "book a review or log a contact"
    READ_AUDIT = "read_audit", "read the audit"
    SET_AUDIT = "set_audit", "change what the audit counts"
    SET_PRACTICE = "set_practice", "change the settings of the practice"
    MANAGE_PEOPLE = "manage_people", "manage people and access"
    READ_POOLED = "read_pooled", "read pooled results"
    EXPORT_DATA = "export_data", "make an export for peer review"
    RUN_GROUP = "run_group", "run a peer group"
    HAND_IN = "hand_in", "join a peer group and hand in a set"
    TAKE_OWN_DATA = "take_own_data", "take the practice's own data"
    OWN_ACCOUNT = "own_account", "change their own settings"


_CARE = {
    Action.SEE_WORKLIST,
    Action.FIND_PATIENT,
    Action.READ_RECORD,
    Action.ASSIST_OPERATION,
    Action.RECORD_REVIEW,
    Action.BOOK_REVIEW,
}

ALLOWED: dict[Role, frozenset[Action]] = {
    Role.PRACTITIONER: frozenset(
        _CARE | {Action.REGISTER_PATIENT, Action.RECORD_OPERATION, Action.ACCEPT_REPORT, Action.OWN_ACCOUNT}
    ),
    Role.ASSISTANT: frozenset(_CARE | {Action.REGISTER_PATIENT, Action.OWN_ACCOUNT}),
    Role.RECEPTION: frozenset(
        {Action.SEE_WORKLIST, Action.FIND_PATIENT, Action.REGISTER_PATIENT, Action.BOOK_REVIEW, Action.OWN_ACCOUNT}
    ),
    Role.LEAD: frozenset(
        _CARE
        | {
            Action.REGISTER_PATIENT,
            Action.RECORD_OPERATION,
            Action.ACCEPT_REPORT,
            Action.READ_AUDIT,
            Action.SET_AUDIT,
            Action.SET_PRACTICE,
            Action.READ_POOLED,
            Action.EXPORT_DATA,
            Action.RUN_GROUP,
            Action.HAND_IN,
            Action.TAKE_OWN_DATA,
            Action.OWN_ACCOUNT,
        }
    ),
    Role.ADMINISTRATOR: frozenset({Action.MANAGE_PEOPLE, Action.OWN_ACCOUNT}),
    Role.REVIEWER: frozenset({Action.READ_POOLED, Action.RUN_GROUP, Action.OWN_ACCOUNT}),
}


def may(role: str, action: Action) -> bool:
    """Whether a role may do this. Unknown roles may do nothing."""
    return action in ALLOWED.get(role, frozenset())  # type: ignore[call-overload]


def roles_that_may(action: Action) -> list[Role]:
    return [role for role in Role if action in ALLOWED[role]]
