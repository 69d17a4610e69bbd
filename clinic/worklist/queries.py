"""Who is next, who is late, what came in unasked: derived from dates on each reading, in a fixed number of queries."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Prefetch, Q
from django.utils import timezone

from clinic.access.models import Member, Practice
from clinic.access.rules import Action, may
from clinic.patients.identity import Identity
from clinic.procedures.models import Operation
from clinic.recall.lists import words_of
from clinic.recall.queries import Followed, follow
from clinic.reviews.models import Booking, Contact, Review
from clinic.reviews.seen import is_counting, with_gaps
from clinic.schedule import SCHEDULE, Due, ReviewPoint, Schedule, point_of, schedule_of
from clinic.vocabulary.recall import ReportFlag
from clinic.vocabulary.review import ContactResult, Observer
from clinic.worklist.unfinished import Unfinished, concerns, marked, unfinished

CALM_REPORT = "Patient's report"


@dataclass
class Row:
    """One line of a list: an operation, where it stands, and what to do next."""

    operation: Operation
    day: int
    point: ReviewPoint | None
    kind: str  # booked, due, late, care, new, ok
    words: str
    booking: Booking | None = None
    contact: Contact | None = None
    report: Review | None = None
    stands: Followed | None = None
    done: Review | None = None
    identity: Identity | None = None

    @property
    def track(self) -> str:
        """The kind of dot on the window track."""
        return self.kind if self.kind in {"late", "new"} else "due"

    @property
    def nails(self) -> list:
        return list(self.operation.nail_procedures.all())


@dataclass
class DayList:
    """warnings: reports of patients with a warning answer; they stand in no other list of what came in."""

    warnings: list[Row]
    unexpected: list[Row]
    booked: list[Row]
    done: list[Row]
    overdue: list[Row]
    due: list[Row]
    no_contact: int
    next_opens_on: date | None
    unfinished: list[Unfinished] = field(default_factory=list)

    def rows(self) -> Iterable[Row | Unfinished]:
        yield from self.unfinished
        for part in (self.warnings, self.unexpected, self.booked, self.done, self.overdue, self.due):
            yield from part


def day_list(member: Member, *, today: date, day_starts_at: datetime) -> DayList:
    """The worklist of the member's practice for `today` (a local date beginning at the instant `day_starts_at`)."""
    operations = list(_followed(member, today))
    bookings = {
        booking.operation_id: booking
        for booking in Booking.objects.filter(
            operation__practice_id=member.practice_id,
            operation__struck_at__isnull=True,
            operation__patient__died_on__isnull=True,
            cancelled_at__isnull=True,
            starts_at__gte=day_starts_at,
        ).order_by("-starts_at")
    }
    practice = member.practice
    extra = {pk for pk in bookings if pk not in {operation.pk for operation in operations}}
    operations += (
        list(_with_parts(Operation.objects.visible_to(member).standing().filter(pk__in=extra))) if extra else []
    )
    came_in = _unexpected(member, today)
    warnings = [row for row in came_in if row.kind == "late"]
    lists = DayList(warnings, [row for row in came_in if row.kind != "late"], [], [], [], [], 0, None)
    ends_at = day_starts_at + timedelta(days=1)
    told = {row.operation.pk for row in came_in}
    stands = {row.operation.pk: row for row in follow(operations, practice=practice, today=today)}
    for operation in operations:
        if line := unfinished(operation, member) if hasattr(operation, "tourniquet_is_on") else None:
            lists.unfinished.append(line)
        if not _is_followed(operation, today, longest_of(practice)) and operation.pk not in bookings:
            continue
        if operation.pk in told and operation.pk not in bookings:
            continue  # it stands among what came in already
        _place(lists, stands[operation.pk], bookings.get(operation.pk), today=today, ends_at=ends_at)
    lists.unfinished.sort(key=lambda row: (row.kind != "late", row.operation.performed_on, row.operation.pk))
    lists.booked.sort(key=lambda row: row.booking.starts_at)
    lists.done.sort(key=lambda row: row.done.recorded_at)
    lists.overdue.sort(key=lambda row: (row.point.closes_on(row.operation.performed_on), row.operation.pk))
    lists.due.sort(key=lambda row: (row.point.target_on(row.operation.performed_on), row.operation.pk))
    _name(lists.rows())
    return lists


def _followed(member: Member, today: date):
    """Operations whose reviews may be due, and those that somebody has to finish."""
    since = today - timedelta(days=longest_of(member.practice))
    recent = Q(performed_on__gte=since, performed_on__lte=today, patient__died_on__isnull=True)
    operations = marked(Operation.objects.visible_to(member).standing())
    return _with_parts(operations.filter(recent | concerns(member)))


def longest_of(practice: Practice) -> int:
    """Days until the last window of any schedule of the practice closes."""
    settings = getattr(practice, "follow_up", None)
    return settings.longest_days if settings else SCHEDULE[-1].closes_day


def _is_followed(operation: Operation, today: date, longest: int) -> bool:
    """Whether a review of it may still be due; others are in the list only to be finished."""
    age = (today - operation.performed_on).days
    return operation.patient.died_on is None and 0 <= age <= longest


