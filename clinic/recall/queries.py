"""Where every followed operation stands on a day: its review, its tries, what stops them, whether its outcome is
known. Derived on each reading, in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Exists, F, Min, OuterRef, Prefetch, QuerySet, Subquery
from django.utils import timezone

from clinic.access.models import Member, Practice
from clinic.patients.identity import Identity
from clinic.planning.models import follow_up_of
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.recall.ladder import Ladder, Next, Try, begins_on, ladder_of, next_try
from clinic.recall.models import Closure
from clinic.recall.outcome import Side, SideSeen, is_missing
from clinic.reviews.models import Booking, Contact, Review
from clinic.reviews.seen import is_counting, seen_of, with_gaps
from clinic.reviews.stops import CALLS, UNANSWERED, stop_of, with_returns
from clinic.reviews.timeline import clinic_ended
from clinic.schedule import TWELVE_MONTHS, Due, ReviewPoint, next_point, schedule_of, state_of
from clinic.vocabulary.recall import Stop
from clinic.vocabulary.review import ContactResult, Observer

# How long after its window an outcome that nobody knows stays on the list until somebody gives the reason.
CLOSING_DAYS = 365


@dataclass
class Followed:
    """One operation on one day. contacts: all of the patient, oldest first. tries: those for the next review of this
    operation, or all of this operation where no review is to come. report_waits: the patient has answered, and no
    clinician has read it.
    """

    operation: Operation
    day: int
    point: ReviewPoint | None
    state: Due | None
    contacts: Sequence[Contact] = ()
    tries: Sequence[Contact] = ()
    next: Next | None = None
    stop: Stop | None = None
    outcome_missing: bool | None = None
    report_waits: bool = False
    booked_at: datetime | None = None
    identity: Identity | None = None
    nails: list[NailProcedure] = field(default_factory=list)

    @property
    def target_on(self) -> date | None:
        return self.point.target_on(self.operation.performed_on) if self.point else None

    @property
    def closes_on(self) -> date | None:
        return self.point.closes_on(self.operation.performed_on) if self.point else None

    @property
    def is_booked(self) -> bool:
        """An appointment within the window; a later one does not save this review."""
        if self.booked_at is None or self.closes_on is None:
            return False
        return timezone.localtime(self.booked_at).date() <= self.closes_on

    @property
    def was_reached(self) -> bool:
        """Whether anybody ever answered one of these tries."""
        return any(contact.result not in UNANSWERED for contact in self.tries)

    @property
    def in_twelve_months(self) -> bool:
        return TWELVE_MONTHS.opens_day <= self.day <= TWELVE_MONTHS.closes_day

    @property
    def asks_to_close(self) -> bool:
        """Whether a reason for the loss is asked for: the window is over, or the ladder is at its end."""
        if not self.outcome_missing or self.stop == Stop.CLOSED:
            return False
        at_end = self.in_twelve_months and self.next is not None and self.next.asks_to_close
        return self.day > TWELVE_MONTHS.closes_day or (at_end and not self.is_booked)


def followed(practice: Practice, *, today: date, now: datetime) -> list[Followed]:
    """Every standing operation that may still need a try, or a reason why its outcome is unknown; oldest first."""
    settings = follow_up_of(practice)
    since = today - timedelta(days=max(settings.longest_days, TWELVE_MONTHS.closes_day + CLOSING_DAYS))
    recent = Operation.objects.filter(practice=practice, performed_on__gte=since, performed_on__lte=today).standing()
    operations = list(_marked(recent, now).order_by("performed_on", "pk"))
    missing = outcomes_missing([o.pk for o in operations if (today - o.performed_on).days >= TWELVE_MONTHS.opens_day])
    rows = follow(operations, practice=practice, today=today)
    for row in rows:
        row.outcome_missing = missing.get(row.operation.pk)
        row.booked_at = row.operation.booked_at
    return rows


def _marked(operations: QuerySet[Operation], now: datetime) -> QuerySet[Operation]:
    """With plan, counting reviews, next appointment, whether somebody closed it, and whether a report waits."""
    ahead = Booking.objects.filter(operation=OuterRef("pk"), cancelled_at__isnull=True, starts_at__gte=now).order_by()
    first = ahead.values("operation").annotate(first=Min("starts_at")).values("first")
    closed = Closure.objects.standing().filter(operation=OuterRef("pk"))
    gone = NailProcedure.objects.filter(operation=OuterRef("pk"), amputated_on__isnull=True)
    told = Review.objects.filter(
        operation=OuterRef("pk"), observer=Observer.PATIENT, accepted_at__isnull=True, struck_at__isnull=True
    )
    with_marks = operations.annotate(
        booked_at=Subquery(first), is_closed=Exists(closed), has_toes=Exists(gone), report_waits=Exists(told)
    )
    return with_marks.select_related("patient", "planned").prefetch_related(reviews_that_count())


def reviews_that_count() -> Prefetch:
    wanted = ("operation_id", "operated_on", "seen_on", "observer", "accepted_at", "next_step", "struck_at")
    return Prefetch("reviews", with_gaps(Review.objects.counting()).only(*wanted))


def follow(operations: Sequence[Operation], *, practice: Practice, today: date) -> list[Followed]:
    """The standing of fetched operations, which bring plan, counting reviews and patient; one query more."""
    settings = follow_up_of(practice)
    ladder = ladder_of(settings.ladder, calls=settings.tries, close_after_days=settings.close_after_days)
    logged = contacts_of({operation.patient.pk for operation in operations})
    for operation in operations:
        operation.practice = practice  # the same row, with its schedules
    return [_standing(o, logged.get(o.patient.pk, []), ladder, today) for o in operations]


def contacts_of(people: Collection[int]) -> dict[int, list[Contact]]:
    """Standing contacts of each patient, oldest first, whichever operation they were logged at."""
    rows = Contact.objects.filter(
        operation__patient__in=people, struck_at__isnull=True, operation__struck_at__isnull=True
    ).annotate(patient_pk=F("operation__patient"))
    found: dict[int, list[Contact]] = defaultdict(list)
    for contact in with_returns(rows).order_by("made_on", "pk"):
        found[contact.patient_pk].append(contact)
    return found


def _standing(operation: Operation, contacts: Sequence[Contact], ladder: Ladder, today: date) -> Followed:
    reviews = [review for review in operation.reviews.all() if is_counting(review)]
    day = (today - operation.performed_on).days
    schedule, seen = schedule_of(operation, operation.practice), seen_of(reviews)
    dates = {"performed_on": operation.performed_on, "seen": seen, "today": today}
    point = next_point(**dates, clinic_ended=clinic_ended(reviews), schedule=schedule)
    if not _has_toes(operation):
        point = None  # nothing is left to look at
    row = Followed(operation, day, point, state_of(point, **dates) if point else None, contacts=contacts)
    row.report_waits = getattr(operation, "report_waits", False)
    row.stop = stop_of(
        operation.patient, contacts, performed_on=operation.performed_on,
        is_closed=getattr(operation, "is_closed", False),
    )  # fmt: skip
    if point:
        row.tries, row.next = _tries(row, point, ladder, today)
    else:
        row.tries = [contact for contact in contacts if contact.operation_id == operation.pk]
    return row


def _has_toes(operation: Operation) -> bool:
    """Whether any toe is still there; from the mark of the query, or from the toes that were fetched."""
    if hasattr(operation, "has_toes"):
        return operation.has_toes
    return any(nail.amputated_on is None for nail in operation.nail_procedures.all())


def _tries(row: Followed, point: ReviewPoint, ladder: Ladder, today: date) -> tuple[list[Contact], Next]:
    operation, dates = row.operation, _dates(row.operation, point)
    begins = begins_on(ladder, performed_on=dates["performed_on"], target_on=dates["target_on"])
    own = [c for c in row.contacts if c.operation_id == operation.pk and begins <= c.made_on <= dates["closes_on"]]
    tries = [_try(contact) for contact in own if contact.result != ContactResult.BOOKED]  # a booking is no try
    return own, next_try(ladder, **dates, tries=tries, today=today)


def _dates(operation: Operation, point: ReviewPoint) -> dict[str, Any]:
    performed_on = operation.performed_on
    return {
        "performed_on": performed_on, "target_on": point.target_on(performed_on),
        "closes_on": point.closes_on(performed_on),
    }  # fmt: skip


def _try(contact: Contact) -> Try:
    local = timezone.localtime(contact.recorded_at)
    return Try(
        on=contact.made_on,
        called=contact.channel in CALLS,
        reached=contact.result not in UNANSWERED,
        again_on=contact.next_try_on,
        at=local.time().replace(second=0, microsecond=0) if local.date() == contact.made_on else None,
    )


# --- the outcome at 12 months

SIDE_COLUMNS = (
    "pk", "nail_procedure__operation", "nail_procedure__operation__performed_on", "nail_procedure__matrix_destroyed",
    "nail_procedure__amputated_on", "reoperated_on", "findings__extent", "findings__symptoms",
    "findings__retreatment", "findings__review__seen_on", "findings__review__struck_at",
    "findings__review__observer", "findings__review__accepted_at",
)  # fmt: skip


def outcomes_missing(operations: Collection[int]) -> dict[int, bool]:
    """Whether the 12-month outcome of any treated side is still unknown, by operation. One query."""
    again = TreatedSide.objects.filter(
        revises=OuterRef("pk"), nail_procedure__operation__struck_at__isnull=True
    ).order_by().values("revises").annotate(on=Min("nail_procedure__operation__performed_on")).values("on")  # fmt: skip
    treated = TreatedSide.objects.filter(nail_procedure__operation__in=operations)
    rows = treated.annotate(reoperated_on=Subquery(again)).order_by("pk").values(*SIDE_COLUMNS)
    sides: dict[int, dict[int, list[Mapping[str, Any]]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        sides[row["nail_procedure__operation"]][row["pk"]].append(row)
    return {pk: is_missing(_side(rows) for rows in own.values()) for pk, own in sides.items()}


def _side(rows: Sequence[Mapping[str, Any]]) -> Side:
    first = rows[0]
    performed_on = first["nail_procedure__operation__performed_on"]
    ends = [first[name] for name in ("nail_procedure__amputated_on", "reoperated_on") if first[name]]
    return Side(
        grows=first["nail_procedure__matrix_destroyed"],
        ended_day=(min(ends) - performed_on).days if ends else None,
        seen=tuple(_seen(row, performed_on) for row in rows if _counts(row)),
    )


def _counts(row: Mapping[str, Any]) -> bool:
    if row["findings__review__seen_on"] is None or row["findings__review__struck_at"]:
        return False
    return row["findings__review__observer"] != Observer.PATIENT or row["findings__review__accepted_at"] is not None


def _seen(row: Mapping[str, Any], performed_on: date) -> SideSeen:
    day = (row["findings__review__seen_on"] - performed_on).days
    return SideSeen(day, row["findings__extent"], row["findings__symptoms"], row["findings__retreatment"])


# --- what a page prints


def name_rows(rows: Iterable[Followed]) -> None:
    """Toes, sides and identity of the rows that are shown, in two queries; nobody else is unsealed."""
    rows = list(rows)
    own = NailProcedure.objects.filter(operation__in=[row.operation.pk for row in rows]).select_related(
        "operation__patient__identity"
    )
    nails: dict[int, list[NailProcedure]] = defaultdict(list)
    for nail in own.prefetch_related("treated_sides").order_by("-foot", "toe"):
        nails[nail.operation_id].append(nail)
    for row in rows:
        row.nails = nails[row.operation.pk]
        row.identity = row.nails[0].operation.patient.identity if row.nails else None


def named_rows(own: QuerySet[Operation], practice: Practice, *, today: date, now: datetime) -> list[Followed]:
    """Some operations of the practice as the lists see them, named."""
    rows = follow(list(_marked(own, now).order_by("performed_on", "pk")), practice=practice, today=today)
    missing = outcomes_missing([row.operation.pk for row in rows])
    for row in rows:
        row.outcome_missing = missing.get(row.operation.pk)
        row.booked_at = row.operation.booked_at
    name_rows(rows)
    return rows


def standing_of(member: Member, key: str, *, today: date, now: datetime) -> Followed | None:
    """One operation of the member's practice as the lists see it, named; None where there is none."""
    own = Operation.objects.visible_to(member).standing().filter(key=key)
    return next(iter(named_rows(own, member.practice, today=today, now=now)), None)
