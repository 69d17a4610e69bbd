"""The audit page: the same figures everywhere, each leading to its records, and only for those who may."""

import csv
import json
import re
from html import unescape
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from clinic.access.rules import Role
from clinic.vocabulary.procedure import Technique
from tests.factories import add_toe, create_member, create_operation, create_practice, create_review

QUESTION = {"performed_from": "2024-01-01", "performed_to": "2024-12-31", "as_of": "2026-03-01"}
LINK = re.compile(r'<a class="number" href="([^"]+)">(\d+)<')
INGROWN = {"symptoms": "ingrowth", "extent": "strip"}


@pytest.fixture
def practice(db):
    practice = create_practice(code="harbour")
    for _ in range(21):
        create_review(create_operation(practice, sides=("tibial", "fibular")))
    create_review(create_operation(practice), **INGROWN)
    create_review(create_operation(practice, seconds=()), day=100)
    with_two = create_operation(practice, seconds=(60,))
    add_toe(with_two, technique=Technique.PNA_ONLY)
    create_review(with_two, means="phone")
    create_review(create_operation(practice, technique=Technique.WEDGE, agent="none"), day=8, antibiotic="gp")
    return practice


@pytest.fixture
def lead(client, practice):
    member = create_member(practice, role=Role.LEAD)
    client.force_login(member)
    return client


def get(client, name="audit", *, expected=200, arguments=(), **query):
    response = client.get(reverse(name, args=arguments), {**QUESTION, **query})
    assert response.status_code == expected
    return response


def test_page_says_what_was_asked(lead):
    page = get(lead).content.decode()
    assert "surgery from 1 Jan 2024 to 31 Dec 2024, data as of 1 Mar 2026, definitions version 1" in page
    assert "Symptomatic recurrence at 12 months" in page
    assert "about 1 in 20 intervals" in page
    assert "association, not a cause" in unescape(page)


@pytest.mark.parametrize("unit", ["side", "toe", "patient"])
@pytest.mark.parametrize("outcome", ["any_regrowth", "symptomatic_recurrence", "re_operation"])
def test_page_command_and_json_agree(lead, unit, outcome):
    query = {"unit": unit, "outcome": outcome}
    response = get(lead, **query)
    out = StringIO()
    arguments = ["--from", "2024-01-01", "--to", "2024-12-31", "--as-of", "2026-03-01"]
    call_command("audit", *arguments, "--unit", unit, "--outcome", outcome, "--json", stdout=out)
    said = json.loads(out.getvalue())
    assert get(lead, "audit-json", **query).json() == said
    page = unescape(response.content.decode()).replace("\xa0", " ")
    assert said["headline"]["sentence"].partition(". ")[0] in page
    assert f'<span class="vh"> known, {said["headline"]["label"]}</span>' in page


def test_csv_holds_the_numbers_of_the_page(lead):
    figures = get(lead, "audit-json").json()
    text = get(lead, "audit-chart", arguments=["symptomatic-recurrence-by-technique", "csv"]).content.decode()
    rows = list(csv.DictReader(StringIO(text)))
    assert [(row["group"], int(row["events"]), int(row["total"])) for row in rows] == [
        (row["label"], row["events"], row["ascertained"]) for row in figures["technique"]
    ]


@pytest.mark.parametrize(
    ("unit", "outcome"),
    [("side", "symptomatic_recurrence"), ("patient", "any_regrowth")],
)
def test_every_number_leads_to_as_many_records(lead, unit, outcome):
    page = get(lead, unit=unit, outcome=outcome).content.decode() + get(lead, "audit-course").content.decode()
    links = {(unescape(address), int(number)) for address, number in LINK.findall(page)}
    assert len(links) > 15
    for address, number in links:
        response = lead.get(address)
        assert response.status_code == 200, address
        assert len(response.context["records"]) == number, address
        assert f'<span id="record-total">{number}</span>' in response.content.decode()


def test_a_record_says_why_and_leads_to_its_toe(lead, practice):
    response = get(lead, "audit-records", group="headline", status="event")
    (record,) = response.context["records"]
    (side,) = record.sides
    assert side.why == "symptomatic recurrence (first on record on day 365)"
    assert f'href="{reverse("toe", args=[side.toe_key])}"' in response.content.decode()


def test_records_of_an_infection_flag_say_what_was_noted(lead):
    (record,) = get(lead, "audit-records", group="infection/antibiotic", status="flagged").context["records"]
    assert "day 8: no signs seen" in record.sides[0].why
    assert "antibiotic: Given by the GP" in record.sides[0].why


def test_a_number_that_does_not_exist_has_no_records(lead):
    assert lead.get(reverse("audit-records"), {**QUESTION, "group": "x", "status": "event"}).status_code == 404
    assert lead.get(reverse("audit-records"), QUESTION).status_code == 404


