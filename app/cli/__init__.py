"""The command line: one function a command, each thin above the services."""

import argparse
import gc
import importlib
import os
import socket
import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import TextIO

from app.cli.listening import listen
from app.cli.words import parse
from app.domain.errors import DomainError, FieldError, FieldErrors

DONE, STOPPED_BY_A_RULE, WRONG_WORDS, INTERRUPTED = 0, 1, 2, 130

# Loaded when asked for: what one command needs must not slow the start of another.
_COMMANDS = {
    "serve": ("app.cli.serving", "serve"),
    "demo": ("app.cli.demo", "demo"),
    "import": ("app.cli.imports", "import_log"),
    "imports": ("app.cli.imports", "list_imports"),
    "export": ("app.cli.logs", "export_log"),
    "rooms": ("app.cli.logs", "list_rooms"),
    "verify": ("app.cli.verifying", "verify_logs"),
    "copy": ("app.cli.copying", "copy_rooms"),
    "delete": ("app.cli.deleting", "delete_archived_room"),
    "backup": ("app.cli.backups", "back_up_data"),
    "restore": ("app.cli.backups", "restore_data"),
    "doctor": ("app.cli.doctor", "doctor"),
    "backtest": ("app.cli.replay", "backtest"),
    "bench": ("app.cli.bench", "bench"),
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 input or a rule stood against it,
    2 wrong words on the line, 130 interrupted.
    """
    try:
        words = parse(sys.argv[1:] if argv is None else argv)
        with _listener(words) as words.listener:
            gc.disable()  # measured: collecting while many hundred modules load costs a tenth
            module, name = _COMMANDS[words.command]
            command = getattr(importlib.import_module(module), name)
            gc.freeze()  # what was loaded stays; looking through it again and again costs a third
            gc.set_threshold(50_000, 20, 20)
            gc.enable()
            code: int = command(words)
            sys.stdout.flush()
    except SystemExit as ended:
        return ended.code if isinstance(ended.code, int) else DONE
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # whoever read our output has seen enough
        _silence(sys.stdout)
        return DONE
    except (DomainError, OSError) as error:
        return _refuse(_said(error))
    except Exception as error:
        if not _is_database_trouble(error):
            raise
        return _refuse(_explained(error))
    return code


def trouble_ahead(argv: Sequence[str]) -> int | None:
    """The exit code where a command would fail by its words or its port, which is then said.

    Needs only the standard library, so that a first start can ask before it fetches packages.
    """
    try:
        with _listener(parse(argv)):
            pass
    except SystemExit as ended:
        return ended.code if isinstance(ended.code, int) else DONE
    except DomainError as error:
        return _refuse(_said(error))
    return None


def _listener(words: argparse.Namespace) -> AbstractContextManager[socket.socket | None]:
    """What a command that serves listens on: tried first, before anything slow is loaded."""
    return listen(words.host, words.port) if "port" in words else nullcontext()


def _said(error: DomainError | OSError) -> str:
    if isinstance(error, FieldErrors):
        return "\n".join(_said(one) for one in error.errors)
    if isinstance(error, FieldError):
        return f"{error.field}: {error.message}"
    return str(error)


def _refuse(message: str) -> int:
    sys.stderr.write(f"{message}\n")
    return STOPPED_BY_A_RULE


def _is_database_trouble(error: Exception) -> bool:
    known = sys.modules.get("sqlalchemy.exc")
    return known is not None and isinstance(error, known.DBAPIError)


def _explained(error: Exception) -> str:
    found = importlib.import_module("app.store.troubles").explained(error)
    said = f"The database cannot be used: {getattr(error, 'orig', error)}."
    return said if found is None else f"{said} {found}"


def _silence(stream: TextIO) -> None:
    """Keep the interpreter from complaining about the closed pipe when it ends."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
