"""One set-up at a time: a lock that the system lets go when its holders have ended."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

held: list[int] = []
"""Descriptors of locks held now, which programs started meanwhile must keep open: should this
process be killed, the lock stays until the program it had started has ended as well."""


@contextmanager
def wait_for_turn(path: Path) -> Iterator[None]:
    """Hold the lock file `path`, after whoever holds it now.

    Raises:
        OSError: the file cannot be made.
    """
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        if not try_lock(descriptor):
            print("Another start is setting up Bathkeeper. Waiting for it.", flush=True)
            _lock(descriptor)
        held.append(descriptor)
        yield
    finally:
        if descriptor in held:
            held.remove(descriptor)
        os.close(descriptor)


if sys.platform == "win32":
    import msvcrt
    import time

    def try_lock(descriptor: int) -> bool:
        """Whether the lock of an open file was free, and now is held until that is closed."""
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _lock(descriptor: int) -> None:
        while not try_lock(descriptor):
            time.sleep(0.2)

else:
    import fcntl

    def try_lock(descriptor: int) -> bool:
        """Whether the lock of an open file was free, and now is held until that is closed."""
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _lock(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
