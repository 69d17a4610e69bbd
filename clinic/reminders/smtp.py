"""Django's SMTP backend, which says when the text of a message begins to leave.

Until then a message may be tried again without any doubt; from then on the server may have it.
"""

import smtplib
from collections.abc import Callable
from typing import Any

from django.core.mail.backends.smtp import EmailBackend


def nothing() -> None:
    pass


class SaysWhenTextLeaves:
    """Mixin before smtplib's connections. Commands are sent as text, the message itself as bytes."""

    before_text: Callable[[], None] = staticmethod(nothing)
    _in_data = False

    def data(self, msg: Any) -> Any:
        self._in_data = True
        try:
            return super().data(msg)  # type: ignore[misc]
        finally:
            self._in_data = False

    def send(self, s: Any) -> None:
        if self._in_data and isinstance(s, bytes):
            self.before_text()
        super().send(s)  # type: ignore[misc]


class Plain(SaysWhenTextLeaves, smtplib.SMTP):
    pass


class Encrypted(SaysWhenTextLeaves, smtplib.SMTP_SSL):
    pass


class Backend(EmailBackend):
    @property
    def connection_class(self) -> type[smtplib.SMTP]:
        return Encrypted if self.use_ssl else Plain
