"""A signed audit leaves once: the same bytes, a correction only where nobody stands out, the log first."""

import io
import json
import zipfile
from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from audit.exchange.preparing import PUBLISHED, NotExportable, prepare
from audit.exchange.reading import read_set
from audit.exchange.simulated import Plan, practice
from audit.exchange.units import units_of
from audit.measures.definitions import Outcome, Unit
from audit.measures.strata import count, headline_units
from audit.peers import exporting
from audit.peers.models import Export, Taking
from audit.signed import as_one, before, signed_audits
from audit.signing import sign_year
from tests.audit.exchange import acts
from tests.audit.exchange.conftest import a_year, lead_of, reviewer_of
from tests.audit.exchange.signatures import sign
from tests.audit.exchange.test_hidden_cells import Reader
from tests.factories import create_audit_year, create_operation, create_review

PLAN = Plan("north", seed=31, patients=90)


@pytest.fixture(scope="module")
def place(once_for_all):
    """A lead whose audit is signed and was exported, in a group of another practice."""
    with once_for_all():
        lead = lead_of("north", PLAN)
        membership = acts.joined(lead, acts.a_group(reviewer_of("host")))
        acts.exported(lead, membership)
        yield lead, membership


@pytest.fixture
def here(place, db):
    return place


def written_about(patient) -> set[str]:
    """What the record calls a patient, and the days it holds. The file is stored, so its bytes can be searched."""
    who = patient.identity
    days = {day.isoformat() for day in patient.operations.values_list("performed_on", flat=True)}
    return {who.family_name, who.given_name, who.record_number, patient.key, who.born_on.isoformat(), *days}


def changed(frames, *, outcome: bool = False, added: bool = False):
    """The frames after one outcome was amended, or one patient was added."""
    findings, sides = frames.findings.copy(), frames.sides.copy()
    if outcome:
        clear = findings.index[(findings["extent"] == "none") & (findings["day"] >= 335)][0]
        findings.loc[clear, ["extent", "symptoms"]] = ["spicule", "ingrowth"]
    if added:
        one = sides[sides["agent"] == "phenol"].iloc[0].copy()
        one["side_key"], one["toe_key"], one["patient_key"], one["operation_key"] = "new1", "new2", "new3", "new4"
        sides.loc[len(sides)] = one
        seen = findings[findings["extent"] == "none"].iloc[0].copy()
        seen["side_key"], seen["review_key"] = "new1", "newreview"
        findings.loc[len(findings)] = seen
    return replace(frames, sides=sides, findings=findings)


def test_only_what_is_signed_can_be_exported(here):
    """The frames are those of the snapshot, whatever became of the records; a year in work is not among them."""
    lead, _ = here
    create_audit_year(lead.practice, starting_year=2022, by=lead)

    (found,) = signed_audits(lead.practice)

    assert found.performed_from == PLAN.performed_from
    frames, own = found.load(), practice(PLAN)
    assert sorted(frames.sides["side_key"]) == sorted(own.sides["side_key"])
    assert len(frames.findings) == len(own.findings)
    other = lead_of("preliminary")
    sign(other, PLAN, preliminary=True)
    assert signed_audits(other.practice) == []


def test_records_signed_by_their_lead_leave_and_give_the_signed_figures_again(db):
    """The whole way: operations and reviews, the signature with its counted report, the file, its rows counted."""
    lead = lead_of("small")
    for place in range(24):
        operation = create_operation(lead.practice, operator=lead, performed_on=date(2023, 6, 1 + place))
        create_review(operation, day=7)
        if place:
            create_review(operation, day=365, **({"extent": "spicule", "symptoms": "ingrowth"} if place < 3 else {}))
    year = create_audit_year(lead.practice, by=lead)
    signature = sign_year(by=lead, year=year, version=year.version, now=timezone.now())
    export = acts.exported(lead, acts.joined(lead, acts.a_group(reviewer_of("other"))))

    rows = read_set(bytes(export.file)).rows
    again = count(headline_units(units_of(rows, Outcome.ANY_REGROWTH, Unit.SIDE)))
    signed = json.loads(signature.snapshot.body)["figures"]["outcomes"]["any_regrowth"]["headline"]

    assert export.signed == signature
    for name in ("events", "ascertained", "eligible", "patients"):
        assert signed[name] == getattr(again, name)
    assert (again.events, again.ascertained, again.eligible) == (2, 23, 24)
    names = {text for patient in lead.practice.patients.all() for text in written_about(patient)}
    assert len(names) > 24
    assert [text for text in {*names, lead.username, lead.practice.name} if text.encode() in bytes(export.file)] == []
    for end in ("low", "high"):
        assert signed["interval"][end] == pytest.approx(getattr(again.interval, end), abs=1e-6)


