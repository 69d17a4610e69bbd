"""Whether an outcome is known: one by one, and against the audit's own reading of the same records."""

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audit import cohort
from audit.measures.definitions import Outcome, Status
from audit.measures.outcomes import side_states
from clinic.procedures.models import TreatedSide
from clinic.recall.outcome import Side, SideSeen, is_settled
from clinic.recall.queries import outcomes_missing
from clinic.vocabulary.review import Extent, Retreatment, Symptoms
from tests.factories import create_operation, create_practice, create_review


def side(*seen: SideSeen, grows: bool = True, ended_day: int | None = None) -> Side:
    return Side(grows, ended_day, seen)


def seen(day: int, extent: str = "none", symptoms: str = "none", retreatment: str = "none") -> SideSeen:
    return SideSeen(day, extent, symptoms, retreatment)


@pytest.mark.parametrize(
    ("known", "one"),
    [
        (False, side()),
        (False, side(seen(334))),
        (True, side(seen(335))),
        (True, side(seen(425))),
        (True, side(seen(426))),
        (False, side(seen(426, extent="spicule"))),
        (False, side(seen(426), seen(440, extent="spicule", symptoms="pain"))),
        (True, side(seen(360), seen(440, extent="spicule", symptoms="pain"))),
        (False, side(seen(360, extent="cannot_tell"))),
        (False, side(seen(360, symptoms="not_assessed"))),
        (False, side(seen(360, extent="cannot_tell", symptoms="pain"))),
        (True, side(seen(360, extent="cannot_tell"), seen(370))),
        (True, side(seen(200, extent="spicule", symptoms="pain"))),
        (False, side(seen(200, extent="spicule"))),
        (True, side(seen(200, retreatment="elsewhere"))),
        (True, side(ended_day=100)),
        (False, side(ended_day=426)),
        (True, side(seen(360, extent="not_applicable"), grows=False)),
        (True, side(seen(360, extent="not_assessed"), grows=False)),
        (True, side(seen(200, symptoms="ingrowth"), seen(360, symptoms="not_assessed"))),
    ],
)
def test_one_side(known, one):
    assert is_settled(one) is known


FINDINGS = st.lists(
    st.tuples(
        st.sampled_from([100, 200, 334, 335, 380, 425, 426, 440]),
        st.sampled_from([term.value for term in Extent if term != Extent.NOT_APPLICABLE]),
        st.sampled_from(Symptoms.codes()),
        st.sampled_from(Retreatment.codes()),
    ),
    max_size=3,
)


@pytest.mark.django_db
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(FINDINGS)
def test_what_is_settled_here_is_never_lost_in_the_audit_and_the_other_way_round(db, findings):
    """Lost for either of the audit's two outcomes of regrowth, if nothing more is seen: then it is missing here."""
    practice = create_practice()
    operation = create_operation(practice, performed_on=date(2024, 6, 3))
    for day, extent, symptoms, retreatment in findings:
        create_review(operation, day=day, extent=extent, symptoms=symptoms, retreatment=retreatment)
    as_of = operation.performed_on + timedelta(days=600)
    day_of = operation.performed_on
    frames = cohort.build(practice, performed_from=day_of, performed_to=day_of, as_of=as_of)
    key = TreatedSide.objects.get(nail_procedure__operation=operation).key
    lost = {
        outcome: side_states(frames, outcome)[key].status is Status.LOST
        for outcome in (Outcome.ANY_REGROWTH, Outcome.SYMPTOMATIC_RECURRENCE)
    }

    missing = outcomes_missing([operation.pk])[operation.pk]

    assert missing == any(lost.values()), (findings, lost)
