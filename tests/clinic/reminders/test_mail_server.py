"""Sending to a real mail server on this machine: down, slow, refusing, and with the sender killed in the middle.

Each run is a process of its own on a database file of its own, as a timer would start it.
"""

import json
import os
import random
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from tests.clinic.reminders.sink import listening
from tests.tables import TABLES

ROOT = Path(__file__).resolve().parents[3]
PEOPLE = 6
SETUP = """
from datetime import timedelta
from django.utils import timezone
from clinic.planning.models import FollowUp
from clinic.reminders.models import TextApproval
from clinic.reminders.texts import digest_of
from tests.factories import create_member, create_operation, create_patient, create_practice
practice = create_practice(code="north")
lead = create_member(practice, role="lead", username="lead")
row = FollowUp.objects.create(practice=practice, phone="01632 960100", sender="The Sands", sends_email=True)
TextApproval.objects.create(practice=practice, digest=digest_of(row), by=lead, at=timezone.now())
for number in range({people}):
    patient = create_patient(practice, family_name=f"Marked-{{number}}")
    patient.identity.email = f"p{{number}}@example.org"
    patient.identity.save()
    day = timezone.localdate() - timedelta(days=360)
    create_operation(patient=patient, operator=lead, performed_on=day)
"""
ROWS = """SELECT state, fault, message_id, attempts FROM clinic_message ORDER BY id"""
AGAIN = """
UPDATE clinic_message SET state = 'queued', run = '' WHERE state = 'unclear' AND message_id NOT IN ({held})
"""


class Practice:
    """A practice in a database file, and the command that sends its messages."""

    def __init__(self, folder: Path, port: int = 1) -> None:
        self.folder = folder
        kept = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "PRODUCTION"}}
        self.environment = kept | {
            "VAR_DIR": str(folder), "PYTHONPATH": str(ROOT), "DJANGO_SETTINGS_MODULE": "clinic.settings",
            "EMAIL_HOST": "127.0.0.1", "EMAIL_PORT": str(port), "EMAIL_SECURITY": "none", "EMAIL_TIMEOUT": "2",
            "DEFAULT_FROM_EMAIL": "reviews@example.org",
        }  # fmt: skip

    def manage(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments], cwd=ROOT, env=self.environment, capture_output=True, text=True
        )  # fmt: skip
        assert done.returncode in {0, 1}, done.stderr
        self.logged = done.stderr
        return done.stdout

    def set_up(self, people: int = PEOPLE) -> None:
        program = [sys.executable, "-c", TABLES + SETUP.format(people=people)]
        subprocess.run(program, cwd=ROOT, env=self.environment, check=True)

    def remind(self) -> dict:
        return json.loads(self.manage("remind", "--json").splitlines()[-1])

    def start(self) -> subprocess.Popen:
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        return subprocess.Popen([sys.executable, "manage.py", "remind"], cwd=ROOT, env=self.environment, **quiet)

    def ask(self, statement: str) -> list[tuple]:
        """Past Django, whose start costs more than what it would say."""
        with closing(sqlite3.connect(self.folder / "clinic.sqlite3")) as connection, connection:
            return connection.execute(statement).fetchall()

    def states(self) -> Counter[str]:
        return Counter(state for state, *_ in self.ask(ROWS))

    def contacts(self) -> int:
        return self.ask("SELECT COUNT(*) FROM clinic_contact")[0][0]


@pytest.fixture(scope="module")
def prepared(tmp_path_factory) -> Path:
    """A database file with its people, copied for each test."""
    folder = tmp_path_factory.mktemp("prepared")
    Practice(folder).set_up()
    return folder


@pytest.fixture
def practice(prepared, tmp_path) -> Practice:
    for name in ("clinic.sqlite3", "development-keys.json"):
        (tmp_path / name).write_bytes((prepared / name).read_bytes())
    return Practice(tmp_path)


def everybody() -> Counter[str]:
    return Counter({f"p{number}@example.org": 1 for number in range(PEOPLE)})


def test_everybody_gets_one_and_a_second_run_sends_nothing(practice):
    with listening() as (taker, port):
        practice.environment["EMAIL_PORT"] = str(port)
        practice.remind()
        practice.remind()

    assert Counter(recipient for recipient, _ in taker.taken) == everybody()
    assert {letter["Message-ID"] for _, letter in taker.taken} == {row[2] for row in practice.ask(ROWS)}
    assert practice.contacts() == PEOPLE
    for _, letter in taker.taken:
        assert "Marked" not in letter.as_string()
    assert "Marked" not in practice.logged
    assert "example.org" not in practice.logged


def held_by(taker) -> str:
    """The Message-IDs that the server has accepted, for a statement."""
    return ", ".join(f"'{letter['Message-ID']}'" for _, letter in taker.taken)


class Killer:
    """Kills the sender at the n-th moment of one kind, once."""

    def __init__(self, moment: str, number: int) -> None:
        self.moment, self.number, self.sender, self.done = moment, number, None, False
        self.seen = 0

    def __call__(self, moment: str, recipient: str) -> None:
        if moment != self.moment or self.done:
            return
        self.seen += 1
        if self.seen == self.number:
            self.done = True
            os.kill(self.sender.pid, signal.SIGKILL)
            self.sender.wait()


