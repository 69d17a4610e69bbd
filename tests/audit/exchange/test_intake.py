"""What a group takes: no operation twice, nobody's set but by the practice itself, nothing after closing or leaving."""

import pytest
from django.urls import reverse

from audit.exchange.problems import Refused
from audit.exchange.simulated import Plan
from audit.peers import groups, intake
from audit.peers.models import PeerGroup, PeerSet, SetState
from clinic.access.models import Conflict
from clinic.access.once import new_token
from tests.audit.exchange import acts, sets
from tests.audit.exchange.conftest import lead_of, reviewer_of

YEAR, BOTH_YEARS = "2023-04/2024-03", "2022-04/2024-03"
OTHER = Plan("north corrected", seed=12, patients=120)


@pytest.fixture
def host(db):
    return reviewer_of("host")


@pytest.fixture
def membership(host):
    return acts.joined(lead_of("north"), acts.a_group(host))


def file_of(membership, year: str = YEAR, plan: Plan = sets.PLAN, *, seed: int = 1) -> bytes:
    """plan: whose rows. seed: of the random codes."""
    rows = sets.released(plan, seed=seed).assign(audit_year=year)
    return sets.a_set(rows, plan, group=membership.group.code, practice=membership.code)


def brought(membership, data: bytes, *, by_itself: bool = True, replace: bool = False) -> PeerSet:
    return intake.receive(
        data=data, group=membership.group, membership=membership if by_itself else None,
        by=membership.practice.members.get(), replace=replace, now=acts.NOW,
    )  # fmt: skip


@pytest.mark.parametrize(("first", "second"), [(YEAR, BOTH_YEARS), (BOTH_YEARS, YEAR)])
def test_overlapping_periods_are_not_both_pooled(membership, first, second):
    brought(membership, file_of(membership, first))

    with pytest.raises(Refused, match=r"overlap with the set of .* operations would count twice; withdraw that set"):
        brought(membership, file_of(membership, second, OTHER), replace=True)

    assert [row.audit_year for row in PeerSet.objects.all()] == [first]
    assert brought(membership, file_of(membership, "2019-04/2020-03", OTHER)).state == SetState.POOLED


def test_after_withdrawal_the_longer_period_is_taken(membership):
    row = brought(membership, file_of(membership))
    by = membership.practice.members.get()
    intake.withdraw_set(by=by, row=row, version=row.version, reason="two years instead")

    assert brought(membership, file_of(membership, BOTH_YEARS, OTHER)).state == SetState.POOLED


def test_only_the_practice_replaces_what_it_handed_in_itself(membership):
    own = brought(membership, file_of(membership))

    with pytest.raises(Refused, match="only it can replace that"):
        brought(membership, file_of(membership, plan=OTHER), by_itself=False, replace=True)

    own.refresh_from_db()
    assert own.state == SetState.POOLED
    assert brought(membership, file_of(membership, plan=OTHER), replace=True).verified


def test_what_others_brought_anybody_may_replace_and_the_comparison_says_so(host, membership, client_of):
    brought(membership, file_of(membership), by_itself=False)
    brought(membership, file_of(membership, plan=OTHER), by_itself=False, replace=True)

    page = client_of(host).get(reverse("compare", args=[membership.group.key])).content.decode()

    assert "1 set was brought by somebody else" in page.replace("\u00a0", " ")


def test_nothing_is_taken_after_closing_however_old_the_page(host, membership):
    stale = membership.group
    fresh = type(stale).objects.get(pk=stale.pk)
    groups.close_group(by=host, group=fresh, version=fresh.version, now=acts.NOW)

    with pytest.raises(Refused, match="the group is closed"):
        brought(membership, file_of(membership))
    assert stale.closed_at is None
    with pytest.raises(Conflict):
        groups.invite(by=host, group=stale, now=acts.NOW)


@pytest.mark.parametrize("by_itself", [True, False])
def test_nothing_is_taken_after_leaving_however_old_the_page(membership, by_itself):
    fresh = type(membership).objects.get(pk=membership.pk)
    groups.leave(by=fresh.practice.members.get(), membership=fresh, version=fresh.version, now=acts.NOW)

    with pytest.raises(Refused, match=r"has left the group|no practice with the code"):
        brought(membership, file_of(membership), by_itself=by_itself)
    assert membership.left_at is None
    assert not PeerSet.objects.exists()


def test_the_same_rows_under_codes_drawn_anew_are_a_replay(host, membership):
    first = brought(membership, file_of(membership))
    other = acts.joined(lead_of("south"), membership.group)

    with pytest.raises(Refused, match="under other codes; nothing in them has changed"):
        brought(membership, file_of(membership, seed=2), replace=True)
    with pytest.raises(Refused, match="under other codes, were handed in by another practice"):
        brought(other, file_of(other, seed=2))

    # What was withdrawn by mistake may come back.
    intake.withdraw_set(by=membership.practice.members.get(), row=first, version=first.version, reason="by mistake")
    assert brought(membership, file_of(membership, seed=2)).state == SetState.POOLED


def test_a_practice_that_left_is_told_that_it_cannot_join_again(host, membership):
    lead = membership.practice.members.get()
    groups.leave(by=lead, membership=membership, version=membership.version, now=acts.NOW)

    with pytest.raises(groups.NotJoined, match="has left it; a practice that has left cannot join"):
        acts.joined(lead, membership.group, host=host)


RACE = """
from audit.exchange.problems import Refused
from audit.exchange.simulated import Plan
from audit.peers import groups, intake
from audit.peers.models import PeerSet
from tests.audit.exchange import acts
from tests.audit.exchange.conftest import lead_of, reviewer_of
from tests.audit.exchange.test_intake import OTHER, brought, file_of
host = reviewer_of("host")
membership = acts.joined(lead_of("north"), acts.a_group(host))
files = [file_of(membership), file_of(membership, "{year}", OTHER)]
def attempt():
    return brought(membership, files.pop(), replace={replace}).state
def after():
    return sorted(PeerSet.objects.values_list("state", flat=True))
"""


@pytest.mark.parametrize(
    ("year", "replace", "answers", "states"),
    [
        (YEAR, False, ["AsksToReplace", "pooled"], ["pooled"]),
        (YEAR, True, ["pooled", "pooled"], ["pooled", "replaced"]),
        (BOTH_YEARS, True, ["Refused", "pooled"], ["pooled"]),
    ],
)
def test_of_two_uploads_at_once_one_stands(race, year, replace, answers, states):
    results, standing = race(RACE.format(year=year, replace=replace), runners=2)

    assert sorted(results) == answers
    assert standing == states


def test_a_group_of_a_year_that_ends_before_it_begins_is_not_opened(host, client_of):
    answers = {"once": new_token(), "name": "Group", "outcome": "any_regrowth", "unit": "side"}
    address = reverse("group-new")

    page = client_of(host).post(address, {**answers, "audit_year": "2024-03/2023-04"}).content.decode()

    assert "The last month of the audit year lies before its first" in page
    assert not PeerGroup.objects.exists()
