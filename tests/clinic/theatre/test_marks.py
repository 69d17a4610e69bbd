"""One-tap times: kept once, in order, corrected with a reason, and what the record derives from them."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from clinic.access.models import Conflict
from clinic.procedures.models import NailProcedure, Operation
from clinic.procedures.signing import sign
from clinic.theatre import marks
from clinic.theatre.models import Mark
from clinic.vocabulary.theatre import MarkKind
from tests.factories import create_operation

pytestmark = pytest.mark.django_db
BEGIN = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


@pytest.fixture
def operation(practice, practitioner):
    return create_operation(
        practice, operator=practitioner, performed_on=date(2026, 3, 2), sides=("tibial", "fibular"), seconds=()
    )


@pytest.fixture
def tap(operation, practitioner):
    nail = operation.nail_procedures.get()
    sides = {treated.side: treated for treated in nail.treated_sides.all()}
    count = iter(range(1000))

    def now(kind: str, seconds: float, *, side: str | None = None, name: str | None = None, waited: float = 0) -> Mark:
        at = BEGIN + timedelta(seconds=seconds)
        of_toe = kind not in {MarkKind.INJECTED, MarkKind.TESTED}
        return marks.tap(
            by=practitioner, operation=operation, kind=kind, at=at, now=at + timedelta(seconds=waited),
            name=name or f"tap-{next(count):020}", nail=nail if of_toe else None, side=sides.get(side),
        )  # fmt: skip

    return now


def exposure(operation: Operation) -> dict[str, list[int]]:
    nail = NailProcedure.objects.prefetch_related("treated_sides__applications").get(operation=operation)
    return {treated.side: [row.seconds for row in treated.applications.all()] for treated in nail.treated_sides.all()}


def test_three_applications_of_60_s_and_two_of_90_s_both_make_180_s(operation, tap):
    """Common practice, no source: three minutes are the usual ceiling of phenol."""
    for number in range(3):
        tap("application_start", number * 100, side="tibial")
        tap("application_stop", number * 100 + 60, side="tibial")
    for number in range(2):
        tap("application_start", 400 + number * 100, side="fibular")
        tap("application_stop", 490 + number * 100, side="fibular")

    assert exposure(operation) == {"tibial": [60, 60, 60], "fibular": [90, 90]}
    sides = NailProcedure.objects.get(operation=operation).treated_sides.all()
    assert {treated.exposure_seconds for treated in sides} == {180}


def test_both_sides_tapped_together(operation, tap):
    tap("application_start", 0)
    tap("application_stop", 61.4)

    assert exposure(operation) == {"tibial": [61], "fibular": [61]}


def test_the_same_tap_sent_again_is_one_mark(operation, tap):
    name = "the-very-same-tap-000000"
    first, second = tap("injected", 0, name=name), tap("injected", 5, name=name)

    assert first == second
    assert Mark.objects.count() == 1


def test_a_tap_that_waited_for_the_network_keeps_its_own_time(operation, tap):
    tap("tourniquet_on", 0)
    mark = tap("tourniquet_off", 540, waited=900)

    nail = NailProcedure.objects.get(operation=operation)
    assert nail.tourniquet_off_at - nail.tourniquet_on_at == timedelta(minutes=9)
    assert mark.received_at - mark.at == timedelta(minutes=15)


@pytest.mark.parametrize(
    ("before", "kind", "sentence"),
    [
        (["tourniquet_on"], "tourniquet_on", "Tourniquet on is on record and has not ended yet"),
        ([], "tourniquet_off", "“Tourniquet on” was not tapped before"),
        (["application_start"], "application_start", "Application began is on record"),
        (["application_start", "application_stop"], "application_stop", "“Application began” was not tapped before"),
    ],
)
def test_a_tap_that_contradicts_another_is_refused(operation, tap, before, kind, sentence):
    side = "tibial" if "application" in kind else None
    for number, earlier in enumerate(before):
        tap(earlier, number * 10, side=side)

    with pytest.raises(marks.Refused, match=sentence):
        tap(kind, 100, side=side)
    assert Mark.objects.count() == len(before)


def test_an_application_that_nobody_can_have_meant_counts_nowhere_until_it_is_corrected(operation, tap, practitioner):
    tap("application_start", 0, side="tibial")
    stop = tap("application_stop", 3600, side="tibial")
    assert exposure(operation)["tibial"] == []
    assert marks.too_long(marks.standing(operation)) == [3600]

    marks.correct(
        by=practitioner, mark=stop, version=1, at=BEGIN + timedelta(seconds=60), now=BEGIN + timedelta(hours=2),
        reason="Forgot to stop",
    )  # fmt: skip

    assert exposure(operation)["tibial"] == [60]
    assert marks.too_long(marks.standing(operation)) == []


def test_a_correction_keeps_the_earlier_time_and_carries_over(operation, tap, practitioner):
    tap("tourniquet_on", 0)
    off = tap("tourniquet_off", 600)

    marks.correct(by=practitioner, mark=off, version=1, at=BEGIN + timedelta(minutes=8), now=BEGIN + timedelta(hours=1),
                  reason="Tapped late")  # fmt: skip

    nail = NailProcedure.objects.get(operation=operation)
    assert nail.tourniquet_off_at == BEGIN + timedelta(minutes=8)
    history = off.history.order_by("history_id")
    assert [row.at for row in history] == [BEGIN + timedelta(minutes=10), BEGIN + timedelta(minutes=8)]
    assert history[1].history_change_reason == "Tapped late"
    with pytest.raises(Conflict):
        marks.correct(by=practitioner, mark=off, version=1, at=BEGIN, now=BEGIN + timedelta(hours=1), reason="x")


def test_off_before_on_and_the_future_are_refused(operation, tap, practitioner):
    tap("tourniquet_on", 60)
    off = tap("tourniquet_off", 600)
    common = {"by": practitioner, "mark": off, "version": 1, "now": BEGIN + timedelta(hours=1), "reason": "x"}

    with pytest.raises(marks.Refused, match="was not tapped before"):
        marks.correct(at=BEGIN, **common)
    with pytest.raises(marks.Refused, match="in the future"):
        marks.correct(at=BEGIN + timedelta(hours=2), **common)


def test_a_tourniquet_on_tapped_by_mistake_is_taken_back(operation, tap, practitioner):
    mark = tap("tourniquet_on", 0)
    assert marks.still_open(marks.standing(operation)) == [mark]

    marks.take_back(by=practitioner, mark=mark, version=1, now=BEGIN + timedelta(minutes=1), reason="Wrong button")

    assert marks.still_open(marks.standing(operation)) == []
    mark.refresh_from_db()
    assert mark.taken_back_at is not None


def test_across_midnight_and_across_the_clock_change(operation, tap):
    """On 29 March 2026 the clocks in London go from 01:00 to 02:00; two instants nine minutes apart stay nine."""
    Operation.objects.filter(pk=operation.pk).update(performed_on=date(2026, 3, 29))
    operation.refresh_from_db()
    zone = ZoneInfo("Europe/London")
    before, after = datetime(2026, 3, 29, 0, 55, tzinfo=zone), datetime(2026, 3, 29, 2, 4, tzinfo=zone)
    tap("tourniquet_on", (before - BEGIN).total_seconds())
    tap("tourniquet_off", (after - BEGIN).total_seconds())

    nail = NailProcedure.objects.get(operation=operation)
    assert nail.tourniquet_off_at - nail.tourniquet_on_at == timedelta(minutes=9)

    tap("application_start", (datetime(2026, 3, 29, 23, 59, 30, tzinfo=zone) - BEGIN).total_seconds(), side="tibial")
    tap("application_stop", (datetime(2026, 3, 30, 0, 0, 30, tzinfo=zone) - BEGIN).total_seconds(), side="tibial")
    assert exposure(operation)["tibial"] == [60]


def test_sides_without_taps_keep_what_was_typed(practice, practitioner):
    operation = create_operation(
        practice, operator=practitioner, performed_on=BEGIN.date(), sides=("tibial",), seconds=(60, 60)
    )
    nail = operation.nail_procedures.get()
    marks.tap(by=practitioner, operation=operation, kind="tourniquet_on", at=BEGIN, now=BEGIN, name="x" * 24, nail=nail)

    assert exposure(operation) == {"tibial": [60, 60]}


def test_after_signing_a_time_changes_only_by_an_amendment(operation, tap, practitioner):
    tap("application_start", 0)
    stop = tap("application_stop", 60)
    stored = Operation.objects.get(pk=operation.pk)
    sign(by=practitioner, operation=stored, version=stored.version, now=BEGIN + timedelta(hours=1), obstacles=[])

    from clinic.procedures.models import SignedRecord

    with pytest.raises(SignedRecord):
        tap("tourniquet_on", 4000)
    later = BEGIN + timedelta(hours=2)
    at = BEGIN + timedelta(seconds=45)
    marks.correct(by=practitioner, mark=stop, version=1, at=at, now=later, reason="Counted again")

    assert exposure(operation) == {"tibial": [45], "fibular": [45]}
    assert [row.reason for row in operation.amendments.all()] == ["Counted again"]
