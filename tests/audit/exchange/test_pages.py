"""The exchange as its people use it: lead makes and hands in, reviewer reads codes only, a practice sees its own."""

import io
import re
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from audit.peers import groups, intake
from audit.peers.models import Export, Membership, PeerSet, Refusal, SetState, Taking, Topic
from clinic.access.models import Submission
from clinic.access.once import new_token
from clinic.access.rules import Role
from tests.audit.exchange import acts, sets
from tests.audit.exchange.conftest import PASSWORD
from tests.audit.exchange.stored import create_group, create_membership, create_set
from tests.factories import create_member, create_practice


@pytest.fixture
def host(db):
    return create_member(create_practice(code="host"), role=Role.REVIEWER, username="reviewer")


@pytest.fixture
def pooled(many_practices, host):
    """A group in which six practices have handed in their set."""
    group = acts.a_group(host)
    members = [(lead, acts.joined(lead, group)) for lead in many_practices]
    for lead, membership in members:
        acts.handed_in(lead, membership)
    return group, members


def export_answers(membership: Membership, **more) -> dict[str, str]:
    return {
        "once": new_token(), "group": membership.key, "recipient": "The group", "purpose": "Yearly comparison",
        "k": "5", "harmless_declared": "on", **more,
    }  # fmt: skip


def upload(data: bytes, **more) -> dict[str, object]:
    return {"file": SimpleUploadedFile("set.zip", data), "password": PASSWORD, **more}


# --- making a file


def test_preview_then_file_then_the_same_file(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    browser, address = client_of(lead), reverse("export-new", args=["auditkey2023"])

    assert browser.get(address).status_code == 200
    preview = browser.post(address, export_answers(membership, do="preview")).content.decode()
    assert "See exactly what leaves the practice" in preview
    assert "Every patient looks like at least" in preview
    assert not Export.objects.exists()

    answers = export_answers(membership, do="make", password=PASSWORD)
    made = browser.post(address, answers)
    export = Export.objects.get()
    assert made.url == reverse("export", args=[export.key])
    assert browser.post(address, answers).url == made.url
    assert browser.post(address, export_answers(membership, do="make", password=PASSWORD)).url == made.url
    assert Export.objects.count() == 1
    page = browser.get(made.url).content.decode()
    assert export.sha256 in page
    assert "Nobody yet." in page


def test_one_row_is_shown_before_and_after_and_the_rarest(many_practices, host, client_of):
    lead = many_practices[1]
    membership = acts.joined(lead, acts.a_group(host))
    browser, address = client_of(lead), reverse("export-new", args=["auditkey2023"])
    pages = [
        browser.post(address, export_answers(membership, do="preview", row=row)).content.decode()
        for row in ("0", "7", "x", "99999")
    ]

    assert "Row 1 of" in pages[0]
    assert "Row 8 of" in pages[1]
    assert "Row 1 of" in pages[2]
    assert "Row 1 of" in pages[3]
    assert re.search(r"Rarest row <small>\(\d+ alike before\)", pages[0])
    assert "What protection costs" in pages[0]


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
def test_what_is_wrong_is_said_at_its_field_and_the_rest_kept(many_practices, host, client_of, change, says):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    browser = client_of(lead)

    page = browser.post(
        reverse("export-new", args=["auditkey2023"]), {**export_answers(membership, do="preview"), **change}
    ).content.decode()

    assert says in page
    if "purpose" not in change:
        assert "Yearly comparison" in page


def test_a_wrong_password_makes_nothing_and_keeps_the_preview(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))

    page = (
        client_of(lead)
        .post(reverse("export-new", args=["auditkey2023"]), export_answers(membership, do="make", password="wrong"))
        .content.decode()
    )

    assert "This is not your password" in page
    assert "One row, before and after" in page
    assert not Export.objects.exists()


def test_a_small_practice_is_told_what_to_do(signed, host, client_of):
    from audit.exchange.simulated import Plan
    from tests.audit.exchange.conftest import signed_of

    lead = create_member(create_practice(code="tiny"), role=Role.LEAD, username="tiny")
    signed["tiny"] = [signed_of(Plan("tiny", seed=1, patients=16))]
    membership = acts.joined(lead, acts.a_group(host))

    page = (
        client_of(lead)
        .post(reverse("export-new", args=["auditkey2023"]), export_answers(membership, do="preview"))
        .content.decode()
    )

    assert "16 patients in the period, at least 20 are needed" in page


