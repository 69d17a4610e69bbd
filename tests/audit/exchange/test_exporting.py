"""An export is made once, kept byte for byte, and refused where it would give somebody away beside an earlier one."""

import io
import zipfile
from dataclasses import replace

import pytest
from django.db import IntegrityError, transaction

from audit.exchange.preparing import NotExportable, SignedAudit, prepare
from audit.exchange.simulated import Plan, practice
from audit.measures.definitions import VERSION
from audit.peers import exporting
from audit.peers.models import Export, Taking
from audit.signed import as_one, before, signed_audits
from clinic.access.rules import Role
from tests.audit.exchange import acts
from tests.audit.exchange.conftest import a_year, signed_of
from tests.factories import create_member, create_practice

PLAN = Plan("north", seed=31, patients=90)


@pytest.fixture
def here(db, signed):
    """A lead whose audit is signed, in a group of another practice."""
    lead = create_member(create_practice(code="north"), role=Role.LEAD, username="northlead")
    host = create_member(create_practice(code="host"), role=Role.REVIEWER, username="host")
    signed["north"] = [signed_of(PLAN)]
    return lead, acts.joined(lead, acts.a_group(host))


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


def test_asking_again_gives_the_same_bytes(here):
    lead, membership = here
    one = acts.exported(lead, membership)
    two = acts.exported(lead, membership)

    assert one.pk == two.pk
    assert bytes(one.file) == bytes(Export.objects.get().file)


@pytest.mark.parametrize("what", [{"outcome": True}, {"added": True}, {"outcome": True, "added": True}])
def test_a_correction_of_one_patient_does_not_leave_beside_the_first_file(here, what):
    lead, membership = here
    acts.exported(lead, membership)
    frames = changed(practice(PLAN), **what)
    corrected = prepare(SignedAudit("auditkey2023", "2023", "corrected".ljust(64, "1"), VERSION, frames))

    with pytest.raises(NotExportable, match=r"differs from earlier file 1 in the rows of [12] patient"):
        acts.exported(lead, membership, ready=corrected)
    assert Export.objects.count() == 1


def test_a_correction_leaves_once_the_first_is_withdrawn(here):
    lead, membership = here
    first = acts.exported(lead, membership)
    exporting.withdraw_export(by=lead, export=first, version=first.version, reason="wrong side", now=acts.NOW)
    corrected = prepare(SignedAudit("auditkey2023", "2023", "c" * 64, VERSION, changed(practice(PLAN), outcome=True)))

    second = acts.exported(lead, membership, ready=corrected)

    assert second.pk != first.pk
    assert bytes(second.file) != bytes(first.file)


def test_a_correction_of_many_names_the_file_it_corrects(here):
    lead, membership = here
    first = acts.exported(lead, membership)
    frames = practice(PLAN)
    toes = frames.toe_findings.copy()
    many = toes["toe_key"].isin(frames.sides["toe_key"].unique()[:12])
    toes.loc[many & (toes["day"] < 15), ["swab", "antibiotic"]] = ["organism", "gp"]
    corrected = prepare(SignedAudit("auditkey2023", "2023", "d" * 64, VERSION, replace(frames, toe_findings=toes)))

    second = acts.exported(lead, membership, ready=corrected)

    assert second.replaces == first
    with zipfile.ZipFile(io.BytesIO(bytes(second.file))) as archive:
        assert first.content in archive.read("manifest.json").decode()


def test_two_years_and_both_together_may_leave_where_no_one_person_is_between_them(here, signed):
    lead, membership = here
    years = [
        Plan("north", 31 + start, 90, performed_from=a_year(start)[0], performed_to=a_year(start)[1])
        for start in (2022, 2023)
    ]
    signed["north"] = [signed_of(plan, key=f"year{plan.performed_from.year}") for plan in years]
    every = signed_audits(lead.practice)
    assert before(every[0], every) == every[1]
    for at in (0, 1):
        acts.exported(lead, membership, ready=prepare(as_one(every[at])))

    both = prepare(as_one(every[0], every[1]))

    assert both.audit.cohort.performed_from == a_year(2022)[0]
    assert set(both.raw["audit_year"]) == {"2022-04/2024-03"}
    # Rows kept in the years and rows kept together differ by whom the classes of two years let stay.
    refused = exporting.refused(lead.practice, both)
    if not refused:
        assert acts.exported(lead, membership, ready=both).rows == len(both.protected.rows)


@pytest.mark.parametrize(
    ("parts", "says"),
    [({"definitions": "0"}, "signed under definitions version 0"), ({"definitions": "mixed"}, "version mixed")],
)
def test_other_definitions_do_not_leave(parts, says):
    audit = SignedAudit("k", "2023", "c" * 64, VERSION, practice(PLAN))

    with pytest.raises(NotExportable, match=says):
        prepare(replace(audit, **parts))


def test_an_open_period_does_not_leave():
    open_period = replace(practice(PLAN), as_of=a_year(2024)[0])

    with pytest.raises(NotExportable, match="has reached the end of its outcome window"):
        prepare(SignedAudit("k", "2023", "c" * 64, VERSION, open_period))


def test_an_empty_year_does_not_leave():
    frames = practice(PLAN)
    empty = replace(frames, sides=frames.sides.iloc[0:0], findings=frames.findings.iloc[0:0],
                    toe_findings=frames.toe_findings.iloc[0:0])  # fmt: skip

    with pytest.raises(NotExportable, match="No operation was recorded"):
        prepare(SignedAudit("k", "2023", "c" * 64, VERSION, empty))


def test_nothing_is_kept_of_an_export_that_fails(here, monkeypatch):
    lead, membership = here
    monkeypatch.setattr("audit.peers.exporting.to_keep", lambda table: 1 / 0)

    with pytest.raises(ZeroDivisionError):
        acts.exported(lead, membership)

    assert not Export.objects.exists()


def test_the_log_is_written_first_and_without_it_nothing_is_given(here, client_of, monkeypatch):
    lead, membership = here
    export = acts.exported(lead, membership)
    browser = client_of(lead, raise_request_exception=False)

    response = browser.post(f"/exchange/exports/{export.key}/file/")

    assert response.content == bytes(export.file)
    taking = Taking.objects.get()
    assert (taking.member, taking.sha256, taking.what) == (lead, export.sha256, "export")
    monkeypatch.setattr("audit.views.exchange.exports.take", lambda **said: 1 / 0)
    assert browser.post(f"/exchange/exports/{export.key}/file/").status_code == 500


def test_the_database_itself_keeps_one_standing_export(here):
    lead, membership = here
    export = acts.exported(lead, membership)
    export.pk, export.key = None, "another12345"

    with pytest.raises(IntegrityError), transaction.atomic():
        export.save()


def test_no_smaller_groups_than_five_in_the_database(here):
    lead, membership = here
    export = acts.exported(lead, membership)
    export.k = 4

    with pytest.raises(IntegrityError), transaction.atomic():
        export.save()
