"""How old somebody has to be to read what patients read: pages, slip, letters, messages.

Flesch-Kincaid grade level: Kincaid JP et al., Derivation of new readability formulas, US Navy Research Branch Report
8-75, 1975 (formula from memory, checked against the library). A grade plus five is about the reader's age.
"""

import re
from collections.abc import Iterator
from datetime import timedelta
from html.parser import HTMLParser

import pytest
import textstat
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from clinic.planning.models import FollowUp
from clinic.reminders.texts import written
from clinic.vocabulary.recall import MessageKind
from tests.clinic.recall.test_lists import tried
from tests.clinic.reports.conftest import NOW
from tests.factories import add_toe, create_link, picture_bytes

MOST_WORDS, MOST_GRADE_OF_ONE = 20, 8.0
FEWEST_WORDS = 5  # the formula says little of a heading of one long word
MOST_GRADE = 5.0  # readable at about ten years; UK guidance for patients asks for 9 to 11 (from memory, unverified)


@pytest.fixture(autouse=True)
def _american_hyphens():
    textstat.set_lang("en_US")  # its British dictionary of hyphens finds too few syllables


def grade(text: str) -> float:
    return textstat.flesch_kincaid_grade(text)


def grade_by_vowels(text: str) -> float:
    """The same formula with a rough count of our own: groups of vowels, a silent e at the end taken off."""
    words = re.findall(r"[a-z]+", text.lower())
    sentences = [part for part in re.split(r"[.?:]", text) if part.strip()]
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def syllables(word: str) -> int:
    groups = len(re.findall(r"[aeiouy]+", word))
    return max(1, groups - (word.endswith("e") and not word.endswith("le")))


def test_both_counts_give_the_value_of_a_text_counted_by_hand():
    """12 words, 2 sentences, 14 syllables: 0.39 * 6 + 11.8 * 14 / 12 - 15.59 = 0.52."""
    text = "The doctor looks at your toe. Then you may go home today."
    by_hand = 0.39 * 12 / 2 + 11.8 * 14 / 12 - 15.59

    assert round(by_hand, 2) == 0.52
    assert textstat.syllable_count(text) == 14
    assert abs(grade(text) - by_hand) <= 0.6  # the library rounds syllables per word to one decimal place
    assert abs(grade_by_vowels(text) - by_hand) < 0.01


# --- all that a patient reads, as it is rendered


class Blocks(HTMLParser):
    """The text of each block of a page's main part or of a letter; what stands in one line is one block."""

    INLINE, UNREAD = {"a", "strong", "span", "small", "b", "em"}, {"style", "script", "svg", "textarea"}

    def __init__(self, inside: str) -> None:
        super().__init__()
        self.inside, self.depth, self.unread, self.blocks = inside, 0, 0, [""]

    def handle_starttag(self, tag, attrs):
        self.depth += tag == self.inside
        self.unread += tag in self.UNREAD
        self._end_block(tag)

    def handle_endtag(self, tag):
        self.depth -= tag == self.inside
        self.unread -= tag in self.UNREAD
        self._end_block(tag)

    def handle_data(self, data):
        if self.depth and not self.unread:
            self.blocks[-1] += data

    def _end_block(self, tag):
        if tag not in self.INLINE and self.blocks[-1].strip():
            self.blocks.append("")


def read_in(response, inside: str = "main") -> list[str]:
    parser = Blocks(inside)
    parser.feed(response.content.decode())
    return parser.blocks


def sentences_of(blocks: list[str]) -> set[str]:
    """Each with its end; an address, and what has no word in it, are left out."""
    found = set()
    for block in blocks:
        for part in re.split(r"(?<=[.?!:])\s+", " ".join(block.split())):
            words = [word for word in part.split() if "/" not in word]
            if re.search("[A-Za-z]", part) and words:
                found.add(" ".join(words).rstrip(".?!:,;") + ".")
    return found


