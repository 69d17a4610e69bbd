"""The pages of a pool: codes and nothing else, who sees which, what the comparison says, and questions about it."""

import re

import pypdfium2
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from audit.peers.models import PeerSet, SetState, Taking, Topic
from audit.peers.threads import open_topic
from clinic.access.once import new_token
from clinic.access.rules import Role
from tests.audit.exchange import acts
from tests.audit.exchange.conftest import lead_of, reviewer_of, signed_leads
from tests.audit.exchange.stored import create_export, create_group, create_membership, create_set
from tests.factories import create_member, create_practice


@pytest.fixture(scope="module")
def cast(once_for_all):
    """A group in which six practices have handed in their set, and its reviewer."""
    with once_for_all():
        host = reviewer_of("host")
        group = acts.a_group(host)
        members = [(lead, acts.joined(lead, group)) for lead in signed_leads(6)]
        for lead, membership in members:
            acts.handed_in(lead, membership)
        yield host, group, members


@pytest.fixture
def host(cast, db):
    return cast[0]


@pytest.fixture
def pooled(cast, db):
    return cast[1:]


def test_each_practice_sees_its_own_code_and_nobody_else_does(pooled, host, client_of):
    group, members = pooled
    names = {lead.practice.name for lead, _ in members} | {lead.practice.code for lead, _ in members}
    for lead, membership in members[:3]:
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


def test_a_lead_of_another_practice_finds_nothing(pooled, client_of):
    group, _ = pooled
    stranger = lead_of("stranger")
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


def test_another_lead_of_the_practice_that_opened_a_group_does_not_run_it(pooled, host, client_of):
    """Nor does one who takes part read the others' rows, though he runs it; and a reviewer of his does not either."""
    group, members = pooled
    some, own = PeerSet.objects.first(), members[1][0]
    other = create_member(host.practice, role=Role.LEAD)
    assert client_of(other).get(reverse("group", args=[group.key])).status_code == 404
    assert client_of(other).post(reverse("set-original", args=[some.key])).status_code == 404
    assert client_of(host).post(reverse("set-original", args=[some.key])).status_code == 200

    elsewhere = acts.a_group(own)
    mine = create_set(acts.joined(own, elsewhere))
    foreign = create_set(create_membership(elsewhere, create_practice()))
    opener, reviewer = client_of(own), client_of(create_member(own.practice, role=Role.REVIEWER))

    assert foreign.membership.code in opener.get(reverse("group", args=[elsewhere.key])).content.decode()
    assert opener.post(reverse("set-original", args=[foreign.key])).status_code == 404
    assert opener.post(reverse("set-original", args=[mine.key])).status_code == 200
    page = reviewer.get(reverse("group", args=[elsewhere.key])).content.decode()
    assert foreign.membership.code in page
    assert "Original of" not in re.sub("<[^>]+>", "", page)
    for row in (mine, foreign):
        assert reviewer.post(reverse("set-original", args=[row.key])).status_code == 404


def acts_topic(host, membership) -> Topic:
    return open_topic(by=host, membership=membership, title="Loss", text="Why so many?", now=acts.NOW)


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


def test_numbers_and_pictures_that_are_taken_are_noted_and_those_looked_at_are_not(pooled, host, client_of):
    group, _ = pooled
    browser = client_of(host)

    for form in ("svg", "png", "csv"):
        browser.get(reverse("compare-chart", args=[group.key, "forest", form]))

    noted = Taking.objects.filter(what=Taking.What.POOLED)
    assert [row.about for row in noted] == [f"{group.code} forest.png", f"{group.code} forest.csv"]
    assert {row.member for row in noted} == {host}


def test_page_and_paper_say_codes_where_they_count_codes(pooled, host, client_of):
    group, _ = pooled
    page = client_of(host).get(reverse("compare", args=[group.key])).content.decode()
    document = pypdfium2.PdfDocument(client_of(host).post(reverse("compare-report", args=[group.key])).content)
    paper = "".join(document[at].get_textpage().get_text_range() for at in range(len(document)))
    told = [row.manifest["patients_cut"] for row in PeerSet.objects.filter(membership__group=group)]
    least = sum(1 if each == "1 to 4" else int(each) for each in told)

    assert least > 0
    for text in (page, " ".join(paper.split())):
        assert "patient codes" in text
        assert re.search(rf"Codes are more than people: {least}( to \d+)? patients with several toes", text)
        assert "95 % prediction interval, by the model" in text
        assert "true rate" not in text


def test_practices_are_listed_by_code_and_by_nothing_else(pooled, host, client_of):
    group, members = pooled
    csv = client_of(host).get(reverse("compare-chart", args=[group.key, "forest", "csv"])).content.decode()
    listed = re.findall(r'"(P-\w{4})"', csv)

    assert listed == sorted(membership.code for _, membership in members)


def test_fewer_than_three_practices_see_no_rate(pooled, host, client_of):
    group = acts.a_group(host)
    for lead, _ in pooled[1][:2]:
        acts.handed_in(lead, acts.joined(lead, group))
    browser = client_of(host)

    page = browser.get(reverse("compare", args=[group.key])).content.decode()

    assert "2 practices are here; from 3 on anything is pooled" in page
    assert "data-events" not in page
    assert "<img" not in page
    assert browser.get(reverse("compare-chart", args=[group.key, "forest", "csv"])).status_code == 404


def test_the_report_is_a_pdf_without_anybodys_own_code(pooled, client_of):
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

    for outcome, unit in (("symptomatic_recurrence", "toe"), ("re_operation", "patient")):
        assert browser.get(address, {"outcome": outcome, "unit": unit}).status_code == 200
    assert browser.get(address, {"outcome": "success"}).status_code == 404
    assert browser.get(address, {"unit": "foot"}).status_code == 404


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

    # A practice cannot settle, and what is sent twice stands once.
    answers = {"once": new_token(), "version": topic.version, "text": "A clinic closed.", "do": "settle"}
    for _ in range(2):
        practice.post(made.url, answers)
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


def statements(browser, address: str) -> int:
    browser.get(address)
    with CaptureQueriesContext(connection) as queries:
        assert browser.get(address).status_code == 200
    return len(queries)


def test_statements_do_not_grow_with_rows(host, client_of):
    lead, busy = lead_of("few"), lead_of("many")
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
    for somebody, number in ((lead, 1), (busy, 20)):
        for _ in range(number):
            create_membership(create_group(host.practice), somebody.practice)
            create_export(somebody.practice)
    few, many = (statements(client_of(somebody), reverse("exchange")) for somebody in (lead, busy))
    assert few == many <= 10