def test_every_taking_is_in_the_log(many_practices, host, client_of):
    lead = many_practices[0]
    export = acts.exported(lead, acts.joined(lead, acts.a_group(host)))
    browser = client_of(lead)
    for name in ("export-file", "export-file", "export-tables"):
        assert browser.post(reverse(name, args=[export.key])).status_code == 200

    assert [taking.what for taking in Taking.objects.all()] == ["export", "export", "tables"]
    assert browser.get(reverse("export", args=[export.key])).content.decode().count("peer export") == 2


# --- groups and codes


def test_an_invitation_works_once_and_its_token_is_kept_nowhere(host, many_practices, client_of):
    group = acts.a_group(host)
    page = client_of(host).post(reverse("group-invite", args=[group.key])).content.decode()
    token = re.search(r"<code>([^<]+)</code>", page)[1]
    assert not Membership.objects.filter(token_digest=token).exists()
    assert token not in client_of(host).get(reverse("group", args=[group.key])).content.decode()

    first, second = (client_of(lead) for lead in many_practices[:2])
    joined = first.post(reverse("group-join"), {"once": new_token(), "token": f" {token} "})
    assert joined.url == reverse("group", args=[group.key])
    again = second.post(reverse("group-join"), {"once": new_token(), "token": token}).content.decode()
    assert "This invitation is not known, or was used or has run out" in again
    guess = second.post(reverse("group-join"), {"once": new_token(), "token": "x" * 32}).content.decode()
    assert "This invitation is not known, or was used or has run out" in guess


def test_the_code_is_drawn_when_a_practice_joins(host, many_practices):
    group = acts.a_group(host)
    token = groups.invite(by=host, group=group, now=acts.NOW)
    before = Membership.objects.get().code

    row = groups.join(by=many_practices[0], token=token, now=acts.NOW)

    assert row.code != before


def test_each_practice_sees_its_own_code_and_nobody_else_does(pooled, host, client_of):
    group, members = pooled
    names = {lead.practice.name for lead, _ in members} | {lead.practice.code for lead, _ in members}
    for lead, membership in members:
        pages = [client_of(lead).get(reverse(name, args=[group.key])).content.decode() for name in ("group", "compare")]
        assert f'<dd class="code">{membership.code}</dd>' in pages[0]
        assert f"This practice ({membership.code})" in pages[1]
        others = {other.code for _, other in members} - {membership.code}
        assert not any(f"{code} (this practice)" in pages[1] for code in others)
        assert not any(code in pages[0] for code in others), "a practice reads no other code on the group's page"
    reviewer_pages = [
        client_of(host).get(reverse(name, args=[group.key])).content.decode() for name in ("group", "compare")
    ]
    for page in reviewer_pages:
        assert "this practice" not in page.lower().replace("ask a practice", "")
        assert not any(name in page for name in names - {host.practice.name})
        assert not any(lead.username in page or lead.get_full_name() + "," in page for lead, _ in members)


def test_the_reviewer_of_a_practice_that_takes_part_does_not_learn_its_code(many_practices, client_of):
    lead = many_practices[0]
    reviewer = create_member(lead.practice, role=Role.REVIEWER, username="inhouse")
    group = acts.a_group(reviewer)
    acts.joined(lead, group, host=reviewer)

    page = client_of(reviewer).get(reverse("group", args=[group.key])).content.decode()

    assert "Our code" not in page


def test_a_lead_of_another_practice_finds_nothing(pooled, client_of):
    group, _ = pooled
    stranger = create_member(create_practice(code="stranger"), role=Role.LEAD, username="stranger")
    browser = client_of(stranger)
    for name in ("group", "compare", "hand-in"):
        assert browser.get(reverse(name, args=[group.key])).status_code == 404
    assert browser.post(reverse("compare-report", args=[group.key])).status_code == 404
    assert browser.get(reverse("compare-chart", args=[group.key, "forest", "svg"])).status_code == 404
    some = PeerSet.objects.first()
    assert browser.post(reverse("set-original", args=[some.key])).status_code == 404


def test_a_lead_reaches_no_set_or_topic_of_another_practice_in_the_same_group(pooled, host, client_of):
    group, members = pooled
    (one, _), (_, other) = members[:2]
    topic = acts_topic(host, other)
    browser = client_of(one)
    foreign = PeerSet.objects.get(membership=other)

    assert browser.get(reverse("topic", args=[topic.key])).status_code == 404
    assert browser.post(reverse("set-original", args=[foreign.key])).status_code == 404
    assert browser.post(reverse("set-withdraw", args=[foreign.key]), {"version": "1", "reason": "x"}).status_code == 404
    assert browser.get(reverse("topic-new", args=[group.key])).status_code == 404
    assert browser.post(reverse("group-close", args=[group.key]), {"version": "1"}).status_code == 404