def test_an_audit_opened_again_meanwhile_does_not_leave(here):
    lead, membership = here
    looked_at = acts.prepared(lead)
    sign(lead, changed(practice(PLAN), outcome=True))

    with pytest.raises(NotExportable, match="opened again since you began"):
        acts.exported(lead, membership, ready=looked_at)


def test_asking_again_gives_the_same_bytes(here):
    lead, membership = here
    first = Export.objects.get()
    again = acts.exported(lead, membership)

    assert again.pk == first.pk
    assert bytes(again.file) == bytes(first.file)


@pytest.mark.parametrize("what", [{"outcome": True}, {"added": True}, {"outcome": True, "added": True}])
def test_a_correction_of_one_patient_leaves_only_once_the_first_file_is_withdrawn(here, what):
    lead, membership = here
    first = Export.objects.get()
    sign(lead, changed(practice(PLAN), **what))

    with pytest.raises(NotExportable, match=r"differs from earlier file 1 in the rows of [12] patient"):
        acts.exported(lead, membership)
    assert Export.objects.count() == 1
    exporting.withdraw_export(by=lead, export=first, version=first.version, reason="wrong side", now=acts.NOW)
    second = acts.exported(lead, membership)

    assert second.signed_id != first.signed_id
    assert bytes(second.file) != bytes(first.file)


def test_a_table_that_was_taken_is_remembered_though_its_file_was_withdrawn(here):
    """The file can be thrown away, what was printed cannot: a table that differs from it by one patient stays back."""
    lead, membership = here
    first = Export.objects.get()
    sign(lead, changed(practice(PLAN), added=True))
    exporting.take(practice=lead.practice, by=lead, what=Taking.What.TABLES, now=acts.NOW, export=first)
    exporting.withdraw_export(by=lead, export=first, version=first.version, reason="one more", now=acts.NOW)

    second = acts.exported(lead, membership)

    assert second.tables[0]["values"] != first.tables[0]["values"]
    assert all(all(line) for line in second.tables[0]["hidden"])


def test_a_correction_of_many_names_the_file_it_corrects(here):
    lead, membership = here
    first = Export.objects.get()
    frames = practice(PLAN)
    toes = frames.toe_findings.copy()
    many = toes["toe_key"].isin(frames.sides["toe_key"].unique()[:12])
    toes.loc[many & (toes["day"] < 15), ["swab", "antibiotic"]] = ["organism", "gp"]
    sign(lead, replace(frames, toe_findings=toes))

    second = acts.exported(lead, membership)

    assert second.replaces == first
    with zipfile.ZipFile(io.BytesIO(bytes(second.file))) as archive:
        assert first.content in archive.read("manifest.json").decode()


@pytest.fixture
def two_years(db):
    """A lead with two signed years, in a group."""
    lead = lead_of("south")
    membership = acts.joined(lead, acts.a_group(reviewer_of("other")))
    for start in (2022, 2023):
        first, last = a_year(start)
        sign(lead, Plan("south", 31 + start, 90, performed_from=first, performed_to=last))
    return lead, membership


def test_two_years_together_do_not_leave_beside_one_of_them(two_years):
    lead, membership = two_years
    every = signed_audits(lead.practice)
    assert before(every[0], every) == every[1]
    one = acts.exported(lead, membership, ready=acts.prepared(lead, at=1))
    both = prepare(as_one(every[0], every[1]))

    assert "of another period or was protected in another way" in exporting.refused(lead.practice, both)
    with pytest.raises(NotExportable, match=r"side by side the two would tell more.*Withdraw the earlier file first"):
        acts.exported(lead, membership, ready=both)
    exporting.withdraw_export(by=lead, export=one, version=one.version, reason="both together", now=acts.NOW)
    export = acts.exported(lead, membership, ready=both)

    assert set(both.raw["audit_year"]) == {"2022-04/2024-03"}
    assert export.rows == len(both.protected.rows)
    assert (export.signed, export.signed_before) == (every[0].signature, every[1].signature)
    for at in (0, 1):
        assert exporting.refused(lead.practice, acts.prepared(lead, at=at))


