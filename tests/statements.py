"""What the database library learns of a statement is kept for all databases of a run.

It compiles each statement once for an engine. A program has one database; these tests make
thousands, and would spend a third of their time on compiling the same statements again.
"""

from collections.abc import Callable
from typing import Any

from sqlalchemy import Dialect, Engine, event
from sqlalchemy.util import LRUCache

Create = Callable[..., Engine]

_compiled: LRUCache[Any, Any] = LRUCache(2000)
_dialects: dict[str, Dialect] = {}
"""By name, the dialect of the first engine that connected: compiled statements are kept by it."""


def sharing(create: Create) -> Create:
    """`create_engine`, with what was compiled for the engines before."""

    def create_engine(url: str, **options: Any) -> Engine:
        engine = create(url, execution_options={"compiled_cache": _compiled}, **options)
        name = engine.dialect.name
        if name in _dialects:
            engine.dialect = _dialects[name]
        else:  # it learns of its server as it connects
            event.listen(
                engine, "connect", lambda *_: _dialects.setdefault(name, engine.dialect), once=True
            )
        return engine

    return create_engine
