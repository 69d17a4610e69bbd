"""What the database refuses by itself, and what counts as approved."""

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from clinic.access.models import Conflict
from clinic.access.rules import Role
from clinic.dosing.acts import add_limit, approve_limit, change_limit, taken_over, withdraw_limit
from clinic.dosing.candidates import CANDIDATES
from clinic.dosing.models import DoseLimit, approved_limits
from tests.factories import NOON, create_limit, create_member

pytestmark = pytest.mark.django_db


def refused(make) -> bool:
    try:
        with transaction.atomic():
            make()
    except IntegrityError:
        return True
    return False


@pytest.mark.parametrize(
    "fields",
    [
        {"agent": "other"},
        {"agent": "unheard_of"},
        {"vasoconstrictor": "adrenaline_100"},
        {"vasoconstrictor": "not_recorded"},
        {"mg_per_kg": Decimal(0)},
        {"mg_per_kg": Decimal("20.01")},
        {"absolute_mg": Decimal(2001)},
        {"per_digit_mg": Decimal("0.5")},
        {"weight_cap_kg": Decimal(4)},
        {"period_h": 73},
        {"mg_per_kg": None, "absolute_mg": None, "per_digit_mg": Decimal(132)},
        {"mg_per_kg": None, "weight_cap_kg": Decimal(70)},
        {"profile": ""},
        {"source_text": ""},
        {"approved_on": NOON.date()},
        {"checked_against": "something, but nobody approved"},
    ],
)
def test_impossible_rows(practice, fields):
    assert refused(lambda: create_limit(practice, **fields))


def test_approved_without_a_source_or_unchecked(practice, lead):
    assert refused(lambda: create_limit(practice, by=lead, checked_against=""))
    assert refused(lambda: create_limit(practice, by=lead, needs_check=True))
    assert not refused(lambda: create_limit(practice, by=lead))


def test_one_row_of_a_profile_and_drug(practice, other_practice):
    create_limit(practice, profile="Ours")

    assert refused(lambda: create_limit(practice, profile="Ours"))
    assert not refused(lambda: create_limit(practice, profile="Ours", vasoconstrictor="adrenaline"))
    assert not refused(lambda: create_limit(other_practice, profile="Ours"))


def test_one_approved_row_of_a_drug(practice, other_practice, lead):
    create_limit(practice, by=lead)

    assert refused(lambda: create_limit(practice, by=lead))
    assert not refused(lambda: create_limit(practice, by=lead, vasoconstrictor="adrenaline"))
    assert not refused(lambda: create_limit(other_practice, by=lead))
    assert not refused(lambda: create_limit(practice))


def test_every_candidate_can_be_stored(practice, lead):
    for candidate in CANDIDATES:
        row = taken_over(candidate, by=lead)
        add_limit(by=lead, row=row)

        row.refresh_from_db()
        assert row.limit == candidate.limit
    assert approved_limits(practice) == ()


def test_only_approved_rows_of_the_practice_count(practice, other_practice, lead):
    approved = create_limit(practice, by=lead)
    create_limit(practice)
    create_limit(other_practice, by=lead, vasoconstrictor="adrenaline")

    [limit] = approved_limits(practice)

    assert limit == approved.limit
    assert (limit.mg_per_kg, limit.absolute_mg, limit.per_digit_mg) == (Decimal("4.5"), 200, None)


def test_numbers_come_back_exactly(practice, lead):
    row = create_limit(practice, by=lead, mg_per_kg=Decimal("6.60"), absolute_mg=Decimal("132.4"))

    row.refresh_from_db()
    assert row.limit.at(Decimal("70.1")) == Decimal("132.4")
    assert row.limit.at(Decimal("10.1")) == Decimal("66.66")


def approve(by, row, **changes):
    said = {"version": row.version, "instead_of": "", "on": NOON.date(), "checked_against": "Label"}
    approve_limit(by=by, row=row, **{**said, **changes})


def test_approving_ends_the_row_in_force_and_both_keep_their_history(practice, lead):
    first, second = create_limit(practice, by=lead, profile="First"), create_limit(practice, profile="Second")

    approve(lead, second, instead_of=first.stamp)

    first.refresh_from_db()
    second.refresh_from_db()
    assert [limit.source for limit in approved_limits(practice)] == [second.source_text]
    assert (first.approved_by, first.approved_on, first.checked_against) == (None, None, "")
    assert (second.approved_by, second.checked_against) == (lead, "Label")
    ended = first.history.first()
    assert (ended.history_user, ended.history_change_reason) == (lead, "Ended: “Second” was approved instead")
    assert ended.prev_record.approved_by == lead


def test_approving_takes_the_mark_from_memory_away(practice, lead):
    row = create_limit(practice, needs_check=True)

    approve(lead, row)

    row.refresh_from_db()
    assert row.needs_check is False
    assert row.history.first().prev_record.needs_check is True


def test_ending_another_row_than_the_one_shown_is_a_conflict(practice, lead):
    row, shown = create_limit(practice), create_limit(practice, by=lead)

    for instead_of in ("", f"{shown.key}.{shown.version + 1}", "nosuchrowxyz.1"):
        with pytest.raises(Conflict):
            approve(lead, row, instead_of=instead_of)

    row.refresh_from_db()
    shown.refresh_from_db()
    assert (row.approved_on, row.version, shown.approved_by, shown.version) == (None, 1, lead, 1)


def test_approving_a_version_that_moved_on_is_a_conflict_and_ends_nothing(practice, lead):
    row, shown = create_limit(practice), create_limit(practice, by=lead)

    with pytest.raises(Conflict):
        approve(lead, row, version=2, instead_of=shown.stamp)

    shown.refresh_from_db()
    assert shown.approved_by == lead


def test_a_change_lapses_the_approval(practice, lead):
    row = create_limit(practice, by=lead)

    change_limit(by=lead, row=row, version=1, values={"absolute_mg": Decimal(150)}, reason="New protocol")

    row.refresh_from_db()
    assert approved_limits(practice) == ()
    assert (row.version, row.absolute_mg, row.approved_by) == (2, 150, None)
    assert row.history.first().history_change_reason == "New protocol"


def test_a_change_to_a_name_in_use_is_a_conflict(practice, lead):
    row, other = create_limit(practice), create_limit(practice)

    with pytest.raises(Conflict), transaction.atomic():
        change_limit(by=lead, row=row, version=1, values={"profile": other.profile}, reason="x")


def test_withdrawing(practice, lead):
    row = create_limit(practice, by=lead)

    withdraw_limit(by=lead, row=row, version=1, reason="Label changed")

    row.refresh_from_db()
    assert (approved_limits(practice), row.approved_on) == ((), None)
    assert row.history.first().history_change_reason == "Label changed"


@pytest.mark.parametrize("role", [role for role in Role if role != Role.LEAD])
def test_nobody_but_the_lead_acts_on_limits(practice, role):
    member, row = create_member(practice, role=role), create_limit(practice)

    for act in (
        lambda: approve(member, row),
        lambda: change_limit(by=member, row=row, version=1, values={}, reason="x"),
        lambda: withdraw_limit(by=member, row=row, version=1, reason="x"),
        lambda: add_limit(by=member, row=DoseLimit(practice=practice)),
    ):
        with pytest.raises(PermissionError):
            act()

    assert DoseLimit.objects.get().version == 1


def test_a_lead_elsewhere_acts_on_no_row_of_this_practice(practice, other_practice):
    row = create_limit(practice)

    with pytest.raises(PermissionError):
        approve(create_member(other_practice, role=Role.LEAD), row)
