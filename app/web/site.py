"""The pages, put together: one line for each task."""

from pathlib import Path

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from app.web import (
    board,
    calibrations,
    checklists,
    codes,
    components,
    counts,
    crew,
    cure_recipes,
    cures,
    curing,
    deliveries,
    drums,
    duties,
    entries,
    errors,
    forecasts,
    holds,
    importing,
    incident_pages,
    incidents,
    inspection_steps,
    inspections,
    labels,
    log,
    logbook,
    month_close,
    orders,
    part_life,
    people,
    photos,
    pickups,
    plan,
    pours,
    qr,
    rejects,
    resins,
    rooms,
    shelf_items,
    site_settings,
    soak,
    spend,
    spend_flow,
    spend_rates,
    station_forms,
    stock,
    storage,
    styleguide,
    supplies,
    swap_records,
    swaps,
    takeaway,
    tanks,
    waste,
    waste_months,
    waste_rules,
    whatif,
)

PAGES = (
    rooms, board, tanks, logbook, swaps, swap_records, checklists,
    entries, log, rejects, resins, calibrations, people,
    site_settings, crew,
    importing, forecasts, styleguide, plan,
    supplies, shelf_items, stock, counts, orders, deliveries, codes,
    cure_recipes, cures, station_forms, curing,
    waste, drums, pours, pickups, waste_rules, waste_months, labels, qr,
    incidents, incident_pages, holds, duties, month_close, storage,
    inspections, inspection_steps, photos, part_life, components, soak,
    spend, spend_rates, spend_flow, takeaway, whatif,
)  # fmt: skip


def install(app: FastAPI, root: Path) -> None:
    """Mount the static files and the pages of every task."""
    app.mount("/static", StaticFiles(directory=root / "static"), name="static")
    for task in PAGES:
        app.include_router(task.router)
    errors.install(app)
