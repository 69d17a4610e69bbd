"""The same acts from the command line: a file made, checked, taken and refused."""

import io
import json
import stat

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.urls import reverse

from audit.exchange.simulated import Plan
from audit.measures.material import within
from audit.peers import exporting
from audit.peers.models import Export, PeerSet, Refusal, SetState, Taking
from tests.audit.exchange import acts, sets
from tests.audit.exchange.conftest import a_year, lead_of, reviewer_of, signed_leads
from tests.audit.exchange.signatures import sign


@pytest.fixture(scope="module")
def signed_place(once_for_all):
    with once_for_all():
        (lead,) = signed_leads(1)
        yield lead, acts.joined(lead, acts.a_group(reviewer_of("host")))


@pytest.fixture
def place(signed_place, db):
    return signed_place


def export(lead, membership, path, **options):
    out = io.StringIO()
    given = {"practice": lead.practice.code, "year": 2023, "group": membership.group.code, "own_code": membership.code,
             "to": "The group", "purpose": "Comparison", "by": lead.username, "out": path, **options}  # fmt: skip
    call_command("export_peer", stdout=out, **given)
    return out.getvalue()


def test_a_set_goes_from_one_command_to_the_other(place, tmp_path):
    lead, membership = place
    path = tmp_path / "set.zip"

    facts = json.loads(export(lead, membership, path, json=True))

    row = Export.objects.get()
    assert path.read_bytes() == bytes(row.file)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert facts["sha256"] == row.sha256
    assert Taking.objects.get().by_command
    export(lead, membership, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == path.read_bytes()
    out = io.StringIO()
    call_command("receive_export", path, group=membership.group.code, stdout=out)
    assert PeerSet.objects.get().state == SetState.POOLED
    assert f"In the pool; practice {membership.code}" in out.getvalue()


@pytest.mark.parametrize("rules", [{"k": 10}, {"strict": True}])
def test_other_rules_than_those_it_left_under_are_refused(place, tmp_path, rules):
    lead, membership = place
    export(lead, membership, tmp_path / "set.zip")

    with pytest.raises(CommandError, match="left for this group already under other rules"):
        export(lead, membership, tmp_path / "other.zip", **rules)

    assert not (tmp_path / "other.zip").exists()


def test_the_file_is_made_before_anything_is_locked(place, tmp_path, monkeypatch):
    """A lock held while a file is made would keep everybody else from writing."""
    depth: list[int] = []
    make = exporting.make

    def watched(*args, **more):
        depth.append(len(connection.savepoint_ids))
        return make(*args, **more)

    monkeypatch.setattr(exporting, "make", watched)
    outside = len(connection.savepoint_ids)
    lead, membership = place

    export(lead, membership, tmp_path / "set.zip")

    assert depth == [outside]


def test_a_file_made_beside_another_is_made_again(place):
    """Whatever leaves between the making and the lock is looked at."""
    lead, membership = place
    recipient = exporting.Recipient(membership.group.code, membership.code, "The group", "Comparison")
    prepared = acts.prepared(lead)
    ready = exporting.made_ready(lead.practice, prepared, recipient)
    elsewhere = acts.exported(lead, acts.joined(lead, acts.a_group(reviewer_of("elsewhere"))))

    row = exporting.make_export(by=lead, prepared=prepared, recipient=recipient, now=acts.NOW, ready=ready)

    assert row != elsewhere
    assert row.content != ready.made.manifest.content


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"year": 1999}, "no audit of 1999 is signed; signed are 2023"),
        ({"by": "nobody"}, "is no practice lead"),
        ({"group": "x"}, "--group: 'x' is no such code"),
        ({"own_code": "Northgate"}, "--as: 'Northgate' is no such code"),
        ({"k": 3}, "k must be at least 5, not 3"),
        ({"purpose": " "}, "--for: give 1 to 300 characters"),
        ({"with_before": True}, "the audit year before 2023 is not signed"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_written(place, tmp_path, change, says):
    lead, membership = place
    with pytest.raises(CommandError, match=says):
        export(lead, membership, tmp_path / "set.zip", **change)

    assert list(tmp_path.iterdir()) == []
    assert not Export.objects.exists()


def test_a_place_that_cannot_be_written_leaves_no_export_and_no_note(place, tmp_path):
    lead, membership = place
    (tmp_path / "set.zip").write_bytes(b"mine")
    with pytest.raises(CommandError, match="exists already"):
        export(lead, membership, tmp_path / "set.zip")
    assert (tmp_path / "set.zip").read_bytes() == b"mine"
    with pytest.raises(CommandError, match="could not be written"):
        export(lead, membership, tmp_path / "nowhere" / "set.zip")

    assert not Export.objects.exists()
    assert not Taking.objects.exists()


def test_files_are_checked_without_storing_anything(db, tmp_path):
    good, bad = tmp_path / "good.zip", tmp_path / "bad.zip"
    good.write_bytes(sets.a_set())
    bad.write_bytes(sets.a_set()[:-5])
    out = io.StringIO()

    with pytest.raises(CommandError, match="1 of 2 refused") as error:
        call_command("receive_export", good, bad, stdout=out)

    assert error.value.returncode == 1
    assert "holds together" in out.getvalue()
    assert "does not end where it should" in out.getvalue()
    assert not PeerSet.objects.exists()
    assert not Refusal.objects.exists()


def test_a_refused_file_is_noted_and_a_second_set_needs_replace(place, tmp_path):
    lead, membership = place
    group = membership.group
    path = tmp_path / "set.zip"
    export(lead, membership, path)
    call_command("receive_export", path, group=group.code, stdout=io.StringIO())
    out = io.StringIO()
    with pytest.raises(CommandError):
        call_command("receive_export", path, tmp_path / "none.zip", group=group.code, json=True, stdout=out)

    answers = json.loads(out.getvalue())
    assert "these rows are here already" in answers[0]["problems"][0]
    assert "none.zip cannot be read" in answers[1]["problems"][0]
    assert str(tmp_path) not in out.getvalue()
    # What could not be read was not received.
    assert Refusal.objects.count() == 1


def test_two_demo_practices_and_four_others_export_hand_in_and_are_pooled(demo_houses, db, tmp_path, client_of):
    """Each from its two signed years or its one; the page of the group then compares six."""
    host = reviewer_of("other")
    group = acts.a_group(host, unit="toe")
    leads = [lead_of(f"also-{at}", Plan(f"also-{at}", seed=at + 50, patients=60 + 20 * at)) for at in range(4)]
    for code, house in demo_houses.items():
        leads.append(lead_of(code))
        for starting in (2022, 2023):
            sign(leads[-1], within(house.frames, *a_year(starting)))

    for at, lead in enumerate(leads):
        membership = acts.joined(lead, group)
        export(lead, membership, tmp_path / f"{at}.zip", with_before=lead.practice.code in demo_houses)
        call_command("receive_export", tmp_path / f"{at}.zip", group=group.code, stdout=io.StringIO())

    page = client_of(host).get(reverse("compare", args=[group.key])).content.decode()
    assert "pool of 6 practices" in page
    assert "data-events" in page
    assert Export.objects.filter(signed_before__isnull=False).count() == 2
