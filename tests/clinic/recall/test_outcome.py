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
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(FINDINGS, min_size=15, max_size=15))
def test_what_is_settled_here_is_never_lost_in_the_audit_and_the_other_way_round(db, courses):
    """Lost for either of the audit's two outcomes of regrowth, if nothing more is seen: then it is missing here."""
    practice, day = create_practice(), date(2024, 6, 3)
    operated = [create_operation(practice, performed_on=day) for _ in courses]
    for operation, findings in zip(operated, courses, strict=True):
        for seen_on, extent, symptoms, retreatment in findings:
            create_review(operation, day=seen_on, extent=extent, symptoms=symptoms, retreatment=retreatment)
    frames = cohort.build(practice, performed_from=day, performed_to=day, as_of=day + timedelta(days=600))
    states = [side_states(frames, outcome) for outcome in (Outcome.ANY_REGROWTH, Outcome.SYMPTOMATIC_RECURRENCE)]
    keys = dict(TreatedSide.objects.values_list("nail_procedure__operation", "key"))

    missing = outcomes_missing([operation.pk for operation in operated])

    for operation, findings in zip(operated, courses, strict=True):
        lost = [found[keys[operation.pk]].status is Status.LOST for found in states]
        assert missing[operation.pk] == any(lost), (findings, lost)