def acts_topic(host, membership) -> Topic:
    from audit.peers.threads import open_topic

    return open_topic(by=host, membership=membership, title="Loss", text="Why so many?", now=acts.NOW)


# --- handing in


def test_a_set_is_taken_through_the_page_and_its_original_kept(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    export = acts.exported(lead, membership)

    answer = client_of(lead).post(reverse("hand-in", args=[membership.group.key]), upload(bytes(export.file)))

    assert answer.url == reverse("group", args=[membership.group.key])
    row = PeerSet.objects.get()
    assert bytes(row.file) == bytes(export.file)
    assert (row.state, row.verified, row.rows) == (SetState.POOLED, True, export.rows)
    original = client_of(host).post(reverse("set-original", args=[row.key]))
    assert original.content == bytes(export.file)


def test_a_refused_set_leaves_the_reasons_and_nothing_else(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    data = bytes(acts.exported(lead, membership).file)
    browser, address = client_of(lead), reverse("hand-in", args=[membership.group.key])

    page = browser.post(address, upload(data[:-30])).content.decode()

    assert "Not taken" in page
    assert "does not end where it should" in page
    assert not PeerSet.objects.exists()
    refusal = Refusal.objects.get()
    assert refusal.membership == membership
    assert "does not end where it should" in browser.get(reverse("group", args=[membership.group.key])).content.decode()


def test_a_wrong_cell_is_answered_with_file_row_column_and_reason(many_practices, host, client_of):
    from tests.audit.exchange.corpus import with_cell

    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))

    page = (
        client_of(lead)
        .post(reverse("hand-in", args=[membership.group.key]), upload(with_cell("exposure_seconds", "2 min")))
        .content.decode()
    )

    assert re.search(
        r"<td>sides\.csv</td><td class=\"num\">5</td><td>exposure_seconds</td>"
        r"<td>“2 min” is not a whole number of seconds</td>",
        page,
    )  # fmt: skip


def test_no_value_of_a_refused_file_is_kept(many_practices, host, client_of):
    """Somebody may send a file with names by mistake."""
    from tests.audit.exchange.corpus import with_cell

    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))

    page = client_of(lead).post(
        reverse("hand-in", args=[membership.group.key]), upload(with_cell("row_code", "Avery Example"))
    ).content.decode()  # fmt: skip

    assert "Avery Example" in page
    assert "Avery" not in str(Refusal.objects.get().sentences)
    assert "column row_code: a value does not look like" in Refusal.objects.get().sentences[0]


def test_markup_in_a_file_is_shown_as_text(many_practices, host, client_of):
    from tests.audit.exchange.corpus import with_cell

    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))

    page = (
        client_of(lead)
        .post(reverse("hand-in", args=[membership.group.key]), upload(with_cell("technique", "<b>wedge</b>")))
        .content.decode()
    )

    assert "<b>wedge</b>" not in page
    assert "&lt;b&gt;wedge&lt;/b&gt;" in page


def test_a_set_of_another_practice_is_refused(many_practices, host):
    group = acts.a_group(host)
    (one, first), (two, second) = [(lead, acts.joined(lead, group)) for lead in many_practices[:2]]
    export = acts.exported(one, first)

    with pytest.raises(intake.Refused, match="not the code of this practice"):
        intake.receive(data=bytes(export.file), group=group, membership=second, by=two, replace=False, now=acts.NOW)


def test_a_set_for_another_group_is_refused(many_practices, host):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    other = acts.joined(lead, acts.a_group(host))
    export = acts.exported(lead, membership)

    with pytest.raises(intake.Refused, match="the set was made for group"):
        acts.handed_in(lead, other, export=export)


def test_the_same_rows_again_are_known_however_packed(many_practices, host):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    export = acts.exported(lead, membership)
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
    """The first one withdrawn, so that new codes are drawn for the same audit."""
    from audit.peers.exporting import withdraw_export

    first = Export.objects.get(practice=lead.practice)
    withdraw_export(by=lead, export=first, version=first.version, reason="again", now=acts.NOW)
    return acts.exported(lead, membership)


def test_replacing_is_asked_for_and_both_are_kept(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
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


def test_other_definitions_are_kept_and_not_pooled(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host, definitions="3"))

    row = acts.handed_in(lead, membership)

    assert row.state == SetState.APART
    assert row.state_reason == "This file uses definition 1; the pool uses 3. It can be kept but not pooled."
    page = client_of(host).get(reverse("compare", args=[membership.group.key])).content.decode()
    assert "0 of 1" in page


