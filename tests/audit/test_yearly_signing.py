"""Signing freezes the audit; nothing alters it afterwards, and what changed since is named."""

import csv
import json
import re
from datetime import date, timedelta
from html import unescape
from io import BytesIO, StringIO

import pypdfium2
import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction
from django.template import engines
from django.urls import reverse
from django.utils import timezone

from audit import signing
from audit.charts.words import percent
from audit.cycle import SignedYear
from audit.models import AuditYear, SignedAudit, Snapshot
from audit.report.annual import recounted
from clinic.access.models import Conflict
from clinic.access.rules import Role
from clinic.reviews.models import SideFinding
from tests.factories import (
    create_action,
    create_audit_year,
    create_member,
    create_operation,
    create_patient,
    create_practice,
    create_review,
)

pytestmark = pytest.mark.django_db
YEAR = 2023
PASSWORD = "a long enough word"


@pytest.fixture
def browser(client_of, lead):
    return client_of(lead)


@pytest.fixture
def year(practice, lead):
    """Twelve operations, one with regrowth and one lost, and everything done but the signature."""
    for place in range(12):
        operation = create_operation(
            practice,
            patient=create_patient(practice),
            operator=lead,
            performed_on=date(2023, 6, 1) + timedelta(days=place),
        )
        if place == 11:
            continue
        create_review(operation, day=40)
        create_review(operation, day=365, **({"extent": "spicule", "symptoms": "ingrowth"} if place == 0 else {}))
    found = create_audit_year(practice, by=lead)
    create_action(found, by=lead, criterion="O8")
    return found


@pytest.fixture(autouse=True)
def paper(request, monkeypatch):
    """Laying out a report takes longer than all else here: two tests look at the sheet, the others store a stand-in."""
    if not request.node.get_closest_marker("laid_out"):
        monkeypatch.setattr(
            signing, "report_pdf", lambda html, *_: b"%PDF of " + signing.checksum_of(html.encode()).encode()
        )


def words(response):
    return " ".join(unescape(response.content.decode()).replace("\xa0", " ").split())


def address(name, *more):
    return reverse(name, args=[YEAR, *more])


def sign(browser, year, **answers):
    year.refresh_from_db()
    said = {"version": str(year.version), "read": "on", "password": PASSWORD, **answers}
    return browser.post(address("audit-sign"), said)


def correct_the_event(practice):
    """Somebody finds that the spicule was at another side: the finding is corrected."""
    finding = SideFinding.objects.get(extent="spicule")
    finding.extent, finding.symptoms = "none", "none"
    finding.save()
    return finding


def test_signing_needs_the_password_and_that_it_was_read(browser, year):
    assert "This is not your password; nothing was signed" in words(sign(browser, year, password="wrong"))
    assert "Enter your password to sign" in words(sign(browser, year, password=""))
    assert "Tick that you have read the report" in words(sign(browser, year, read=""))
    assert SignedAudit.objects.count() == 0


def test_passwords_cannot_be_tried_without_end(browser, year):
    answers = [words(sign(browser, year, password="wrong")) for _ in range(8)]
    assert any("Too many wrong passwords" in said for said in answers)
    assert SignedAudit.objects.count() == 0


@pytest.mark.laid_out
def test_a_signed_report_is_stored_with_its_snapshot(browser, year, lead):
    assert sign(browser, year).status_code == 302
    signed = SignedAudit.objects.get()
    assert (signed.number, signed.signed_by, signed.preliminary) == (1, lead, False)
    assert recounted(signed.snapshot.body).same
    said = words(browser.get(address("audit-sign")))
    assert signed.snapshot.checksum in said
    pdf = browser.get(address("audit-report-pdf"))
    assert pdf["Content-Type"] == "application/pdf"
    assert pdf.content == bytes(signed.pdf)
    assert browser.get(address("audit-snapshot")).content == signed.snapshot.body
    assert signed.html in browser.get(address("audit-report")).content.decode()


def test_the_snapshot_holds_no_name_and_no_number_of_a_patient(browser, year, practice):
    sign(browser, year)
    body = Snapshot.objects.get().body.decode()
    for identity in practice.patients.values_list("identity__family_name", "identity__record_number", "key"):
        family_name, record_number, _ = identity
        assert family_name not in body.replace("Demonstration", "")
        assert record_number not in body


