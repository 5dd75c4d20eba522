"""Long work beside short requests, in one program."""

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

SWITCH_S = 0.0005
"""After how long the interpreter is handed on to whoever waits for it. By default it is ten times
as long, and a request, which waits for it after each look at the database, takes several times as
long beside a computation (measured)."""

_lock = threading.Lock()
_usual_s: list[float] = []  # one for each block that is under way; the first is the usual one


@contextmanager
def gently() -> Iterator[None]:
    """Let requests be answered at their pace while the block computes."""
    with _lock:
        _usual_s.append(_usual_s[0] if _usual_s else sys.getswitchinterval())
        sys.setswitchinterval(SWITCH_S)
    try:
        yield
    finally:
        with _lock:
            usual_s = _usual_s.pop()
            if not _usual_s:
                sys.setswitchinterval(usual_s)
