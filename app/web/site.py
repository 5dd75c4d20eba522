"""The pages, put together: one line for each task."""

from pathlib import Path

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from app.web import (
    board,
    calibrations,
    counts,
    crew,
    deliveries,
    entries,
    errors,
    forecasts,
    importing,
    log,
    logbook,
    orders,
    people,
    rejects,
    resins,
    rooms,
    shelf_items,
    site_settings,
    stock,
    styleguide,
    supplies,
    swaps,
    tanks,
)

PAGES = (
    rooms, board, tanks, logbook, swaps, entries, log, rejects, resins, calibrations, people,
    site_settings, crew,
    importing, forecasts, styleguide,
    supplies, shelf_items, stock, counts, orders, deliveries,
)  # fmt: skip


def install(app: FastAPI, root: Path) -> None:
    """Mount the static files and the pages of every task."""
    app.mount("/static", StaticFiles(directory=root / "static"), name="static")
    for task in PAGES:
        app.include_router(task.router)
    errors.install(app)
