"""One server at a time on an embedded database: two would not hear of each other's changes."""

import os
from collections.abc import Iterator
from contextlib import contextmanager

from app.domain.errors import DomainError
from app.installation.turn import try_lock
from app.store.engine import file_of


@contextmanager
def alone(url: str) -> Iterator[None]:
    """Hold the database against another server; the system lets go when this process ends.

    Raises:
        DomainError: another server has it.
    """
    database = file_of(url)
    if database is None:
        yield
        return
    descriptor = os.open(f"{database}.lock", os.O_RDWR | os.O_CREAT, 0o644)
    try:
        if not try_lock(descriptor):
            raise DomainError(
                f"Another Bathkeeper already serves {database}. Stop that one, or name another "
                "folder with --data DIR."
            )
        yield
    finally:
        os.close(descriptor)
