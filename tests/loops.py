"""Event loops of tests: in threads of their own, since a started browser keeps one in its own."""

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")


def in_loop(work: Coroutine[Any, Any, T]) -> T:
    """What this work gives, run to its end, whether or not this thread has a loop already."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(asyncio.run, work).result()