def test_signing_twice_gives_the_same_checksum(browser, year):
    sign(browser, year)
    first = SignedAudit.objects.get()
    year.refresh_from_db()
    browser.post(address("audit-reopen"), {"version": year.version, "reason": "A word was missing."})
    assert sign(browser, year).status_code == 302
    one, two = SignedAudit.objects.order_by("number")
    assert (one.reopened_reason, two.number) == ("A word was missing.", 2)
    assert one.snapshot_id == two.snapshot_id == first.snapshot_id
    assert Snapshot.objects.count() == 1
    old = browser.get(address("audit-report"), {"number": 1})
    assert one.html in old.content.decode()
    assert browser.get(address("audit-report"), {"number": 9}).status_code == 404


def test_the_same_records_in_another_practice_of_another_age_are_the_same_bytes(browser, year):
    """Keys aside, nothing of when or in which order rows were stored is in the snapshot."""
    first = signing.freeze(year)
    for operation in list(year.practice.operations.all())[::-1]:
        operation.save()  # a new version of the row; nothing the audit reads has changed
    assert signing.freeze(AuditYear.objects.get(pk=year.pk)).checksum == first.checksum


def test_a_correction_changes_the_live_figure_and_not_the_report(browser, year, practice):
    sign(browser, year)
    before = SignedAudit.objects.get()
    pdf = browser.get(address("audit-report-pdf")).content
    finding = correct_the_event(practice)
    live = words(browser.get(address("audit-year-results"), {"outcome": "any_regrowth"}))
    assert "none seen, 0 of 11 treated sides" in live
    after = SignedAudit.objects.get()
    assert (after.html, bytes(after.pdf), after.snapshot.body) == (before.html, bytes(before.pdf), before.snapshot.body)
    assert before.html in browser.get(address("audit-report")).content.decode()
    assert browser.get(address("audit-report-pdf")).content == pdf
    page = browser.get(address("audit-changes"))
    said = words(page)
    toe = finding.treated_side.nail_procedure
    assert f'href="{reverse("toe", args=[toe.key])}"' in page.content.decode()
    assert "How much nail has come back: spicule → none" in said
    assert "O6 Any regrowth at 12 months 1 of 11 0 of 11" in " ".join(re.sub("<[^>]+>", " ", said).split())
    assert "1 record changed" in said


def test_a_later_finding_within_the_data_date_is_a_change_and_one_after_it_is_none(browser, year, practice):
    sign(browser, year)
    lost = practice.operations.order_by("-performed_on").first()
    create_review(lost, day=400)
    assert "Finding at a side added" in words(browser.get(address("audit-changes")))
    create_review(lost, day=(date(2025, 6, 30) - lost.performed_on).days)
    assert "2 records changed" in words(browser.get(address("audit-changes")))


def test_an_earlier_signature_is_compared_by_its_own_data_date(browser, year, practice):
    """Another data date, chosen after opening again, is no correction of the records."""
    sign(browser, year)
    SignedAudit.objects.update(reopened_by=year.opened_by, reopened_at=timezone.now(), reopened_reason="Earlier")
    AuditYear.objects.update(as_of=date(2024, 3, 1))
    said = words(browser.get(address("audit-changes"), {"number": "1"}))
    assert "No number of a criterion differs." in said
    assert "No record of this year was changed since." in said


def test_a_snapshot_counts_again_on_request(browser, year):
    sign(browser, year)
    said = words(browser.get(address("audit-changes"), {"recount": "1"}))
    assert "The stored snapshot has the checksum that was signed." in said
    assert "Counted again from the snapshot: the same, byte for byte." in said