@pytest.mark.parametrize(
    ("form", "kind", "start"), [("svg", "image/svg+xml", b"<?xml"), ("png", "image/png", b"\x89PNG")]
)
def test_pictures(lead, form, kind, start):
    response = get(lead, "audit-chart", arguments=["infection", form], theme="dark", width="narrow")
    assert response["Content-Type"] == kind
    assert response.content.startswith(start)


def test_pictures_that_do_not_exist(lead):
    get(lead, "audit-chart", arguments=["infection", "gif"], expected=404)
    get(lead, "audit-chart", arguments=["weather", "svg"], expected=404)
    get(lead, "audit-chart", arguments=["infection", "svg"], theme="pink", expected=404)


def test_pictures_of_a_page_exist_in_every_size(lead):
    page = get(lead).content.decode()
    addresses = {unescape(address) for address in re.findall(r'(?:srcset|src)="(/audit/chart/[^"]+)"', page)}
    assert len(addresses) == 5 * 5
    assert all(lead.get(address).status_code == 200 for address in sorted(addresses)[:5])


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ({"performed_from": "2024-02-30"}, "Surgery from: “2024-02-30” is not a day in the calendar"),
        ({"performed_to": "2023-01-01"}, "The last day of surgery, 1 Jan 2023, is before the first, 1 Jan 2024."),
        ({"as_of": "2999-01-01"}, "is in the future"),
        ({"bands": "60, 30"}, "ascending order"),
        ({"bands": "60, soon"}, "“soon” is not a whole number of seconds"),
        ({"unit": "nail"}, "nail is not one of the available choices"),
    ],
)
def test_a_question_that_cannot_be_answered_says_why(lead, query, sentence):
    page = unescape(lead.get(reverse("audit"), {**QUESTION, **query}).content.decode())
    assert sentence in page
    assert lead.get(reverse("audit-json"), {**QUESTION, **query}).status_code == 404
    assert lead.get(reverse("audit-course"), {**QUESTION, **query}).status_code == 400


def test_bands_are_for_this_view_only(lead, practice):
    labels = [row["label"] for row in get(lead, "audit-json", bands="45, 90").json()["exposure"]]
    assert labels == ["up to 45 s", "46 to 90 s", "over 90 s", "not recorded"]
    practice.refresh_from_db()
    assert practice.exposure_bands_seconds == [30, 60, 120, 180]


def test_an_empty_period_says_what_to_do(lead):
    for name in ("audit", "audit-course"):
        page = get(lead, name, performed_from="2020-01-01", performed_to="2020-12-31").content.decode()
        assert "No nail surgery is on record" in page


def test_an_open_period_is_marked_preliminary(lead):
    assert "Preliminary" in get(lead, performed_to="2025-12-31").content.decode()
    assert "Preliminary" not in get(lead).content.decode()


def test_without_a_question_the_last_matured_year_is_shown(lead):
    assert lead.get(reverse("audit")).status_code == 200
    page = lead.get(reverse("audit"), {"as_of": "2025-05-30"}).content.decode()
    assert "surgery from 1 Apr 2023 to 31 Mar 2024, data as of 30 May 2025" in page


@pytest.mark.parametrize(
    "query",
    [
        {"performed_from": "0001-01-01", "performed_to": "9999-12-31"},
        {"as_of": "0001-01-01"},
        {"as_of": "x" * 5000},
        {"bands": ""},
        {"bands": "9" * 400},
        {"bands": "٣, ٦"},
        {"performed_to": "9999-12-31"},
    ],
)
def test_odd_questions_get_an_answer_or_an_error(lead, query):
    assert lead.get(reverse("audit"), {**QUESTION, **query}).status_code in {200, 400}


@pytest.mark.parametrize("role", [role for role in Role if role is not Role.LEAD])
@pytest.mark.parametrize("name", ["audit", "audit-course", "audit-records", "audit-json"])
def test_only_the_lead_reads_the_audit(client, practice, role, name):
    client.force_login(create_member(practice, role=role))
    assert client.get(reverse(name), QUESTION).status_code == 403


def test_signed_out_goes_to_sign_in(client, practice):
    assert client.get(reverse("audit")).status_code == 302


def test_another_practice_is_never_counted(client, practice):
    client.force_login(create_member(create_practice(), role=Role.LEAD))
    figures = get(client, "audit-json").json()
    assert figures["headline"]["eligible"] == 0
    assert figures["infection"]["toes"] == 0


def test_page_keeps_to_the_content_policy(lead):
    page = get(lead).content.decode()
    assert " style=" not in page
    assert "<style" not in page
    assert not re.search(r"<script(?![^>]*\bsrc=)", page)
