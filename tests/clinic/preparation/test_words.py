"""Every term before an operation has label, meaning and source."""

import pytest

from clinic.vocabulary import preparation, sites
from clinic.vocabulary.terms import Term

TERMS = [
    kind
    for module in (preparation, sites)
    for kind in vars(module).values()
    if isinstance(kind, type) and issubclass(kind, Term) and kind is not Term
]
EMPTY = {"not_assessed", "not_examined", "not_recorded", "not_applicable"}


@pytest.mark.parametrize("kind", TERMS, ids=lambda kind: kind.__name__)
def test_each_term_is_complete(kind):
    for term in kind:
        assert term.label.strip()
        assert term.meaning.strip()
        assert term.source.citation.strip()
        assert term.value == term.value.lower()
        assert len(term.value) <= 20
    assert len({term.label for term in kind}) == len(list(kind))


@pytest.mark.parametrize(
    "kind",
    [preparation.Diabetes, preparation.Immunosuppression, preparation.Pregnancy, preparation.Tobacco,
     preparation.PriorSurgery],
)  # fmt: skip
def test_not_asked_not_recorded_and_no_are_different_answers(kind):
    codes = set(kind.codes())

    assert {"not_assessed", "not_recorded"} <= codes
    assert codes & {"none", "no", "never"}


def test_every_topic_has_codes_of_its_own_kind():
    assert set(preparation.CODES) == set(preparation.Topic)
    assert all(not set(topic.terms.codes()) & EMPTY for topic in preparation.Topic)
