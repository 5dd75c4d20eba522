"""The pages of every task, in the order in which their addresses are tried."""

from app.web import health, metrics, styleguide, tablets
from app.web.codes import qr
from app.web.codes import sheet as codes
from app.web.curing import cures, station_forms
from app.web.curing import readings as irradiance
from app.web.curing import recipes as cure_recipes
from app.web.curing import stations as curing
from app.web.duties import due_list as duties
from app.web.duties import month_close
from app.web.importing import pages as importing
from app.web.importing import past as past_imports
from app.web.incidents import harm, holds
from app.web.incidents import register as incident_pages
from app.web.incidents import report as incidents
from app.web.inspections import components, deciding, photos, soak, touched
from app.web.inspections import inspection as inspections
from app.web.inspections import life as part_life
from app.web.inspections import looks as looks_at_once
from app.web.inspections import steps as inspection_steps
from app.web.kinds import page as kinds
from app.web.logbook import entries, log, preview
from app.web.meters import instrument
from app.web.part_lots import lots as part_lots
from app.web.part_lots import recall
from app.web.people import people as accounts
from app.web.people import signing
from app.web.planning import calendar as plan
from app.web.rooms import board, find, rooms, wall
from app.web.shifts import hand_over
from app.web.site import (
    archive,
    clock,
    crew,
    deleting,
    limits,
    litres,
    people,
    qualified,
    solvents,
    storage,
)
from app.web.site import settings as site_settings
from app.web.spend import ahead as spend_ahead
from app.web.spend import flow as spend_flow
from app.web.spend import lines as spend_lines
from app.web.spend import quality as spend_quality
from app.web.spend import rates as spend_rates
from app.web.spend import takeaway, whatif
from app.web.spend import week as spend
from app.web.supplies import counts, deliveries, orders
from app.web.supplies import items as shelf_items
from app.web.supplies import shelf as supplies
from app.web.supplies import undoing as stock_undoing
from app.web.swaps import checklists, contents
from app.web.swaps import records as swap_records
from app.web.swaps import swap as swaps
from app.web.swaps import touched as swap_touched
from app.web.tanks import calibrations, forecasts, instruments, purity, rejects, resins, station
from app.web.tanks import explaining as explanations
from app.web.tanks import tank as tanks
from app.web.waste import drums, labels, pickups, pours
from app.web.waste import months as waste_months
from app.web.waste import overview as waste
from app.web.waste import rules as waste_rules

PAGES = (
    health, rooms, board, tablets, metrics, wall, find, tanks, station, preview, swaps,
    swap_touched, swap_records, contents, checklists, entries, log, explanations, instruments,
    instrument, rejects, resins,
    calibrations, purity, people, site_settings, crew, qualified, clock, archive, deleting,
    solvents, limits,
    hand_over, importing, past_imports, forecasts, styleguide, plan,
    supplies, shelf_items, stock_undoing, counts, orders, deliveries,
    codes,
    part_lots, recall,
    cure_recipes, cures, irradiance, station_forms, curing,
    waste, drums, pours, pickups, waste_rules, waste_months, labels, qr,
    incidents, incident_pages, holds, harm, duties, month_close, storage, litres,
    inspections, looks_at_once, inspection_steps, touched, deciding, photos, part_life, components,
    soak,
    spend, spend_lines, spend_quality, spend_rates, spend_flow, spend_ahead, takeaway, whatif,
    signing, accounts, kinds,
)  # fmt: skip
