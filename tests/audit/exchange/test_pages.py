"""The pages of the exchange before anything is compared: a file is made, looked at, handed in, taken or refused."""

import io
import re
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from audit.exchange.preparing import prepare
from audit.exchange.simulated import Plan
from audit.peers import groups, intake
from audit.peers.exporting import withdraw_export
from audit.peers.models import Export, Membership, PeerSet, Refusal, SetState
from audit.signed import as_one, signed_audits
from clinic.access.once import new_token
from clinic.access.rules import Role
from tests.audit.exchange import acts
from tests.audit.exchange.conftest import PASSWORD, lead_of, reviewer_of, signed_leads
from tests.audit.exchange.corpus import with_cell
from tests.factories import create_member


@pytest.fixture(scope="module")
def cast(once_for_all):
    """A reviewer with a group, two leads in it whose audits are signed, and the file of the first."""
    with once_for_all():
        host, leads = reviewer_of("host"), signed_leads(2)
        group = acts.a_group(host)
        memberships = [acts.joined(lead, group) for lead in leads]
        yield host, leads, memberships, acts.exported(leads[0], memberships[0])


@pytest.fixture
def host(cast, db):
    return cast[0]


@pytest.fixture
def leads(cast, db):
    return cast[1]


@pytest.fixture
def lead(leads):
    return leads[0]


@pytest.fixture
def membership(cast, db):
    return cast[2][0]


@pytest.fixture
def export(cast, db):
    return cast[3]


def address_of(lead):
    return reverse("export-new", args=[lead.practice.audit_years.get().key])


def export_answers(membership: Membership, **more) -> dict[str, str]:
    return {
        "once": new_token(), "group": membership.key, "recipient": "The group", "purpose": "Yearly comparison",
        "k": "5", "harmless_declared": "on", **more,
    }  # fmt: skip


def upload(data: bytes, **more) -> dict[str, object]:
    return {"file": SimpleUploadedFile("set.zip", data), "password": PASSWORD, **more}


def test_preview_then_file_then_the_same_file(leads, host, client_of):
    lead = leads[1]
    membership = acts.joined(lead, acts.a_group(host))
    browser, address = client_of(lead), address_of(lead)
    before = Export.objects.count()

    assert browser.get(address).status_code == 200
    preview = browser.post(address, export_answers(membership, do="preview")).content.decode()
    assert "See exactly what leaves the practice" in preview
    assert "Every patient looks like at least" in preview
    assert "What protection costs" in preview
    assert re.search(r"Rarest row <small>\(\d+ alike before\)", preview)
    for row, shown in (("7", "Row 8 of"), ("99999", "Row 1 of")):
        page = browser.post(address, export_answers(membership, do="preview", row=row)).content.decode()
        assert shown in page
    assert Export.objects.count() == before

    answers = export_answers(membership, do="make", password=PASSWORD)
    made = browser.post(address, answers)
    export = Export.objects.latest("pk")
    assert made.url == reverse("export", args=[export.key])
    assert browser.post(address, answers).url == made.url
    assert browser.post(address, export_answers(membership, do="make", password=PASSWORD)).url == made.url
    assert Export.objects.count() == before + 1
    page = browser.get(made.url).content.decode()
    assert export.sha256 in page
    assert "Nobody yet." in page


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"k": "3"}, "Smallest group must be 5 or more"),
        ({"purpose": ""}, "Say what the file is for"),
        ({"recipient": ""}, "Say who will read the file"),
        ({"group": ""}, "Choose the group"),
        ({"group": "other"}, "Group code looks like G-AB2CD3"),
        ({"group": "other", "group_code": "G-AB2CD3", "practice_code": "north"}, "looks like P-AB34"),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_the_rest_kept(lead, client_of, change, says, membership):
    browser = client_of(lead)

    page = browser.post(address_of(lead), {**export_answers(membership, do="preview"), **change}).content.decode()

    assert says in page
    if "purpose" not in change:
        assert "Yearly comparison" in page


def test_a_wrong_password_makes_nothing_and_keeps_the_preview(lead, client_of, membership):
    page = (
        client_of(lead).post(address_of(lead), export_answers(membership, do="make", password="wrong")).content.decode()
    )

    assert "This is not your password" in page
    assert "One row, before and after" in page
    assert Export.objects.count() == 1