def test_one_year_after_the_other_leaves_and_no_small_count_can_be_worked_out(two_years):
    lead, membership = two_years
    for at in (1, 0):
        acts.exported(lead, membership, ready=acts.prepared(lead, at=at))

    assert_no_small_count_can_be_worked_out(Export.objects.filter(practice=lead.practice).order_by("made_at", "pk"))


@pytest.mark.parametrize("protection", [{"k": 7}, {"harmless_declared": False}])
def test_for_another_group_it_leaves_with_the_same_protection_or_not_at_all(here, protection):
    """Five alike in one file and seven in another: side by side fewer than either."""
    lead, _ = here
    other = acts.joined(lead, acts.a_group(reviewer_of("other")))
    ready = prepare(as_one(signed_audits(lead.practice)[0]), **protection)

    with pytest.raises(NotExportable, match="was protected in another way"):
        acts.exported(lead, other, ready=ready)
    assert acts.exported(lead, other).content


def assert_no_small_count_can_be_worked_out(exports, fewest=11) -> None:
    """By linear programming over the tables of both years, as they were kept."""
    for at, _ in enumerate(PUBLISHED):
        kept = {name: export.tables[at] for name, export in zip(("early", "late"), exports, strict=True)}
        reader = Reader()
        for name, table in kept.items():
            reader.reads(name, SimpleNamespace(
                lines=[(code, "") for code in table["lines"]], values=np.array(table["values"]),
                mask=np.array(table["hidden"]), withheld="",
            ))  # fmt: skip
        small = [
            (name, code, column)
            for name, table in kept.items()
            for code, values in zip(table["lines"], table["values"], strict=True)
            for column in range(3)
            if 0 < values[column] < fewest
        ]
        assert small
        for name in small:
            low, high = reader.range_of(*name)
            assert high - low >= fewest, (name, low, high)


def test_other_definitions_do_not_leave(db):
    lead = lead_of("south")
    sign(lead, PLAN, definitions="0")

    with pytest.raises(NotExportable, match="signed under definitions version 0"):
        acts.prepared(lead)
    mixed = replace(as_one(signed_audits(lead.practice)[0]), definitions="mixed")
    with pytest.raises(NotExportable, match="version mixed"):
        prepare(mixed)


@pytest.mark.parametrize("what", ["open", "empty"])
def test_an_open_period_and_an_empty_year_do_not_leave(db, what):
    frames = practice(PLAN)
    nobody = {name: getattr(frames, name).iloc[0:0] for name in ("sides", "findings", "toe_findings")}
    changes, says = {
        "open": ({"as_of": a_year(2024)[1]}, "has reached the end of its outcome window"),
        "empty": (nobody, "No operation was recorded"),
    }[what]
    lead = lead_of("south")
    sign(lead, replace(frames, **changes))

    with pytest.raises(NotExportable, match=says):
        acts.prepared(lead)


def test_nothing_is_kept_of_an_export_that_fails(here, monkeypatch):
    lead, _ = here
    other = acts.joined(lead, acts.a_group(reviewer_of("other")))
    monkeypatch.setattr("audit.peers.exporting.to_keep", lambda table: 1 / 0)

    with pytest.raises(ZeroDivisionError):
        acts.exported(lead, other)

    assert Export.objects.count() == 1


def test_the_log_is_written_first_and_without_it_nothing_is_given(here, client_of, monkeypatch):
    lead, _ = here
    export = Export.objects.get()
    browser = client_of(lead, raise_request_exception=False)
    pages = {name: reverse(name, args=[export.key]) for name in ("export", "export-file", "export-tables")}

    response = browser.post(pages["export-file"])
    browser.post(pages["export-tables"])

    assert response.content == bytes(export.file)
    first, second = Taking.objects.all()
    assert (first.member, first.sha256, first.what) == (lead, export.sha256, "export")
    assert second.what == "tables"
    assert browser.get(pages["export"]).content.decode().count("peer export") == 1
    monkeypatch.setattr("audit.views.exchange.exports.take", lambda **said: 1 / 0)
    assert browser.post(pages["export-file"]).status_code == 500


@pytest.mark.parametrize("change", [{"pk": None, "key": "another12345"}, {"k": 4}, {"signed_id": None}])
def test_the_database_keeps_one_standing_export_of_five_alike_from_a_signature(here, change):
    export = Export.objects.get()
    for name, value in change.items():
        setattr(export, name, value)

    with pytest.raises(IntegrityError), transaction.atomic():
        export.save()
