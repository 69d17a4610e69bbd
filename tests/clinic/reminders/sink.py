"""A real SMTP server on this machine that takes everything, and does what a test asks at a chosen moment."""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

Event = Callable[[str, str], str | None]  # the moment and the recipient; gives an answer in place of "250 OK"


class Taker:
    """at: called at "connect", "recipient" and "text"; `taken` counts what the server has accepted as its own."""

    def __init__(self, at: Event | None = None) -> None:
        self.at = at or (lambda moment, recipient: None)
        self.taken: list[tuple[str, Message]] = []

    async def handle_EHLO(
        self, server: SMTP, session: Session, envelope: Envelope, hostname: str, responses: list[str]
    ):
        session.host_name = hostname
        return responses

    async def handle_RCPT(self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]):
        if answer := self.at("recipient", address):
            return answer
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        (recipient,) = envelope.rcpt_tos
        answer = self.at("text", recipient)
        if answer is None or answer.startswith("2"):
            self.taken.append((recipient, message_from_bytes(envelope.content)))
        self.at("taken", recipient)
        return answer or "250 OK"


@contextmanager
def listening(at: Event | None = None) -> Iterator[tuple[Taker, int]]:
    """The taker and its port, on loopback."""
    taker = Taker(at)
    with socket.socket() as probe:  # the controller looks for itself at the port it was told
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    controller = Controller(taker, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield taker, port
    finally:
        controller.stop()
