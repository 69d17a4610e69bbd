"""Published two-by-two tables, entered toe by toe like a practice would, must come out of the audit as printed.

Counts as published; Wilson limits recomputed from them (two-sided 95 %, z = 1.959964).
"""

from datetime import date

import pytest

from audit import cohort
from audit.report import yearly
from clinic.procedures.recording import OperationValues, SideValues, ToeValues, record_operation
from clinic.reviews.recording import Findings, record_review
from clinic.vocabulary.procedure import Agent, StrengthBasis, Technique
from clinic.vocabulary.review import Extent, Means, Observer, Origin, Retreatment, Symptoms
from tests.audit.reading import rows_of
from tests.factories import NOON, calm_toe, create_member, create_patient, create_practice

pytestmark = pytest.mark.django_db
AS_OF = date(2026, 3, 1)
DONE_ON = date(2024, 6, 3)
VISIT = {
    "seen_on": date(2025, 6, 4),
    "origin": Origin.PLANNED,
    "observer": Observer.OPERATOR,
    "means": Means.IN_PERSON,
}

PHENOL = {"technique": Technique.PNA_CHEMICAL, "agent": Agent.PHENOL}
EXCISION = {"technique": Technique.WEDGE, "agent": Agent.NONE}
AVULSION = {"technique": Technique.PNA_ONLY, "agent": Agent.NONE}
CLEAR = {"extent": Extent.NONE, "symptoms": Symptoms.NONE}
SPICULE = {"extent": Extent.SPICULE, "symptoms": Symptoms.NONE}
INGROWN = {"extent": Extent.STRIP, "symptoms": Symptoms.INGROWTH}
CLEAR_WITHOUT_MATRICECTOMY = {"extent": Extent.NOT_APPLICABLE, "symptoms": Symptoms.NONE}
INGROWN_WITHOUT_MATRICECTOMY = {"extent": Extent.NOT_APPLICABLE, "symptoms": Symptoms.INGROWTH}


@pytest.fixture
def practice():
    practice = create_practice()
    create_member(practice)
    return practice


def enter(practice, how, *findings):
    """One patient, one toe and one side for each, written by the acts behind the forms."""
    by = practice.members.get()
    for finding, times in findings:
        for _ in range(times):
            operation = record_operation(by=by, patient=create_patient(practice), values=one_toe(by, how), now=NOON)
            record_review(by=by, operation=operation, visit=VISIT, findings=same_finding(operation, finding), now=NOON)


def one_toe(operator, how):
    chemical = Technique(how["technique"]).takes_agent
    fields = {
        "foot": "right",
        "toe": 1,
        "matrix_destroyed": Technique(how["technique"]).destroys_matrix,
        "strength_basis": StrengthBasis.NOT_RECORDED if chemical else StrengthBasis.NOT_APPLICABLE,
        **how,
    }
    toe = ToeValues(fields, {"fibular": SideValues(seconds=(60, 60) if chemical else ())})
    return OperationValues({"performed_on": DONE_ON, "operator": operator, "note": ""}, (toe,))


def same_finding(operation, finding):
    nail = operation.nail_procedures.get()
    return Findings(
        toes={nail: calm_toe()},
        sides={treated: {**finding, "retreatment": Retreatment.NONE} for treated in nail.treated_sides.all()},
    )


def audited(practice, outcome):
    frames = cohort.build(practice, performed_from=date(2024, 1, 1), performed_to=date(2024, 12, 31), as_of=AS_OF)
    return rows_of(yearly.build(frames, unit="toe", outcome=outcome, standard=None).technique)


def printed(group):
    """Events, denominator and Wilson limits in per cent with two decimals, as in a paper."""
    low, high = group.interval.low, group.interval.high
    return group.events, group.ascertained, round(100 * low, 2), round(100 * high, 2)


def test_phenol_against_matrix_excision(practice):
    """Bos AMC et al. Br J Surg 2007;94:292-296: recurrence at one year, 8 of 58 and 23 of 59."""
    enter(practice, PHENOL, (SPICULE, 8), (CLEAR, 50))
    enter(practice, EXCISION, (SPICULE, 23), (CLEAR, 36))
    groups = audited(practice, "any_regrowth")
    assert printed(groups["pna_chemical:phenol"]) == (8, 58, 7.16, 24.93)
    assert printed(groups["wedge"]) == (23, 59, 27.58, 51.73)


def test_excision_against_phenol_any_and_symptomatic_recurrence(practice):
    """Gerritsma-Bleeker CLE et al. Arch Surg 2002;137:320-325: 63 toes at 12 months.

    Any recurrence 7 of 34 after excision and 7 of 29 after phenol; of these 4 and 3 with symptoms.
    """
    enter(practice, EXCISION, (INGROWN, 4), (SPICULE, 3), (CLEAR, 27))
    enter(practice, PHENOL, (INGROWN, 3), (SPICULE, 4), (CLEAR, 22))
    regrowth = audited(practice, "any_regrowth")
    assert printed(regrowth["wedge"]) == (7, 34, 10.35, 36.80)
    assert printed(regrowth["pna_chemical:phenol"]) == (7, 29, 12.22, 42.11)
    symptomatic = audited(practice, "symptomatic_recurrence")
    assert printed(symptomatic["wedge"]) == (4, 34, 4.67, 26.62)
    assert printed(symptomatic["pna_chemical:phenol"]) == (3, 29, 3.58, 26.39)


def test_avulsion_with_phenol_against_avulsion_alone(practice):
    """Partial nail avulsion with or without phenolization, Lahore 2023-24 (Cureus).

    Recurrence 1 of 70 with phenol and 7 of 70 without.

    Without matricectomy nail is expected to grow, so only recurrence with symptoms is counted.
    """
    enter(practice, PHENOL, (INGROWN, 1), (CLEAR, 69))
    enter(practice, AVULSION, (INGROWN_WITHOUT_MATRICECTOMY, 7), (CLEAR_WITHOUT_MATRICECTOMY, 63))
    groups = audited(practice, "symptomatic_recurrence")
    assert printed(groups["pna_chemical:phenol"]) == (1, 70, 0.25, 7.66)
    assert printed(groups["pna_only:no_matricectomy"]) == (7, 70, 4.93, 19.23)
