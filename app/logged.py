"""How the program's log is written: a line for a person, or a JSON object (RFC 8259) for a machine.

A line says what happened to which request, never what was typed: no query, no body, no parameter
of a statement. The trace of a fault stands here and nowhere else.
"""

import json
import logging
import re
import sys
from collections.abc import Mapping
from contextvars import ContextVar
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from typing import Any

from app.config import Settings
from app.domain.errors import DomainError

FIELDS = ("method", "route", "status", "duration_ms", "room", "role")
FILE_BYTES, OLD_FILES = 10_000_000, 5
JSON = "json"
NOT_PRINTED = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
"""Control characters of a message, and those that turn a line round: none begins a second line."""

request_id: ContextVar[str] = ContextVar("request_id", default="")


class Lines(logging.Formatter):
    """A line a record: when, how bad, what, and which request; a trace follows on its own lines."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        said = NOT_PRINTED.sub(_escaped, record.getMessage())
        at = _at(record).isoformat(timespec="milliseconds")
        which = f" [{request_id.get()}]" if request_id.get() else ""
        line = f"{at} {record.levelname} {said}{which}"
        return f"{line}\n{self.formatException(record.exc_info)}" if record.exc_info else line


class Objects(logging.Formatter):
    """A JSON object a record, on a line of its own, its trace within."""

    def format(self, record: logging.LogRecord) -> str:
        """The object."""
        said: dict[str, object] = {
            "at": _at(record).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if request_id.get():
            said["request"] = request_id.get()
        said |= {name: getattr(record, name) for name in FIELDS if hasattr(record, name)}
        if record.exc_info:
            said["traceback"] = self.formatException(record.exc_info)
        return json.dumps(said, ensure_ascii=True)


def log_as(settings: Settings) -> None:
    """Write the log as it is set: how, how much, and where to.

    Raises:
        DomainError: its file cannot be written.
    """
    try:
        handler: logging.Handler = (
            logging.StreamHandler(sys.stderr)
            if settings.log_file is None
            else RotatingFileHandler(
                settings.log_file, maxBytes=FILE_BYTES, backupCount=OLD_FILES, encoding="utf-8"
            )
        )
    except OSError as error:
        raise DomainError(
            f"BATHKEEPER_LOG_FILE cannot be written: {error.strerror or error}. "
            "Give a file in a folder that is there."
        ) from None
    handler.setFormatter(Objects() if settings.log == JSON else Lines())
    root = logging.getLogger()
    for old in root.handlers[:]:
        root.removeHandler(old)
        if isinstance(old, RotatingFileHandler):
            old.close()
    root.addHandler(handler)
    root.setLevel(logging.WARNING)
    logging.getLogger(__name__).setLevel(
        logging.WARNING if settings.log == "warnings" else logging.INFO
    )


TOLD = "told"
"""Where in the scope of a request those further in note what they know of it."""


def note_told(scope: Mapping[str, Any], name: str, value: str) -> None:
    """Note what the line of a request is to say: its route, the role of who asks."""
    scope.get(TOLD, {})[name] = value


def tell_request(about: Mapping[str, object]) -> None:
    """Log a request that was answered; `about` has some of `FIELDS`."""
    _log.info("%s", " ".join(f"{name}={value}" for name, value in about.items()), extra=dict(about))


def are_requests_told() -> bool:
    """Whether anybody reads of requests."""
    return _log.isEnabledFor(logging.INFO)


def _at(record: logging.LogRecord) -> datetime:
    return datetime.fromtimestamp(record.created, UTC)


def _escaped(found: re.Match[str]) -> str:
    return found[0].encode("unicode_escape").decode("ascii")


_log = logging.getLogger(__name__)