def _with_parts(operations):
    """The operations with all that a row prints, however many there are."""
    return operations.select_related("patient", "operator", "planned").prefetch_related(
        "nail_procedures__treated_sides",
        Prefetch("reviews", with_gaps(Review.objects.filter(struck_at__isnull=True)).only("operation_id", "operated_on",
                 "seen_on", "recorded_at", "observer", "accepted_at", "next_step", "struck_at")),
    )  # fmt: skip


def _place(lists: DayList, stands: Followed, booking: Booking | None, *, today: date, ends_at: datetime) -> None:
    operation, point, state = stands.operation, stands.point, stands.state
    reviews = [review for review in operation.reviews.all() if is_counting(review)]
    schedule, day = schedule_of(operation, operation.practice), stands.day
    seen_today = next((review for review in reviews if review.seen_on == today), None)
    if seen_today:
        at = point_of(seen_today.day, schedule)
        lists.done.append(Row(operation, day, at, "ok", "Seen today", booking=booking, done=seen_today))
        return
    if booking and booking.starts_at < ends_at:
        at = point_of(day, schedule)
        words = f"In window, day {day}" if at else f"Extra review, day {day}"
        kind = "booked" if at else "care"
        lists.booked.append(Row(operation, day, at or _nearest(day, schedule), kind, words, booking=booking))
        return
    if point is None:
        return
    if state == Due.LATER:
        opens_on = point.opens_on(operation.performed_on)
        lists.next_opens_on = min(lists.next_opens_on or opens_on, opens_on)
    elif not booking or timezone.localtime(booking.starts_at).date() > point.closes_on(operation.performed_on):
        # A booking beyond the window does not save this review, so the row stays.
        _add_open(lists, stands, point, today=today)


def _add_open(lists: DayList, stands: Followed, point: ReviewPoint, *, today: date) -> None:
    if stands.stop:
        lists.no_contact += 1
        return
    overdue = stands.state == Due.OVERDUE
    row = Row(stands.operation, stands.day, point, "late" if overdue else "due", words_of(stands, today), stands=stands)
    (lists.overdue if overdue else lists.due).append(row)


def _nearest(day: int, schedule: Schedule) -> ReviewPoint:
    return min(schedule, key=lambda point: abs(point.target_day - day))


def _unexpected(member: Member, today: date) -> list[Row]:
    """Patient reports that nobody has accepted, or whose flags nobody has dealt with; contacts that tell of a problem.

    Warnings of the patient's own come first, then what asks for an answer, then the rest; each oldest first.
    """
    waits = Q(accepted_at__isnull=True) | Q(patient_report__is_flagged=True, patient_report__answered_at__isnull=True)
    reports = Review.objects.visible_to(member).standing().filter(waits, observer=Observer.PATIENT)
    reports = reports.select_related("patient_report")
    problems = Contact.objects.filter(
        operation__practice_id=member.practice_id,
        operation__struck_at__isnull=True,
        result=ContactResult.PROBLEM,
        handled_at__isnull=True,
        struck_at__isnull=True,
    )
    reports = list(reports.order_by("seen_on", "pk"))
    problems = list(problems.order_by("made_on", "pk"))
    needed = {row.operation_id for row in [*reports, *problems]}
    if not needed:
        return []
    operations = {o.pk: o for o in _with_parts(Operation.objects.visible_to(member).filter(pk__in=needed))}
    rows = []
    for report in reports:
        operation = operations[report.operation_id]
        point = point_of(report.day, schedule_of(operation, member.practice))
        kind, words = report_words(report, clinical=may(member.role, Action.READ_RECORD))
        rows.append(Row(operation, report.day, point, kind, words, report=report))
    for problem in problems:
        operation = operations[problem.operation_id]
        day = (problem.made_on - operation.performed_on).days
        point = point_of(day, schedule_of(operation, member.practice))
        rows.append(Row(operation, day, point, "new", "Patient reports a problem", contact=problem))
    return sorted(rows, key=lambda row: (row.kind != "late", row.words == CALM_REPORT))


def report_words(report: Review, *, clinical: bool) -> tuple[str, str]:
    """How a report stands on the list. clinical: whether the reader may know what was answered."""
    sent = getattr(report, "patient_report", None)
    flags = [ReportFlag(code) for code in sent.flags] if sent else []
    if not flags:
        return "new", CALM_REPORT
    warns = any(flag.is_warning for flag in flags)
    if not clinical:
        return (
            ("late", "Warning answers: tell a clinician now") if warns else ("new", "Patient's report, asks for more")
        )
    said = ", ".join(flag.label for flag in flags)
    return ("late", f"Warning: {said}") if warns else ("new", f"Patient's report: {said}")


def _name(rows: Iterable[Row]) -> None:
    """Unseal only the identities that are shown."""
    rows = list(rows)
    patients = {row.operation.patient_id for row in rows}
    identities = {identity.patient_id: identity for identity in Identity.objects.filter(patient_id__in=patients)}
    for row in rows:
        row.identity = identities.get(row.operation.patient_id)
