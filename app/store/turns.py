"""A lock that is handed on in the order in which it was asked for, and not waited for for ever."""

import threading
from collections import deque
from types import TracebackType

from app.domain.errors import Busy

PATIENCE_S = 15.0


class Turns:
    """Who writes: one thread at a time, the one that has waited longest next.

    An ordinary lock may be taken again at once by the thread that gave it back, for as long as
    that thread likes; here it goes behind all who wait.
    """

    def __init__(self) -> None:
        self._mutex = threading.Lock()
        self._waiting: deque[threading.Event] = deque()
        self._owner: int | None = None

    def __enter__(self) -> None:
        """Wait for the turn.

        Raises:
            Busy: it did not come within `PATIENCE_S`.
        """
        me, mine = threading.get_ident(), threading.Event()
        with self._mutex:
            if self._owner is None:
                self._owner = me
                return
            if self._owner == me:
                raise RuntimeError("A write transaction within another would wait for itself.")
            self._waiting.append(mine)
        if not mine.wait(PATIENCE_S):
            with self._mutex:
                if not mine.is_set():
                    self._waiting.remove(mine)
                    raise Busy("Others are storing right now. Try again in a few seconds.")
        self._owner = me

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Hand the turn on."""
        with self._mutex:
            # Until the next thread wakes and names itself, nobody may take its turn.
            self._owner = -1 if self._waiting else None
            if self._waiting:
                self._waiting.popleft().set()
