"""The six steps of a yearly audit: which is done, open or blocked, by rule; and the acts that move them on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from hashlib import sha256
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from audit.measures.standards import Direction, Standard
from audit.models import Action, ActionState, AuditYear, PracticeStandard, SignedAudit
from audit.periods import audit_year, matured
from audit.records import PRIMARY, standards_of
from clinic.access.models import Conflict, Member, Practice


class State(StrEnum):
    DONE = "done"
    OPEN = "open"
    BLOCKED = "blocked"


class SignedYear(Exception):
    """The year is signed; it changes only after it was opened again with a reason."""


@dataclass(frozen=True)
class StepName:
    """code: as in addresses. to_do: what finishes the step, for the sentence that says why a later one is blocked."""

    code: str
    number: int
    label: str
    to_do: str


NAMES = (
    StepName("period", 1, "Period", "choose the audit year and the data date"),
    StepName("quality", 2, "Data quality", "read the list of gaps and say that you did"),
    StepName("results", 3, "Results", "write what the results mean"),
    StepName("standard", 4, "Standard", "confirm what the practice expects"),
    StepName("actions", 5, "Actions", "agree an action, or say why none is needed"),
    StepName("sign-off", 6, "Sign-off", "sign the report"),
)
BY_CODE: Mapping[str, StepName] = {name.code: name for name in NAMES}


@dataclass(frozen=True)
class Facts:
    """What decides the steps. open_now, open_when_read: obstacles in the records, now and when the lead read them.

    carried_unanswered: open actions of earlier years whose day has passed and of which nobody said what came of them.
    """

    chosen: bool = False
    quality_read: bool = False
    open_now: int = 0
    open_when_read: int = 0
    interpreted: bool = False
    standards_confirmed: bool = False
    standards_changed: bool = False
    actions: int = 0
    no_action_reason: bool = False
    carried_unanswered: int = 0
    signed: bool = False


@dataclass(frozen=True)
class Step:
    name: StepName
    state: State
    why: str = ""


def steps(facts: Facts) -> tuple[Step, ...]:
    """Every step with its state; a step is blocked while one before it is not done.

    A signed year is done throughout: what came up since, such as a new gap or a changed standard, must not bar the way
    to its report, or to opening it again.
    """
    if facts.signed:
        return tuple(Step(name, State.DONE) for name in NAMES)
    found: list[Step] = []
    for name in NAMES:
        missing = next((step for step in found if step.state is not State.DONE), None)
        if missing:
            found.append(Step(name, State.BLOCKED, _blocked(name, missing)))
            continue
        why = _OPEN[name.code](facts)
        found.append(Step(name, State.OPEN if why else State.DONE, why))
    return tuple(found)


def step_of(facts: Facts, code: str) -> Step:
    return next(step for step in steps(facts) if step.name.code == code)


def _blocked(name: StepName, missing: Step) -> str:
    first = missing.name
    waits = f"Step {name.number}, {name.label}, has to wait"
    return f"{waits}: step {first.number}, {first.label}, is open. First {first.to_do}."


def _quality(facts: Facts) -> str:
    if not facts.quality_read:
        return "The gaps in the records have not been read."
    if facts.open_now > facts.open_when_read:
        return f"{facts.open_now - facts.open_when_read} more gaps have come up since they were read."
    return ""


def _standard(facts: Facts) -> str:
    if facts.standards_changed:
        return "A standard was changed after it was confirmed for this audit."
    return "" if facts.standards_confirmed else "The standards have not been confirmed for this audit."


def _actions(facts: Facts) -> str:
    if facts.carried_unanswered:
        some = facts.carried_unanswered
        return f"{some} action{'' if some == 1 else 's'} of earlier years: nobody has said what came of it."
    return "" if facts.actions or facts.no_action_reason else "No action yet. If none is needed, say why."


_OPEN = {
    "period": lambda facts: "" if facts.chosen else "No period is chosen.",
    "quality": _quality,
    "results": lambda facts: "" if facts.interpreted else "Nobody has written what the results mean.",
    "standard": _standard,
    "actions": _actions,
    "sign-off": lambda facts: "" if facts.signed else "Not signed.",
}


# --- facts of a stored year


def signature_of(year: AuditYear) -> SignedAudit | None:
    """The signature in force; without its large columns."""
    signed = SignedAudit.objects.filter(audit_year=year, reopened_at__isnull=True)
    return signed.select_related("signed_by", "snapshot").defer("html", "pdf", "snapshot__packed").first()


def last_signed_before(year: AuditYear) -> SignedAudit | None:
    """The newest signature in force of an earlier audit year, with its snapshot."""
    earlier = SignedAudit.objects.filter(
        audit_year__practice_id=year.practice_id, audit_year__starting_year__lt=year.starting_year,
        reopened_at__isnull=True,
    )  # fmt: skip
    return earlier.select_related("snapshot", "audit_year").defer("html", "pdf").order_by(
        "-audit_year__starting_year"
    ).first()  # fmt: skip


def actions_until(year: AuditYear) -> list[Action]:
    """Every action agreed in this year or an earlier one, oldest first; one statement."""
    found = Action.objects.filter(
        audit_year__practice_id=year.practice_id, audit_year__starting_year__lte=year.starting_year
    )
    return list(found.select_related("who", "audit_year").order_by("agreed_at", "pk"))


def carried_of(actions: list[Action], year: AuditYear) -> list[Action]:
    """Of these, the ones of earlier years that were open when this year was opened."""
    return [
        action
        for action in actions
        if action.audit_year_id != year.pk
        and (
            action.state == ActionState.OPEN
            or (action.closed_on and action.closed_on >= timezone.localtime(year.opened_at).date())
        )
    ]


def carried_over(year: AuditYear) -> list[Action]:
    return carried_of(actions_until(year), year)


def facts_of(
    year: AuditYear | None, *, open_now: int, standards: tuple[Standard, ...], today: date,
    signature: SignedAudit | None, carried: list[Action], actions: int,
) -> Facts:  # fmt: skip
    """open_now: obstacles in the records, as the quality rules count them."""
    if year is None:
        return Facts()
    confirmed = year.standards_confirmed_at is not None
    return Facts(
        chosen=True,
        quality_read=year.quality_read_at is not None,
        open_now=open_now,
        open_when_read=year.quality_open,
        interpreted=bool(year.interpretation),
        standards_confirmed=confirmed,
        standards_changed=confirmed and year.standards_digest != digest_of_standards(standards),
        actions=actions,
        no_action_reason=bool(year.no_action_reason),
        carried_unanswered=sum(1 for each in carried if each.state == ActionState.OPEN and each.due_on <= today),
        signed=signature is not None,
    )


def digest_of_standards(standards: tuple[Standard, ...]) -> str:
    said = [f"{each.code} {each.direction.value} {each.target} {each.source}" for each in standards]
    return sha256("\n".join(said).encode()).hexdigest()


# --- acts


def refuse_if_signed(year: AuditYear) -> None:
    """Raises SignedYear while a signature is in force."""
    if SignedAudit.objects.filter(audit_year=year, reopened_at__isnull=True).exists():
        raise SignedYear(year.key)


def open_year(*, by: Member, starting_year: int, as_of: date, aim: str, context: str, now: datetime) -> AuditYear:
    """Begins the audit of a year. Raises Conflict if somebody began it meanwhile."""
    year = AuditYear(
        practice=by.practice, starting_year=starting_year, as_of=as_of, aim=aim, context=context, opened_by=by,
        opened_at=now,
    )  # fmt: skip
    try:
        with transaction.atomic():
            year.keep(by=by, reason="Opened")
    except IntegrityError:
        raise Conflict(f"audit year {starting_year}") from None
    return year


@transaction.atomic
def change_year(*, by: Member, year: AuditYear, version: int, values: Mapping[str, Any], reason: str = "") -> None:
    """Writes some facts of an open year. Raises Conflict and SignedYear."""
    year.version = version
    for name, value in values.items():
        setattr(year, name, value)
    year.save_version(by=by, reason=reason)
    refuse_if_signed(year)


def is_preliminary(practice: Practice, starting_year: int, as_of: date) -> bool:
    """Whether some operation of the year has not reached the end of its outcome window."""
    return not matured(audit_year(practice, starting_year), as_of)


@transaction.atomic
def agree_action(*, by: Member, year: AuditYear, values: Mapping[str, Any], now: datetime) -> Action:
    action = Action(audit_year=year, agreed_by=by, agreed_at=now, **values)
    action.keep(by=by, reason="Agreed")
    refuse_if_signed(year)
    return action


@transaction.atomic
def change_action(*, by: Member, action: Action, version: int, values: Mapping[str, Any], reason: str) -> None:
    """Raises Conflict. What was signed keeps the action as it was then."""
    action.version = version
    for name, value in values.items():
        setattr(action, name, value)
    action.save_version(by=by, reason=reason)


@transaction.atomic
def set_standard(
    *, by: Member, code: str, version: int, direction: Direction, target: Any, source: str, reason: str
) -> None:
    """A new version of what the practice expects; old audits keep theirs. Raises Conflict.

    version: of the row that was shown, 0 for the shipped one. The target for recurrence is the practice's own setting,
    so that live charts and audit cannot differ.
    """
    practice = Practice.objects.get(pk=by.practice_id)
    row = PracticeStandard.objects.filter(practice=practice, code=code).first()
    if (row.version if row else 0) != version:
        raise Conflict(code)
    row = row or PracticeStandard(practice=practice, code=code)
    row.direction, row.target, row.source = direction.value, target, source
    try:
        with transaction.atomic():
            row.save_version(by=by, reason=reason) if row.pk else row.keep(by=by, reason=reason)
    except IntegrityError:
        raise Conflict(code) from None
    if code == PRIMARY and direction is Direction.AT_MOST and target != practice.recurrence_standard:
        practice.recurrence_standard = target
        practice.save_version(by=by, reason=reason)


def standards_now(practice: Practice) -> tuple[Standard, ...]:
    """As stored now, whatever copy of the practice the caller holds."""
    return standards_of(Practice.objects.get(pk=practice.pk))