def test_a_small_practice_is_told_what_to_do(host, client_of):
    lead = lead_of("tiny", Plan("tiny", seed=1, patients=16))
    membership = acts.joined(lead, acts.a_group(host))

    page = client_of(lead).post(address_of(lead), export_answers(membership, do="preview")).content.decode()

    assert "16 patients in the period, at least 20 are needed" in page


def test_an_invitation_works_once_and_its_token_is_kept_nowhere(host, leads, client_of):
    group = acts.a_group(host)
    page = client_of(host).post(reverse("group-invite", args=[group.key])).content.decode()
    token = re.search(r"<code>([^<]+)</code>", page)[1]
    assert not Membership.objects.filter(token_digest=token).exists()
    assert token not in client_of(host).get(reverse("group", args=[group.key])).content.decode()

    first, second = (client_of(lead) for lead in leads[:2])
    joined = first.post(reverse("group-join"), {"once": new_token(), "token": f" {token} "})
    assert joined.url == reverse("group", args=[group.key])
    again = second.post(reverse("group-join"), {"once": new_token(), "token": token}).content.decode()
    assert "This invitation is not known, or was used or has run out" in again
    guess = second.post(reverse("group-join"), {"once": new_token(), "token": "x" * 32}).content.decode()
    assert "This invitation is not known, or was used or has run out" in guess


def test_the_code_is_drawn_when_a_practice_joins(host, leads):
    group = acts.a_group(host)
    token = groups.invite(by=host, group=group, now=acts.NOW)
    before = group.memberships.get().code

    row = groups.join(by=leads[0], token=token, now=acts.NOW)

    assert row.code != before


def test_the_reviewer_of_a_practice_that_takes_part_does_not_learn_its_code(lead, client_of):
    reviewer = create_member(lead.practice, role=Role.REVIEWER, username="inhouse")
    group = acts.a_group(reviewer)
    acts.joined(lead, group, host=reviewer)

    page = client_of(reviewer).get(reverse("group", args=[group.key])).content.decode()

    assert "Our code" not in page


def test_a_set_is_taken_through_the_page_and_its_original_kept(lead, host, client_of, membership, export):
    answer = client_of(lead).post(reverse("hand-in", args=[membership.group.key]), upload(bytes(export.file)))

    assert answer.url == reverse("group", args=[membership.group.key])
    row = PeerSet.objects.get()
    assert bytes(row.file) == bytes(export.file)
    assert (row.state, row.verified, row.rows) == (SetState.POOLED, True, export.rows)
    original = client_of(host).post(reverse("set-original", args=[row.key]))
    assert original.content == bytes(export.file)


def test_a_refused_set_leaves_the_reasons_and_nothing_else(lead, client_of, membership, export):
    data = bytes(export.file)
    browser, address = client_of(lead), reverse("hand-in", args=[membership.group.key])

    page = browser.post(address, upload(data[:-30])).content.decode()

    assert "Not taken" in page
    assert "does not end where it should" in page
    assert not PeerSet.objects.exists()
    refusal = Refusal.objects.get()
    assert refusal.membership == membership
    assert "does not end where it should" in browser.get(reverse("group", args=[membership.group.key])).content.decode()


@pytest.mark.parametrize(
    ("column", "value", "shown", "kept"),
    [
        ("exposure_seconds", "2 min", "“2 min” is not a whole number of seconds", "not a whole number"),
        # Somebody may send a file with names by mistake.
        ("row_code", "Avery Example", "“Avery Example” does not look like", "a value does not look like"),
        ("technique", "<b>wedge</b>", "&lt;b&gt;wedge&lt;/b&gt;", "column technique: a value"),
    ],
)
def test_a_wrong_cell_is_answered_with_file_row_and_column_and_its_value_is_not_kept(
    lead, client_of, membership, column, value, shown, kept
):
    address = reverse("hand-in", args=[membership.group.key])

    page = client_of(lead).post(address, upload(with_cell(column, value))).content.decode()

    assert re.search(rf'<td>sides\.csv</td><td class="num">5</td><td>{column}</td><td>[^/]*{shown}', page)
    assert "<b>wedge" not in page
    said = Refusal.objects.get().sentences
    assert kept in said[0]
    assert value not in str(said)


