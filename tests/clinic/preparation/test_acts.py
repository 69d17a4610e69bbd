"""Acts before an operation, called as another slice would call them: each is all or nothing, with its history."""

from datetime import date

import pytest

from clinic.access.models import Conflict
from clinic.preparation import recording
from clinic.preparation.models import AssessedToe, Assessment, AssessmentItem, Consent, ConsentElement, FootFinding
from tests.factories import NOON, create_assessment, create_consent, create_patient

pytestmark = pytest.mark.django_db
EVERYTHING = (Assessment, FootFinding, AssessedToe, AssessmentItem, Consent, ConsentElement)


class InTheMiddle(Exception):
    pass


def fails(*args, **kwargs):
    raise InTheMiddle


def stored() -> list[tuple[int, int]]:
    """Rows and versions of every kind."""
    return [(model.objects.count(), model.history.count()) for model in EVERYTHING]


@pytest.mark.parametrize("create", [create_assessment, create_consent])
def test_a_record_that_fails_in_the_middle_leaves_nothing(create, practice, practitioner, monkeypatch):
    patient = create_patient(practice)
    monkeypatch.setattr(recording, "keep_all", fails)

    with pytest.raises(InTheMiddle):
        create(patient, by=practitioner)

    assert stored() == [(0, 0)] * len(EVERYTHING)


def values_with(by, **fields) -> recording.AssessmentValues:
    own = {"assessed_on": date(2026, 11, 20), "assessed_by": by, "indication": "onychocryptosis", **fields}
    return recording.AssessmentValues(
        fields=own, feet={"right": {"toe_pressure": 50}}, toes={("left", 1): {}}, lines={}
    )


def test_a_change_that_fails_in_the_middle_leaves_everything(practitioner, practice, monkeypatch):
    assessment = create_assessment(create_patient(practice), by=practitioner)
    before = stored()
    monkeypatch.setattr(recording, "_write_lines", fails)

    with pytest.raises(InTheMiddle):
        recording.change_assessment(
            by=practitioner, assessment=assessment, version=1, values=values_with(practitioner), reason="x"
        )

    assert stored() == before
    kept = Assessment.objects.get()
    assert (kept.version, kept.toes.get().foot) == (1, "right")


def test_only_the_first_of_two_writers_wins(practitioner, practice):
    create_assessment(create_patient(practice), by=practitioner)
    mine, theirs = Assessment.objects.get(), Assessment.objects.get()
    change = {"by": practitioner, "version": 1, "reason": "x"}

    recording.change_assessment(assessment=mine, values=values_with(practitioner, tobacco="current"), **change)
    for late in (theirs, Assessment.objects.get()):  # read before, or read again for a page shown before
        with pytest.raises(Conflict):
            recording.change_assessment(assessment=late, values=values_with(practitioner, tobacco="ex"), **change)

    kept = Assessment.objects.get()
    assert (kept.tobacco, kept.version) == ("current", 2)


@pytest.mark.parametrize("act", ["reconfirm", "withdraw", "strike"])
def test_an_act_on_a_consent_that_moved_on_is_refused(act, practitioner, practice):
    consent = create_consent(create_patient(practice), by=practitioner)
    consent.version = 2
    consent.save()
    day = date(2026, 11, 25)
    acts = {
        "reconfirm": lambda row: recording.reconfirm_consent(by=practitioner, consent=row, version=1, on=day),
        "withdraw": lambda row: recording.withdraw_consent(by=practitioner, consent=row, version=1, on=day, reason="x"),
        "strike": lambda row: row.strike(by=practitioner, version=1, now=NOON, reason="x"),
    }

    with pytest.raises(Conflict):
        acts[act](Consent.objects.get())

    kept = Consent.objects.get()
    assert (kept.reconfirmed_on, kept.withdrawn_on, kept.struck_at) == (None, None, None)


def test_what_is_left_out_is_stored_as_not_recorded(practitioner, practice):
    patient = create_patient(practice)

    assessment = recording.record_assessment(
        by=practitioner, patient=patient, values=values_with(practitioner), now=NOON
    )

    assert {item.answer for item in assessment.items.all()} == {"not_recorded"}
    assert (assessment.diabetes, assessment.pregnancy, assessment.weight_kg) == ("not_recorded", "not_recorded", None)
