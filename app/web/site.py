"""The pages, put together: one line for each task."""

from pathlib import Path

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from app.web import (
    board,
    calibrations,
    crew,
    entries,
    errors,
    forecasts,
    importing,
    log,
    logbook,
    people,
    rejects,
    resins,
    rooms,
    site_settings,
    styleguide,
    swaps,
    tanks,
)

PAGES = (
    rooms, board, tanks, logbook, swaps, entries, log, rejects, resins, calibrations, people,
    site_settings, crew,
    importing, forecasts, styleguide,
)  # fmt: skip


def install(app: FastAPI, root: Path) -> None:
    """Mount the static files and the pages of every task."""
    app.mount("/static", StaticFiles(directory=root / "static"), name="static")
    for task in PAGES:
        app.include_router(task.router)
    errors.install(app)
