"""Every file of the corpus is refused with the sentence that belongs to it, quickly, and without a trace of itself."""

import time
import tracemalloc
import zipfile
from io import BytesIO

import pytest

from audit.exchange.problems import MOST_LISTED, Refused
from audit.exchange.reading import read_set
from tests.audit.exchange import sets
from tests.audit.exchange.corpus import Case, every_case, with_text

CASES = every_case()


def test_the_corpus_is_as_large_as_promised():
    assert len({case.name for case in CASES}) == len(CASES) >= 60


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_it_is_refused_and_the_answer_says_why(case: Case):
    began = time.monotonic()
    with pytest.raises(Refused) as refused:
        read_set(case.data)

    sentences = [problem.sentence for problem in refused.value.problems]
    assert case.says
    assert any(case.says in sentence for sentence in sentences), sentences[:3]
    assert time.monotonic() - began < 10
    for sentence in sentences:
        assert len(sentence) < 300
        assert sentence.isprintable(), ascii(sentence)


def test_a_good_set_is_read():
    found = read_set(sets.a_set())

    assert found.rows.to_numpy().tolist() == sets.released().to_numpy().tolist()
    assert found.manifest.practice == sets.PRACTICE


def test_a_good_set_is_read_however_it_was_packed_and_known_again():
    files = sets.files()
    target = BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in reversed(list(files)):
            archive.writestr(name, files[name])

    found = read_set(target.getvalue())

    assert found.sha256 != read_set(sets.a_set()).sha256
    assert found.manifest.content == read_set(sets.a_set()).manifest.content


def test_content_is_known_again_in_another_order():
    rows = sets.released()
    other = rows.iloc[::-1].reset_index(drop=True)

    assert read_set(sets.a_set(other)).manifest.content == read_set(sets.a_set(rows)).manifest.content


def test_every_wrong_cell_is_counted_and_the_first_are_listed():
    data = with_text(lambda text: text.replace(",operator,", ",somebody,"))
    wrong = sum(line.count(",somebody,") for line in sets.files()["sides.csv"].decode().replace(
        ",operator,", ",somebody,").split("\n"))  # fmt: skip
    with pytest.raises(Refused) as refused:
        read_set(data)

    assert refused.value.total == wrong
    assert len(refused.value.problems) == min(wrong, MOST_LISTED)
    rows = [problem.row for problem in refused.value.problems]
    assert rows == sorted(rows)


def test_a_bomb_costs_little_memory():
    """A quarter of a gigabyte that packs to a quarter of a megabyte is refused before it is unpacked."""
    target = BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in sets.files().items():
            if name != "sides.csv":
                archive.writestr(name, data)
        with archive.open("sides.csv", "w", force_zip64=False) as member:
            for _ in range(250):
                member.write(bytes(1024 * 1024))
    assert len(target.getvalue()) < 400 * 1024
    tracemalloc.start()
    with pytest.raises(Refused, match="times as large when unpacked"):
        read_set(target.getvalue())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 30 * 1024 * 1024