def test_a_set_of_another_practice_or_for_another_group_is_refused(cast, leads, host, export, db):
    _, _, (own, other), _ = cast
    elsewhere = acts.joined(leads[0], acts.a_group(host))

    for lead, membership, says in (
        (leads[1], other, "not the code of this practice"),
        (leads[0], elsewhere, "the set was made for group"),
    ):
        with pytest.raises(intake.Refused, match=says):
            acts.handed_in(lead, membership, export=export)
    assert acts.handed_in(leads[0], own, export=export).state == SetState.POOLED


def test_the_same_rows_again_are_known_however_packed(lead, membership, export):
    acts.handed_in(lead, membership, export=export)
    with zipfile.ZipFile(io.BytesIO(bytes(export.file))) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in sorted(files.items()):
            archive.writestr(name, data)

    for data in (bytes(export.file), packed.getvalue()):
        with pytest.raises(intake.Refused, match="these rows are here already: in the pool"):
            intake.receive(
                data=data, group=membership.group, membership=membership, by=lead, replace=True, now=acts.NOW
            )
    assert PeerSet.objects.count() == 1


def another_export(lead, membership) -> Export:
    """The first one withdrawn, and one under stricter rules made of the same audit."""
    first = Export.objects.get(practice=lead.practice)
    withdraw_export(by=lead, export=first, version=first.version, reason="again", now=acts.NOW)
    stricter = prepare(as_one(signed_audits(lead.practice)[0]), k=8)
    return acts.exported(lead, membership, ready=stricter)


def test_replacing_is_asked_for_and_both_are_kept(lead, client_of, membership):
    acts.handed_in(lead, membership)
    second = another_export(lead, membership)
    browser, address = client_of(lead), reverse("hand-in", args=[membership.group.key])

    asked = browser.post(address, upload(bytes(second.file))).content.decode()
    assert "A file from this practice for this year is here already. Replace it?" in asked
    assert PeerSet.objects.count() == 1

    browser.post(address, upload(bytes(second.file), replace="on"))
    states = list(PeerSet.objects.order_by("received_at", "pk").values_list("state", flat=True))
    assert states == [SetState.REPLACED, SetState.POOLED]
    assert PeerSet.objects.get(state=SetState.POOLED).replaces.state == SetState.REPLACED


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"definitions": "3"}, "This file uses definition 1; the pool uses 3. It can be kept but not pooled."),
        ({"audit_year": "2020-04/2021-03"}, "Apr 2023 to Mar 2024; the pool compares Apr 2020 to Mar 2021"),
    ],
)
def test_other_definitions_or_years_are_kept_and_not_pooled(lead, host, client_of, asked, says):
    membership = acts.joined(lead, acts.a_group(host, **asked))

    row = acts.handed_in(lead, membership)

    assert row.state == SetState.APART
    assert says in row.state_reason
    page = client_of(host).get(reverse("compare", args=[membership.group.key])).content.decode()
    assert "0 of 1" in page


def test_nobody_is_promised_more_than_the_code_hides(lead, client_of):
    browser = client_of(lead)
    joining, home = (browser.get(reverse(name)).content.decode() for name in ("group-join", "exchange"))

    assert "nobody else can connect" not in joining
    assert "nobody else does" not in home
    for page in (joining, home):
        assert "Whoever invites" in page or "whoever invites" in page
        assert "before and" in page


def test_ten_files_within_a_minute_is_the_most(lead, client_of, membership):
    browser, address = client_of(lead), reverse("hand-in", args=[membership.group.key])
    codes = [browser.post(address, upload(b"x")).status_code for _ in range(11)]

    assert codes == [200] * 10 + [429]


def test_nothing_is_taken_into_a_closed_group(lead, host, client_of, membership, export):
    group = membership.group
    client_of(host).post(reverse("group-close", args=[group.key]), {"version": group.version})

    page = client_of(lead).post(reverse("hand-in", args=[group.key]), upload(bytes(export.file))).content.decode()

    assert "the group is closed" in page


def test_the_runner_brings_a_set_for_the_practice_named_in_it_and_it_is_marked(host, client_of, membership, export):
    client_of(host).post(reverse("hand-in", args=[membership.group.key]), upload(bytes(export.file)))

    assert PeerSet.objects.get().verified is False
    assert "unverified" in client_of(host).get(reverse("group", args=[membership.group.key])).content.decode()
