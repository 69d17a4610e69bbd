"""The recall list as rows of a file."""

from collections.abc import Iterator, Sequence
from datetime import date

from clinic.recall.lists import next_words, words_of
from clinic.recall.queries import Followed
from clinic.reviews.sentences import site
from clinic.vocabulary.review import ContactResult
from clinic.vocabulary.terms import label_of

HEAD = (
    "name", "born on", "record number", "phone", "e-mail", "operation on", "toe and side", "review", "target",
    "window closes", "where it stands", "tries", "last try", "came of it", "next", "not tried because",
)  # fmt: skip


def lines(rows: Sequence[Followed], today: date) -> Iterator[list[object]]:
    """rows: named by `name_rows`. Days as ISO dates. Nobody is called or written to from it who must not be."""
    for row in rows:
        who, last = row.identity, row.tries[-1] if row.tries else None
        reach = None if row.stop else who
        yield [
            who.name if who else "", who.born_on.isoformat() if who else "", who.record_number if who else "",
            reach.phone if reach else "", reach.email if reach else "", row.operation.performed_on.isoformat(),
            "; ".join(site(nail) for nail in row.nails), row.point.name if row.point else "12-month outcome",
            row.target_on.isoformat() if row.target_on else "", row.closes_on.isoformat() if row.closes_on else "",
            words_of(row, today), len(row.tries), last.made_on.isoformat() if last else "",
            label_of(ContactResult, last.result) if last else "", next_words(row, today),
            row.stop.label if row.stop else "",
        ]  # fmt: skip
