"""The dashboard under measurement, with one more address: the room page from a fixed context."""

import argparse
from pathlib import Path

import uvicorn
from app.web.render import page
from fastapi import FastAPI, Request
from starlette.responses import Response

from app.config import Settings
from app.main import create_app
from app.web import board
from tests.benchmark.rooms import ROOM


def bench_app(data_dir: Path) -> FastAPI:
    """The application, and `/bare`: the same template with a context that was read once."""
    app = create_app(Settings(data_dir=data_dir))
    kept: dict[str, object] = {}

    @app.get("/bare")
    def bare(request: Request) -> Response:
        if not kept:
            with Session(app.state.store.reader) as session:
            visit = get_visit(request, app.state.store, session, app.state.clock(), ROOM)
            kept.update(board.context_of(visit) | {"room": visit.room, "now": visit.now, "zone": visit.zone, "person": ""})
        return page(request, board.TEMPLATE, kept)

    return app


def main() -> None:
    """Serve on a given port until stopped."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--port", type=int, required=True)
    words = parser.parse_args()
    app = bench_app(words.data)
    uvicorn.run(app, port=words.port, log_level="warning", timeout_graceful_shutdown=1)


if __name__ == "__main__":
    main()
