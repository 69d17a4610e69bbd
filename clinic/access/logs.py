"""Log lines as JSON, one object a line. Never a value a person typed: no message arguments of other
packages, no exception text, no local variables."""

import json
import logging
import traceback
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

ROOT = Path(__file__).resolve().parent.parent.parent
OWN_LOGGERS = ("clinic", "audit")
LONGEST_EVENT = 200


class JsonLines(logging.Formatter):
    """`logger.info("event", extra={"fields": {...}})` becomes one line with the fields beside the event."""

    def format(self, record: logging.LogRecord) -> str:
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "event": event_of(record),
            **request_of(record),
            **getattr(record, "fields", {}),
            **exception_of(record),
        }
        return escaped(line)


def event_of(record: logging.LogRecord) -> str:
    """Our own events in full; of other packages only the unfilled template, since they put addresses into it."""
    own = record.name.split(".")[0] in OWN_LOGGERS
    return (record.getMessage() if own else str(record.msg))[:LONGEST_EVENT]


def request_of(record: logging.LogRecord) -> dict[str, str]:
    request_id = getattr(getattr(record, "request", None), "id", None)
    return {"request_id": request_id} if request_id else {}


def exception_of(record: logging.LogRecord) -> dict[str, object]:
    """Type and places only: the text of an exception often quotes the value that broke it."""
    if not record.exc_info or record.exc_info[0] is None:
        return {}
    return {"exception": record.exc_info[0].__name__, "at": places(record.exc_info[2])}


def places(trace: TracebackType | None) -> list[str]:
    """file:line of each frame, outermost first; our own files from the project root, others by name."""
    return [f"{short(Path(frame.filename))}:{frame.lineno}" for frame in traceback.extract_tb(trace)]


def short(path: Path) -> str:
    return str(path.relative_to(ROOT)) if path.is_relative_to(ROOT) else "/".join(path.parts[-2:])


def escaped(line: dict[str, object]) -> str:
    """JSON escapes line breaks and all beyond ASCII; DEL is the one control character it lets through."""
    return json.dumps(line, ensure_ascii=True, default=str).replace("\x7f", "\\u007f")