@pytest.fixture
def everything(operated, practice, client_of, reception) -> set[str]:
    """Pages, slip, letters and messages: with and without a number, for one toe and several, well and not well."""
    settings = FollowUp(practice=practice, sender="Example Practice")
    blocks = list(pages_of(operated))
    settings.phone = "01632 960100"
    settings.save()
    practice.refresh_from_db()
    blocks += pages_of(operated)
    blocks += letters_and_slip(operated, client_of(reception))
    for kind in MessageKind:
        message = written(kind, settings, until="9 December 2026")
        blocks += [message.subject, *message.body.split("\n")]
    return sentences_of(blocks)


def pages_of(operated) -> Iterator[str]:
    calm = {"pain0": "1", "fluid0": "none", "nail0": "no", "sore0": "no", "call": "no"}
    several = operated(365, sides=("tibial", "fibular"))
    add_toe(several, foot="left", toe=5, sides=("tibial", "fibular"))
    for operation, answers in ((operated(365), calm), (operated(365), calm | {"note": "All is well"}),
                               (operated(365), calm | {"pain0": "9"}), (several, {})):  # fmt: skip
        url = reverse("report", args=[create_link(operation, now=NOW)[1]])
        yield from read_in(Client().get(url))
        photo = SimpleUploadedFile("toe.jpg", picture_bytes(), content_type="image/jpeg")
        yield from read_in(Client().post(url, {"picture": photo, "note": "x" * 301}))
        Client().post(url, answers)
        yield from read_in(Client().get(url))
    ended, token = create_link(operated(365), now=NOW - timedelta(days=90))
    yield from read_in(Client().get(reverse("report", args=[token])))
    guesser = Client(REMOTE_ADDR=f"192.0.2.{ended.pk % 200}")
    for number in range(6):
        yield from read_in(guesser.get(reverse("report", args=[f"guess-{number}"])))


def letters_and_slip(operated, client) -> Iterator[str]:
    last, first, seen = operated(420), operated(380), operated(50)
    for days in (60, 50, 40, 30):
        tried(last, days)
    picks = {"pick": [operation.key for operation in (last, first, seen)]}
    once = client.get(reverse("letters"), picks).context["once"]
    yield from read_in(client.post(reverse("letters"), picks | {"once": once, "do": "page"}), "article")
    url = reverse("report-link", args=[first.key])
    once = client.get(url).context["form"]["once"].value()
    yield from read_in(client.post(url, {"once": once, "about": "problem"}), "article")


def test_nothing_that_a_patient_reads_is_left_out(everything):
    """One sentence of every place, so that the two tests below cannot pass by reading little."""
    for said in (
        "How are your toes.", "This link works once, until 9 December 2026.", "Choose a number from 0 to 10.",
        "Do not wait for us to read this.", "Do not wait for us.", "Call the practice now.",
        "We may not read your note today.", "We do not know this link.", "Wait a few minutes and try again.",
        "This link ended on 10 September 2026.", "Please call us on 01632 960100 for a visit by 30 November 2026.",
        "We have tried to reach you before.", "Please get in touch.", "Please do not pass it on.",
        "Scan the square with your phone, or type the address.", "I feel hot and shaky.",
        "Tick that we may keep the photo, or send no photo.", "Please choose the photo again.",
    ):  # fmt: skip
        assert said in everything, "\n".join(sorted(everything))


def test_all_that_a_patient_reads_is_plain(everything, capsys):
    text = " ".join(sorted(everything))
    found = max(grade(text), grade_by_vowels(text))

    with capsys.disabled():
        print(f"\nreading grade of all that patients read {found:.1f} (age about {found + 5:.0f}), "
              f"reading ease {textstat.flesch_reading_ease(text)}")  # fmt: skip
    assert found <= MOST_GRADE


def test_no_single_sentence_is_hard_or_long(everything, capsys):
    graded = sorted((grade_by_vowels(each), each) for each in everything if len(each.split()) >= FEWEST_WORDS)
    hardest, said = graded[-1]

    with capsys.disabled():
        print(f"\nhardest sentence, grade {hardest:.1f}: {said}")
    assert hardest <= MOST_GRADE_OF_ONE, graded[-5:]
    assert max(len(each.split()) for each in everything) <= MOST_WORDS
