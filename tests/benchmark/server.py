"""The dashboard under measurement, with one more address: the room page from a fixed context."""

import argparse
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI, Request
from sqlmodel import Session
from starlette.responses import Response

from app.config import Settings
from app.main import create_app
from app.web.deps import get_visit
from app.web.render import page
from app.web.rooms import board
from tests.benchmark.rooms import ROOM


def bench_app(data_dir: Path) -> FastAPI:
    """The application, and `/bare`: the same template with a context that was read once."""
    app = create_app(Settings(data_dir=data_dir), are_forecasts_beside=True)
    kept: dict[str, Any] = {}

    def bare(request: Request) -> Response:
        if not kept:
            kept.update(board_context(request, app))
        return page(request, board.TEMPLATE, kept)

    app.add_api_route("/bare", bare)
    return app


def board_context(request: Request, app: FastAPI) -> dict[str, Any]:
    """All that the room page is made from, read once."""
    with Session(app.state.store.reader) as session:
        visit = get_visit(request, app.state.store, session, app.state.clock(), ROOM)
        names = ("room", "now", "zone", "clock_doubt", "clock_jump", "under_way")
        shared = {"person": "", **{name: getattr(visit, name) for name in names}}
        return board.context_of(visit) | shared


def main() -> None:
    """Serve on a given port until stopped."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--port", type=int, required=True)
    words = parser.parse_args()
    app = bench_app(words.data)
    uvicorn.run(app, port=words.port, log_level="warning", timeout_graceful_shutdown=1,
                timeout_keep_alive=600)  # fmt: skip


if __name__ == "__main__":
    main()