def test_another_year_is_kept_and_not_pooled(many_practices, host):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host, audit_year="2020-04/2021-03"))

    assert acts.handed_in(lead, membership).state == SetState.APART


def test_ten_files_within_a_minute_is_the_most(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    browser, address = client_of(lead), reverse("hand-in", args=[membership.group.key])
    codes = [browser.post(address, upload(b"x")).status_code for _ in range(11)]

    assert codes == [200] * 10 + [429]


def test_nothing_is_taken_into_a_closed_group(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    export = acts.exported(lead, membership)
    group = membership.group
    client_of(host).post(reverse("group-close", args=[group.key]), {"version": group.version})

    page = client_of(lead).post(reverse("hand-in", args=[group.key]), upload(bytes(export.file))).content.decode()

    assert "the group is closed" in page


def test_the_runner_brings_a_set_for_the_practice_named_in_it_and_it_is_marked(many_practices, host, client_of):
    lead = many_practices[0]
    membership = acts.joined(lead, acts.a_group(host))
    export = acts.exported(lead, membership)

    client_of(host).post(reverse("hand-in", args=[membership.group.key]), upload(bytes(export.file)))

    assert PeerSet.objects.get().verified is False
    assert "unverified" in client_of(host).get(reverse("group", args=[membership.group.key])).content.decode()


def test_withdrawing_changes_the_pool_and_keeps_the_reason(pooled, host, client_of):
    group, members = pooled
    browser, address = client_of(host), reverse("compare", args=[group.key])
    before = browser.get(address).content.decode()
    row = PeerSet.objects.filter(membership=members[0][1]).get()

    browser.post(reverse("set-withdraw", args=[row.key]), {"version": row.version, "reason": "wrong year"})

    after = browser.get(address).content.decode()
    assert "pool of 6 practices" in before
    assert "pool of 5 practices" in after
    assert headline_counts(before) != headline_counts(after)
    assert "wrong year" in browser.get(reverse("group", args=[group.key])).content.decode()


def headline_counts(page: str) -> tuple[str, ...]:
    return re.search(r'data-events="(\d+)" data-total="(\d+)"', page).groups()


# --- the comparison


def test_the_comparison_agrees_in_page_table_file_and_words(pooled, host, client_of):
    group, _ = pooled
    browser = client_of(host)
    page = browser.get(reverse("compare", args=[group.key])).content.decode()
    events, total = headline_counts(page)
    csv = browser.get(reverse("compare-chart", args=[group.key, "forest", "csv"])).content.decode()

    assert f'"Pooled",{events},{total},' in csv
    assert f"Pooled: {events} of {total}," in page
    for slug in ("forest", "funnel", "by-technique", "by-exposure", "by-side"):
        for form, kind in (("svg", "image/svg+xml"), ("png", "image/png"), ("csv", "text/csv")):
            answer = browser.get(reverse("compare-chart", args=[group.key, slug, form]))
            assert answer.status_code == 200, slug
            assert answer["Content-Type"].startswith(kind)
        assert f"chart/{slug}.svg" in page


def test_practices_are_listed_by_code_and_by_nothing_else(pooled, host, client_of):
    group, members = pooled
    csv = client_of(host).get(reverse("compare-chart", args=[group.key, "forest", "csv"])).content.decode()
    listed = re.findall(r'"(P-\w{4})"', csv)

    assert listed == sorted(membership.code for _, membership in members)


def test_fewer_than_three_practices_see_no_rate(many_practices, host, client_of):
    group = acts.a_group(host)
    for lead in many_practices[:2]:
        acts.handed_in(lead, acts.joined(lead, group))
    browser = client_of(host)

    page = browser.get(reverse("compare", args=[group.key])).content.decode()

    assert "2 practices are here; from 3 on anything is pooled" in page
    assert "data-events" not in page
    assert "<img" not in page
    assert browser.get(reverse("compare-chart", args=[group.key, "forest", "csv"])).status_code == 404


def test_the_report_is_a_pdf_without_anybodys_own_code(pooled, client_of):
    import pypdfium2

    group, members = pooled
    lead, _ = members[0]

    answer = client_of(lead).post(reverse("compare-report", args=[group.key]))

    assert answer["Content-Type"] == "application/pdf"
    document = pypdfium2.PdfDocument(answer.content)
    text = "".join(document[at].get_textpage().get_text_range() for at in range(len(document)))
    assert "Peer comparison" in text
    assert "this practice" not in text
    assert not any(lead.practice.name in text for lead, _ in members)
    assert Taking.objects.filter(what="report").count() == 1


def test_other_questions_are_answered_and_strange_ones_are_not(pooled, host, client_of):
    group, _ = pooled
    browser, address = client_of(host), reverse("compare", args=[group.key])

    for outcome in ("any_regrowth", "symptomatic_recurrence", "re_operation"):
        for unit in ("side", "toe", "patient"):
            assert browser.get(address, {"outcome": outcome, "unit": unit}).status_code == 200
    assert browser.get(address, {"outcome": "success"}).status_code == 404
    assert browser.get(address, {"unit": "foot"}).status_code == 404


# --- questions


def test_a_question_goes_to_one_practice_is_answered_and_settled(pooled, host, client_of):
    group, members = pooled
    lead, membership = members[2]
    reviewer, practice = client_of(host), client_of(lead)

    made = reviewer.post(
        reverse("topic-new", args=[group.key]),
        {"once": new_token(), "membership": membership.key, "title": "Loss", "text": "Why so many lost?"},
    )
    topic = Topic.objects.get()
    assert made.url == reverse("topic", args=[topic.key])
    assert topic.state == "open"
    assert "Loss" in practice.get(reverse("group", args=[group.key])).content.decode()

    practice.post(made.url, {"once": new_token(), "version": topic.version, "text": "A clinic closed.", "do": "say"})
    topic.refresh_from_db()
    assert topic.state == "answered"
    page = reviewer.get(made.url).content.decode()
    assert "A clinic closed." in page
    assert lead.get_full_name() not in page.split("<main")[1]
    assert f"Practice {membership.code}" in page

    reviewer.post(made.url, {"once": new_token(), "version": topic.version, "text": "Thank you.", "do": "settle"})
    topic.refresh_from_db()
    assert topic.state == "settled"
    assert [remark.from_practice for remark in topic.remarks.all()] == [False, True, False]


def test_a_practice_cannot_settle(pooled, host, client_of):
    _, members = pooled
    lead, membership = members[0]
    topic = acts_topic(host, membership)

    client_of(lead).post(
        reverse("topic", args=[topic.key]),
        {"once": new_token(), "version": topic.version, "text": "Done.", "do": "settle"},
    )

    topic.refresh_from_db()
    assert topic.state == "answered"


def test_two_who_write_at_once_lose_nothing(pooled, host, client_of):
    _, members = pooled
    lead, membership = members[0]
    topic = acts_topic(host, membership)
    client_of(lead).post(
        reverse("topic", args=[topic.key]), {"once": new_token(), "version": topic.version, "text": "First."}
    )

    answer = client_of(host).post(
        reverse("topic", args=[topic.key]), {"once": new_token(), "version": topic.version, "text": "Second words."}
    )

    assert answer.status_code == 409
    assert "Second words." in answer.content.decode()
    assert topic.remarks.count() == 2


def test_a_remark_is_sent_once(pooled, host, client_of):
    _, members = pooled
    topic = acts_topic(host, members[0][1])
    answers = {"once": new_token(), "version": topic.version, "text": "Once."}
    for _ in range(2):
        client_of(host).post(reverse("topic", args=[topic.key]), answers)

    assert topic.remarks.count() == 2
    assert Submission.objects.filter(token=answers["once"]).count() == 1


# --- statements


def statements(browser, address: str) -> int:
    browser.get(address)
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert browser.get(address).status_code == 200
    return len(queries)


def test_statements_do_not_grow_with_rows(host, client_of, signed):
    lead = create_member(create_practice(code="many"), role=Role.LEAD, username="many")
    small, large = create_group(host.practice), create_group(host.practice)
    for group, number in ((small, 2), (large, 24)):
        for _ in range(number):
            practice = create_practice()
            row = create_membership(group, practice)
            create_set(row, state=SetState.APART)
            acts_topic(host, row)
    browser = client_of(host)
    for name in ("group", "compare"):
        few, many = (statements(browser, reverse(name, args=[group.key])) for group in (small, large))
        assert few == many <= 14, name
    for _ in range(30):
        create_membership(create_group(host.practice), lead.practice)
    home = client_of(lead)
    many = statements(home, reverse("exchange"))
    assert many <= 12 + 2 * 31


def test_sets_in_a_test_are_of_one_piece():
    assert sets.a_set().startswith(b"PK")