def test_the_database_itself_refuses_to_change_what_was_signed(browser, year):
    sign(browser, year)
    signed, snapshot = SignedAudit.objects.filter(), Snapshot.objects.filter()
    for attempt in (
        lambda: signed.update(html="<p>better</p>"),
        lambda: signed.update(pdf=b"better"),
        lambda: signed.update(signed_at=timezone.now()),
        lambda: signed._raw_delete("default"),
        lambda: snapshot.update(packed=b"better"),
        lambda: snapshot._raw_delete("default"),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            attempt()
        assert SignedAudit.objects.count() == Snapshot.objects.count() == 1


def test_a_signed_year_is_not_changed_by_any_step(browser, year):
    sign(browser, year)
    year.refresh_from_db()
    version, actions = year.version, year.actions.count()
    for name, answers in (
        ("audit-period", {"as_of": "2025-06-30"}), ("audit-quality", {}),
        ("audit-year-results", {"interpretation": "Better."}), ("audit-standard", {}),
        ("audit-actions", {"what": "x"}), ("audit-no-action", {"reason": "x"}),
    ):  # fmt: skip
        response = browser.post(address(name), {"version": version, **answers}, follow=True)
        assert "Open it again with a reason" in words(response), name
    year.refresh_from_db()
    assert (year.version, year.actions.count(), str(year.as_of)) == (version, actions, "2025-05-30")


def test_two_leads_sign_at_once_and_one_signature_is_made(browser, client_of, year, practice):
    other_lead = create_member(practice, role=Role.LEAD)
    other = client_of(other_lead)
    version = year.version
    assert sign(browser, year).status_code == 302
    response = other.post(
        address("audit-sign"), {"version": version, "read": "on", "password": PASSWORD}, follow=True
    )  # fmt: skip
    assert "signed this audit on" in words(response)
    assert "Nothing was signed twice." in words(response)
    with pytest.raises(Conflict):
        signing.sign_year(by=other_lead, year=AuditYear.objects.get(pk=year.pk), version=version, now=timezone.now())
    assert SignedAudit.objects.count() == 1


def test_an_action_agreed_while_it_is_counted_stops_the_signature(year, lead, monkeypatch):
    freeze = signing.freeze

    def slow(asked, **more):
        found = freeze(asked, **more)
        create_action(year, what="Came in between")
        return found

    monkeypatch.setattr(signing, "freeze", slow)
    with pytest.raises(Conflict):
        signing.sign_year(by=lead, year=year, version=year.version, now=timezone.now())
    assert SignedAudit.objects.count() == 0


def test_a_record_changed_while_it_is_counted_stops_the_signature(browser, year, practice, monkeypatch):
    freeze = signing.freeze

    def slow(asked, **more):
        found = freeze(asked, **more)
        correct_the_event(practice)
        return found

    monkeypatch.setattr(signing, "freeze", slow)
    response = sign(browser, year)
    assert response.status_code == 409
    assert "A record was changed while the figures were counted. Nothing was signed; sign again." in words(response)
    assert SignedAudit.objects.count() == 0


def test_opening_again_needs_a_reason_and_a_signature(browser, year, lead):
    assert browser.post(address("audit-reopen"), {"version": "1", "reason": "x"}).status_code == 404
    sign(browser, year)
    year.refresh_from_db()
    assert "Give the reason" in words(browser.post(address("audit-reopen"), {"version": year.version}, follow=True))
    signed = SignedAudit.objects.select_related("audit_year").get()
    signing.reopen(by=lead, signed=signed, version=year.version, reason="x", now=timezone.now())
    with pytest.raises((SignedYear, Conflict)):
        signing.reopen(by=lead, signed=signed, version=year.version + 1, reason="x", now=timezone.now())


def test_what_comes_up_after_signing_does_not_bar_the_way_back(browser, year, practice, lead):
    """A standard that was changed for the next year opens its step again only after this year was opened again."""
    sign(browser, year)
    standard = {"direction": "at_least", "target": "95", "source": "Local", "reason": "x", "version": "0"}
    create_audit_year(practice, by=lead, starting_year=YEAR + 1)
    assert browser.post(reverse("audit-standard-edit", args=[YEAR + 1, "O8"]), standard).status_code == 302
    assert browser.get(address("audit-sign")).status_code == 200
    year.refresh_from_db()
    said = {"version": year.version, "reason": "The records were corrected."}
    assert "Opened again" in words(browser.post(address("audit-reopen"), said, follow=True))
    assert "step 4, Standard, is open" in words(browser.get(address("audit-sign")))


@pytest.mark.parametrize("patients", [0, 1])
def test_an_empty_year_and_one_of_one_patient_can_be_signed(browser, practice, lead, patients):
    year = create_audit_year(practice, by=lead)
    for _ in range(patients):
        create_review(create_operation(practice, operator=lead, performed_on=date(2023, 6, 1)))
    assert browser.get(address("audit-year-results")).status_code == 200
    assert sign(browser, year).status_code == 302
    assert browser.get(address("audit-report")).status_code == 200
    verdicts = {row["code"]: row["verdict"] for row in figures_of(practice)["criteria"]}
    assert verdicts["O6"] == ("cannot tell" if patients else "no case")
    assert verdicts["O8"] == verdicts["O6"]


def test_last_year_stands_beside_with_its_own_figures(browser, year, practice, lead):
    sign(browser, year)
    create_audit_year(practice, by=lead, starting_year=YEAR + 1)
    for place in range(3):
        create_review(create_operation(practice, operator=lead, performed_on=date(2024, 6, 1 + place)))
    page = words(browser.get(reverse("audit-standard", args=[YEAR + 1])))
    assert "1 of 11" in page
    draft = words(browser.get(reverse("audit-report", args=[YEAR + 1])))
    assert "2023–24" in draft


def test_years_with_other_definitions_are_not_compared(browser, year, practice, lead, monkeypatch):
    import dataclasses

    from audit.measures import definitions
    from audit.report import annual

    sign(browser, year)
    changed = tuple(
        dataclasses.replace(item, sentence=item.sentence + " Otherwise.") if item.code == "window" else item
        for item in definitions.DEFINITIONS.items
    )
    newer = dataclasses.replace(definitions.DEFINITIONS, version="2", items=changed)
    monkeypatch.setattr(definitions, "DEFINITIONS", newer)
    monkeypatch.setattr(annual, "DEFINITIONS", newer)
    create_audit_year(practice, by=lead, starting_year=YEAR + 1)
    page = words(browser.get(reverse("audit-standard", args=[YEAR + 1])))
    assert "not comparable: defined otherwise then (12-month outcome)" in page


# --- the same digits everywhere


def test_every_criterion_opens_as_many_records_as_it_counts(browser, year):
    page = browser.get(address("audit-standard")).content.decode()
    links = re.findall(r'<a class="number" href="([^"]+)">(\d+)', page)
    assert len(links) >= 20
    for where, number in links:
        listed = browser.get(unescape(where)).content.decode()
        assert f'id="record-total">{number}<' in listed, where


def figures_of(practice, *more):
    out = StringIO()
    call_command("report", "--practice", practice.code, "--year", str(YEAR), "--json", *more, stdout=out)
    return json.loads(out.getvalue())


@pytest.mark.laid_out
def test_page_pdf_file_and_command_agree_digit_for_digit(browser, year, practice):
    sign(browser, year)
    figures = figures_of(practice)
    page = words(browser.get(address("audit-standard")))
    report = words(browser.get(address("audit-report")))
    pdf = pypdfium2.PdfDocument(BytesIO(browser.get(address("audit-report-pdf")).content))
    paper = " ".join(" ".join(sheet.get_textpage().get_text_range() for sheet in pdf).replace("\xa0", " ").split())
    pdf.close()
    for row in figures["criteria"]:
        said = f"{row['events']} of {row['total']}"
        if row["counts"]:
            said = f"{row['events']} in {row['total']} operations"
        elif row["rate"] is not None:
            said += f", {percent(row['rate'])} ({percent(row['low'])} to {percent(row['high'])})"
        for where in (page, report, paper):
            assert said in where, row["code"]
        assert row["verdict"] in page
    headline = figures["outcomes"]["symptomatic_recurrence"]["headline"]["sentence"]
    assert headline in report
    assert headline in paper
    desk = {"performed_from": "2023-04-01", "performed_to": "2024-03-31", "as_of": "2025-05-30"}
    chart = browser.get(
        reverse("audit-chart", args=["any-regrowth-by-side", "csv"]), {**desk, "outcome": "any_regrowth"}
    )
    rows = list(csv.DictReader(StringIO(chart.content.decode())))
    sides = figures["outcomes"]["any_regrowth"]["side"]
    assert [(row["group"], int(row["events"]), int(row["total"])) for row in rows] == [
        (side["label"], side["events"], side["ascertained"]) for side in sides
    ]
    for row, side in zip(rows, sides, strict=True):
        assert (float(row["rate"]) if row["rate"] else None) == (side["interval"] or {}).get("rate")


def test_the_command_writes_the_stored_bytes(year, browser, practice, tmp_path):
    file = tmp_path / "report.pdf"
    figures_of(practice, "--pdf", str(file))
    assert file.read_bytes().startswith(b"%PDF")  # a draft
    sign(browser, year)
    figures_of(practice, "--pdf", str(file))
    assert file.read_bytes() == bytes(SignedAudit.objects.get().pdf)
    assert list(tmp_path.iterdir()) == [file]


def test_freezing_by_command_is_repeatable_and_signs_nothing(year, practice):
    def run(*more):
        out = StringIO()
        call_command("freeze_audit", "--practice", practice.code, "--year", str(YEAR), "--json", *more, stdout=out)
        return json.loads(out.getvalue())

    dry = run("--dry-run")
    assert (dry["stored"], Snapshot.objects.count()) == (False, 0)
    first, second = run(), run()
    assert dry["checksum"] == first["checksum"] == second["checksum"]
    assert (first["stored"], second["stored"], second["known_before"]) == (True, False, True)
    assert first["rows"]["sides"] == 12
    assert Snapshot.objects.count() == 1
    assert SignedAudit.objects.count() == 0


@pytest.mark.parametrize(
    ("command", "arguments", "name"),
    [
        ("freeze_audit", ("--year", "1999"), "--year"),
        ("freeze_audit", ("--practice", "nowhere"), "--practice"),
        ("report", ("--year", "2023"), "--pdf"),
        ("report", ("--year", "2023", "--json", "--number", "7"), "--number"),
        ("report", ("--year", "2023", "--pdf", "/nowhere/at/all.pdf"), "--pdf"),
    ],
)
def test_misuse_of_a_command_names_the_argument(year, practice, command, arguments, name):
    own = () if "--practice" in arguments else ("--practice", practice.code)
    with pytest.raises(CommandError, match=name) as problem:
        call_command(command, *own, *arguments)
    assert problem.value.returncode == 2


def test_a_command_without_any_audit_says_where_to_begin(practice):
    with pytest.raises(CommandError, match="Begin it in the app"):
        call_command("freeze_audit", "--practice", create_practice(code="other").code)


def test_the_report_answers_every_item_of_the_guidelines(browser, year):
    from audit.report.guideline import ITEMS

    page = browser.get(address("audit-report")).content.decode()
    headings = {" ".join(text.split()) for text in re.findall(r"<h[234][^>]*>([^<]+)</h[234]>", page)}
    assert {item.where for item in ITEMS} <= headings


@pytest.mark.laid_out
def test_the_pdf_is_tagged_and_the_same_each_time(browser, year):
    words_, frozen = signing.words_of(year), signing.freeze(year)
    html = signing.report_html(frozen.figures, words_, before=None, stamp=None)
    one, two = (signing.report_pdf(html, words_, None) for _ in range(2))
    assert one == two
    pdf = pypdfium2.PdfDocument(one)
    assert pypdfium2.raw.FPDFCatalog_IsTagged(pdf.raw)
    pdf.close()


def test_another_practice_signs_its_own_year_only(client_of, year, other_practice):
    stranger = client_of(create_member(other_practice, role=Role.LEAD))
    assert stranger.get(address("audit-report")).status_code == 404
    assert stranger.get(address("audit-sign")).status_code == 409


def test_no_page_asks_for_a_value_that_is_not_there(browser, year, practice, monkeypatch):
    monkeypatch.setattr(engines["django"].engine, "string_if_invalid", "{missing: %s}")
    assert sign(browser, year).status_code == 302
    correct_the_event(practice)
    steps = ("audit-period", "audit-quality", "audit-year-results", "audit-year-course", "audit-standard")
    steps += ("audit-actions", "audit-sign", "audit-report", "audit-changes")
    query = {"performed_from": "2023-04-01", "performed_to": "2024-03-31"}
    pages = [browser.get(address(name)) for name in steps]
    pages += [browser.get(reverse(name), query) for name in ("audit", "audit-course")]
    pages += [browser.get(reverse(name)) for name in ("audit-years", "audit-monitoring")]
    for page in pages:
        assert page.status_code == 200
        asked = set(re.findall(r"{missing: (\w[^}]*)", unescape(page.content.decode())))
        assert asked <= {"home_url"}, page.request["PATH_INFO"]  # the site's name has its own default


def test_what_people_wrote_is_never_markup(browser, year):
    year.interpretation = "<script>alert(1)</script> & more"
    year.save()
    sign(browser, year)
    page = browser.get(address("audit-report")).content.decode()
    assert "<script>alert(1)</script>" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; more" in page