@pytest.mark.parametrize(
    ("moment", "number", "unclear"),
    [
        ("recipient", 3, 0),  # nothing of this message had left
        ("text", 1, 1),  # the server has the text, the sender never hears so
        ("taken", 4, 1),
        ("text", PEOPLE, 1),
    ],
)
def test_a_sender_killed_in_the_middle_of_a_batch_sends_each_message_exactly_once(practice, moment, number, unclear):
    """The server counts what it accepted. After the kill one more run finishes the batch."""
    killer = Killer(moment, number)
    with listening(killer) as (taker, port):
        practice.environment["EMAIL_PORT"] = str(port)
        killer.sender = practice.start()
        killer.sender.wait(timeout=120)
        assert killer.done
        assert killer.sender.returncode == -signal.SIGKILL
        practice.remind()

    assert Counter(recipient for recipient, _ in taker.taken) == everybody()
    assert practice.states() == Counter(sent=PEOPLE - unclear) + Counter(unclear=unclear)
    assert practice.contacts() == PEOPLE - unclear


def test_kills_at_moments_of_chance_send_nothing_twice_and_lose_nothing_in_silence(practice):
    """Whatever did not arrive is on the list of a person, who sends it again: then everybody has exactly one."""
    chance = random.Random(20261125)
    with listening(lambda moment, recipient: time.sleep(0.05)) as (taker, port):
        practice.environment["EMAIL_PORT"] = str(port)
        for _ in range(4):
            first, sender = len(taker.taken), practice.start()
            deadline = time.monotonic() + 60
            while sender.poll() is None and len(taker.taken) == first and time.monotonic() < deadline:
                time.sleep(0.01)
            time.sleep(chance.random() * 0.15)
            sender.kill()
            sender.wait()
        practice.remind()
        before = Counter(recipient for recipient, _ in taker.taken)
        missing = set(everybody()) - set(before)

        assert set(before.values()) <= {1}
        assert len(missing) <= practice.states()["unclear"]
        if missing:
            # The server's own log shows to whom each unclear one went; only those it does not hold go again.
            practice.ask(AGAIN.format(held=held_by(taker)))
            practice.remind()
    after = Counter(recipient for recipient, _ in taker.taken)
    assert after == everybody()


def test_two_runs_at_the_same_moment_send_each_message_once(practice):
    with listening(lambda moment, recipient: time.sleep(0.02)) as (taker, port):
        practice.environment["EMAIL_PORT"] = str(port)
        for sender in [practice.start() for _ in range(2)]:
            sender.wait(timeout=120)
        practice.remind()

    assert Counter(recipient for recipient, _ in taker.taken) == everybody()


def test_a_mail_server_that_is_down_costs_nothing_and_the_messages_wait(practice):
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        practice.environment["EMAIL_PORT"] = str(closed.getsockname()[1])
    assert practice.remind()["sent"] == {"unreachable": 1}
    assert {(row[0], row[3]) for row in practice.ask(ROWS)} == {("queued", 0)}, "no message has lost an attempt"

    with listening() as (taker, port):
        practice.environment["EMAIL_PORT"] = str(port)
        practice.remind()
    assert Counter(recipient for recipient, _ in taker.taken) == everybody()


def test_a_mail_server_that_does_not_greet_is_given_up_in_time(practice):
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        practice.environment["EMAIL_PORT"] = str(silent.getsockname()[1])
        begun = time.monotonic()
        assert practice.remind()["sent"] == {"unreachable": 1}

    assert time.monotonic() - begun < 30
    assert practice.states() == Counter(queued=PEOPLE)


def silent_once(moment: str):
    """A server that answers the first person at this moment a second after the sender has given up."""
    slow = threading.Event()

    def stall(now: str, recipient: str) -> None:
        if now == moment and recipient.startswith("p0@") and not slow.is_set():
            slow.set()
            time.sleep(3)

    return stall


def test_a_server_that_falls_silent_before_the_text_ends_the_run_and_nothing_is_lost(practice):
    with listening(silent_once("recipient")) as (taker, port):
        practice.environment["EMAIL_PORT"] = str(port)
        assert practice.remind()["sent"] == {"unreachable": 1}
        time.sleep(2)
        assert (practice.states(), taker.taken) == (Counter(queued=PEOPLE), [])
        practice.remind()  # the first one waits ten minutes, the others go

    assert practice.states() == Counter(sent=PEOPLE - 1, queued=1)
    assert Counter(recipient for recipient, _ in taker.taken)["p0@example.org"] == 0


def test_a_server_that_falls_silent_after_the_text_may_have_it_so_it_is_never_sent_again(practice):
    with listening(silent_once("text")) as (taker, port):
        practice.environment["EMAIL_PORT"] = str(port)
        practice.remind()
        time.sleep(2)
        practice.remind()

    assert practice.states() == Counter(sent=PEOPLE - 1, unclear=1)
    assert Counter(recipient for recipient, _ in taker.taken) == everybody()


REFUSALS = {
    "p1@example.org": ("recipient", "550 no such user", "failed", "refused"),
    "p2@example.org": ("recipient", "451 try later", "queued", "later"),
    "p3@example.org": ("text", "554 not wanted here", "failed", "refused"),
    "p4@example.org": ("text", "452 no space", "queued", "later"),
}


def test_a_refusal_concerns_one_message_and_is_known_to_have_sent_nothing(practice):
    def refuse(now: str, recipient: str) -> str | None:
        moment, answer, *_ = REFUSALS.get(recipient, ("", ""))
        return answer if now == moment else None

    with listening(refuse) as (taker, port):
        practice.environment["EMAIL_PORT"] = str(port)
        practice.remind()

    left = [("sent", ""), *(refusal[2:] for refusal in REFUSALS.values()), ("sent", "")]
    assert [row[:2] for row in practice.ask(ROWS)] == left
    assert practice.contacts() == PEOPLE - len(REFUSALS)
    assert Counter(recipient for recipient, _ in taker.taken) == Counter(everybody().keys() - REFUSALS.keys())
