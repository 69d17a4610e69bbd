"""Every coded term has a label, a meaning and an honest source; the four empty answers stay apart."""

import pytest

from clinic.vocabulary import procedure, recall, review, schedule, sources
from clinic.vocabulary.terms import Source, Term, label_of

TERMS = [
    kind
    for module in (procedure, review, schedule, recall)
    for kind in vars(module).values()
    if isinstance(kind, type) and issubclass(kind, Term) and kind is not Term
]


@pytest.mark.parametrize("kind", TERMS, ids=lambda kind: kind.__name__)
def test_each_term_is_complete(kind):
    for term in kind:
        assert term.label.strip()
        assert term.meaning.strip()
        assert term.source.citation.strip()
        assert term.value == term.value.lower()
        assert len(term.value) <= 20
    assert len({term.label for term in kind}) == len(list(kind))


def test_sources_are_cited_once():
    cited = [source.citation for source in vars(sources).values() if isinstance(source, Source)]

    assert len(cited) == len(set(cited)) > 10


def test_no_not_assessed_not_applicable_and_not_recorded_are_four_things():
    assert (
        len(
            {procedure.Answer.NO, *(procedure.Answer(f"not_{kind}") for kind in ("assessed", "applicable", "recorded"))}
        )
        == 4
    )


def test_an_unknown_code_is_shown_as_it_is():
    assert label_of(procedure.Agent, "phenol") == "Phenol"
    assert label_of(procedure.Agent, "unheard_of") == "unheard_of"


def test_where_the_technique_decides_the_matrix():
    assert procedure.Technique.PNA_CHEMICAL.destroys_matrix is True
    assert procedure.Technique.TNA_ONLY.destroys_matrix is False
    assert procedure.Technique.OTHER.destroys_matrix is None
