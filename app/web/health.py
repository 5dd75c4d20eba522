"""What a supervisor asks: does the program live, and can it take requests now.

`/healthz` fails where a restart helps: the threads that answer requests all hang, or work in the
background has ended. `/readyz` fails where a restart does not help: the database, the disk.
"""

import asyncio
import threading
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from app.incoming import StoreDep
from app.services.health import Finding, ping, readiness

router = APIRouter()
ANSWERED_WITHIN_S = 10.0


@router.get("/healthz")
async def lives(request: Request, store: StoreDep) -> Response:
    """The program answers in its threads, reads, and works in the background."""
    found = [
        Finding(f"thread {thread.name}", thread.is_alive(), "it has ended")
        for thread in _threads(request)
    ]
    try:
        await asyncio.wait_for(asyncio.to_thread(ping, store), ANSWERED_WITHIN_S)
    except TimeoutError:
        found.append(Finding("requests", False, "nothing was answered in time"))
    except Exception:  # noqa: S110 - what is wrong with the database is for /readyz to say
        pass
    return _answer(found)


@router.get("/readyz")
def is_ready(request: Request, store: StoreDep) -> Response:
    """The database reads and takes writes, and the disk has room."""
    return _answer(readiness(store, request.app.state.settings.data_dir))


def _threads(request: Request) -> list[threading.Thread]:
    return list(getattr(request.app.state, "threads", ()))


def _answer(found: list[Finding]) -> Response:
    checks: dict[str, Any] = {one.name: "ok" if one.is_well else one.words for one in found}
    is_well = all(one.is_well for one in found)
    said = {"status": "ok" if is_well else "failing", "checks": checks}
    return JSONResponse(said, 200 if is_well else 503, {"Cache-Control": "no-store"})
