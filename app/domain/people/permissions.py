"""The one table of what each role may do: by the address that is asked, and by the kind of entry.

Both hold: a form is refused at its address, and whatever comes to the room log is asked again
there, so that no other way in lets through what its page does not. An address that is not named
here is refused to everybody; a kind of entry that is not named is logging.
"""

from collections.abc import Mapping

SCREEN, TECHNICIAN, LEADER, MANAGER = "screen", "technician", "lead", "manager"
ROLES = (SCREEN, TECHNICIAN, LEADER, MANAGER)
LEADING = (LEADER, MANAGER)
"""Of whom "a lead" is said in the rules of a room."""

ANYBODY = "sign in"
OWN = "manage your own sign-in"
LOOK = "look"
TAKE_AWAY = "take records away"
LOG = "log"
LEAD = "decide as a lead"
BRING_IN = "bring a log in"
PRICES = "set prices"
PEOPLE = "manage people"

ALLOWED: Mapping[str, tuple[str, ...]] = {
    OWN: ROLES,
    LOOK: ROLES,
    TAKE_AWAY: (TECHNICIAN, LEADER, MANAGER),
    LOG: (TECHNICIAN, LEADER, MANAGER),
    LEAD: (LEADER, MANAGER),
    BRING_IN: (MANAGER,),
    PRICES: (MANAGER,),
    PEOPLE: (MANAGER,),
}
"""Who may do what. `ANYBODY` is not among them: it asks nobody to sign in."""

REFUSALS: Mapping[str, str] = {
    OWN: "This is for people who sign in with a PIN or a password.",
    LOOK: "This is not for {role}s.",
    TAKE_AWAY: "A screen only shows pages. Sign in as yourself to take records away.",
    LOG: "A screen only shows pages. Sign in as yourself to enter something.",
    LEAD: "A lead or a manager does this. Ask one to sign in here.",
    BRING_IN: "A manager brings logs in. Ask one to sign in here.",
    PRICES: "A manager sets prices and costs. Ask one to sign in here.",
    PEOPLE: "A manager looks after people and their sign-in. Ask one to sign in here.",
}

KINDS: Mapping[str, str] = {
    **dict.fromkeys(
        (
            "tank", "tank_change", "checklist", "step_overruled", "drum_released", "waste_rules",
            "item", "item_changed", "lot_released", "part_lot_released",
            "swap_pinned", "swap_moved", "swap_postponed",
            "swap_released", "incident_closed", "tank_released", "station_released", "duty",
            "site_rules", "room_archived", "room_restored", "own_solvent", "solvent_limit",
            "inspection_overruled",
            "photo_rules", "station", "station_changed", "reading_accepted", "cure_recipe",
            "what_if_case", "instrument", "instrument_put_back", "instrument_retired",
            "qualified", "qualification_ended",
        ),
        LEAD,
    ),
    "price_list": PRICES,
    "other_cost": PRICES,
    "crew_member": PEOPLE,
}  # fmt: skip
"""Kinds of entries that are more than logging, and taking them back or correcting them."""

_ADDRESSES: Mapping[str, str] = {
    ANYBODY: """
        GET /healthz
        GET /readyz
        GET /metrics
        GET /tablets
        GET /tablets/site.crt
        GET /site.webmanifest
        GET,POST /sign-in
        GET,POST /first-manager
    """,
    OWN: """
        POST /sign-out
        GET,POST /own-secret
    """,
    LOOK: """
        GET /rooms
        GET /rooms/new
        GET /rooms/{room}/settings
        GET /
        GET /rooms/{room}
        GET /rooms/{room}/live
        GET /rooms/{room}/wall
        GET /rooms/{room}/tanks/new
        GET /rooms/{room}/tanks/{tank}
        GET /rooms/{room}/tanks/{tank}/settings
        GET /rooms/{room}/tanks/{tank}/preview
        GET /rooms/{room}/tanks/{tank}/swap
        GET /rooms/{room}/tanks/{tank}/swap/paper
        GET /rooms/{room}/tanks/{tank}/swap/record
        GET /rooms/{room}/tanks/{tank}/swap/photo
        GET /rooms/{room}/tanks/{tank}/contents
        GET /rooms/{room}/checklist
        GET /rooms/{room}/entries/{entry_id}
        GET /rooms/{room}/entries/{entry_id}/correct
        GET /rooms/{room}/log
        GET /rooms/{room}/tanks/{tank}/explanation
        GET /rooms/{room}/instruments
        GET /rooms/{room}/instruments/{instrument}
        GET /rooms/{room}/instruments/new
        GET /rooms/{room}/instruments/{instrument}/log/{task}
        GET /rooms/{room}/rejects
        GET /rooms/{room}/resins
        GET /rooms/{room}/calibrations
        GET /rooms/{room}/purity
        GET /rooms/{room}/who
        GET /rooms/{room}/site
        GET /rooms/{room}/crew
        GET /rooms/{room}/qualified
        GET /rooms/{room}/clock
        GET /rooms/{room}/archive
        GET /rooms/{room}/solvents
        GET /rooms/{room}/solvents/limits
        GET /rooms/{room}/imports/under-way
        GET /rooms/{room}/imports/{run}
        GET /rooms/{room}/forecasts
        GET /styleguide
        GET /rooms/{room}/plan
        GET /rooms/{room}/plan/{tank}
        GET /rooms/{room}/shelf
        GET /rooms/{room}/shelf/items/{item}
        GET /rooms/{room}/shelf/new
        GET /rooms/{room}/shelf/items/{item}/settings
        GET /rooms/{room}/shelf/count
        GET /rooms/{room}/shelf/orders
        GET /rooms/{room}/shelf/orders/{order}
        GET /rooms/{room}/codes
        GET /rooms/{room}/codes/{sort}/{key}.svg
        GET /rooms/{room}/codes/{sort}/{key}.png
        GET /rooms/{room}/cure/recipes
        GET /rooms/{room}/cure/recipes/{resin}
        GET /rooms/{room}/cure
        GET /rooms/{room}/stations/{station}/log/reading
        GET /rooms/{room}/stations/{station}/aside
        GET /rooms/{room}/stations/new
        GET /rooms/{room}/stations/{station}/settings
        GET /rooms/{room}/stations
        GET /rooms/{room}/stations/{station}
        GET /rooms/{room}/waste
        GET /rooms/{room}/waste/new
        GET /rooms/{room}/waste/check
        GET /rooms/{room}/waste/drums/{drum}
        GET /rooms/{room}/waste/drums/{drum}/settings
        GET /rooms/{room}/waste/drums/{drum}/transfer
        GET /rooms/{room}/waste/drums/{drum}/pour
        GET /rooms/{room}/waste/drums/{drum}/pour/preview
        GET /rooms/{room}/waste/pickups
        GET /rooms/{room}/waste/pickups/{pickup}
        GET /rooms/{room}/waste/rules
        GET /rooms/{room}/waste/months
        GET /rooms/{room}/waste/drums/{drum}/label
        GET /q/{room}/{sort}/{key}
        GET /rooms/{room}/problem
        GET /rooms/{room}/problem/{what}
        GET /rooms/{room}/incidents
        GET /rooms/{room}/incidents/{incident}
        GET /rooms/{room}/tanks/{tank}/hold
        GET /rooms/{room}/stations/{station}/hold
        GET /rooms/{room}/harm
        GET /rooms/{room}/duties
        GET /rooms/{room}/duties/settings
        GET /rooms/{room}/duties/{duty}
        GET /rooms/{room}/tanks/{tank}/month-close
        GET /rooms/{room}/storage
        GET /rooms/{room}/find
        GET /rooms/{room}/hand-over
        GET /rooms/{room}/hand-over/note
        GET /rooms/{room}/litres
        GET /rooms/{room}/lots
        GET /rooms/{room}/lots/record
        GET /rooms/{room}/lots/recall
        GET /rooms/{room}/inspections
        GET /rooms/{room}/tanks/{tank}/inspection
        GET /rooms/{room}/tanks/{tank}/look/{look}
        GET /rooms/{room}/stations/{station}/inspection
        GET /rooms/{room}/inspections/{inspection}
        GET /rooms/{room}/inspections/{inspection}/report
        GET /rooms/{room}/inspections/{inspection}/parts/{component}
        GET /rooms/{room}/photos/{photo}/{size}
        GET /rooms/{room}/inspections/{inspection}/parts/{component}/photos/{photo}
        GET /rooms/{room}/parts/life
        GET /rooms/{room}/tanks/{tank}/parts
        GET /rooms/{room}/stations/{station}/parts
        GET /rooms/{room}/parts/{component}
        GET /rooms/{room}/soak
        GET /rooms/{room}/log/{task}
        GET /rooms/{room}/tanks/{tank}/log/{task}
        GET /rooms/{room}/stations/{station}/log/{task}
        GET /rooms/{room}/shelf/items/{item}/{task}
        GET /rooms/{room}/waste/drums/{drum}/log/{task}
        GET /api/v1/rooms
        GET /api/v1/deleted-rooms
        GET /api/v1/rooms/{room}
        GET /api/v1/rooms/{room}/people
        GET /api/v1/rooms/{room}/tanks
        GET /api/v1/rooms/{room}/tanks/{tank}
        GET /api/v1/rooms/{room}/swaps
        GET /api/v1/rooms/{room}/tanks/{tank}/course
        GET /api/v1/rooms/{room}/instruments
        GET /api/v1/rooms/{room}/resins
        GET /api/v1/rooms/{room}/entries
        GET /api/v1/rooms/{room}/entries/{entry_id}
        GET /api/v1/rooms/{room}/rejects/limit
        GET /api/v1/rooms/{room}/rejects
        GET /api/v1/rooms/{room}/forecasts
        GET /api/v1/rooms/{room}/books/{thing_name}
        GET /api/v1/rooms/{room}/books/{thing_name}/{key}
        GET /api/v1/rooms/{room}/plan
        GET /api/v1/rooms/{room}/storage
        GET /api/v1/rooms/{room}/cure-times/{resin}
        GET /api/v1/rooms/{room}/litres
        GET /api/v1/rooms/{room}/part-lots
        GET /api/v1/rooms/{room}/part-lots/record
        GET /api/v1/rooms/{room}/part-lots/recall
        GET /api/v1/rooms/{room}/litres/postings
        GET /api/v1/rooms/{room}/imports
        GET /api/
        GET /api/v1/openapi.json
    """,
    TAKE_AWAY: """
        GET /rooms/{room}/import
        GET /rooms/{room}/export.jsonl
        GET /rooms/{room}/export.csv
        GET /rooms/{room}/log.csv
        GET /rooms/{room}/shelf/orders.csv
        GET /rooms/{room}/waste/months.csv
        GET /rooms/{room}/litres/postings.csv
        GET /rooms/{room}/lots/record.csv
        GET /rooms/{room}/lots/recall.csv
        GET /rooms/{room}/spend
        GET /rooms/{room}/spend/lines
        GET /rooms/{room}/spend/quality
        GET /rooms/{room}/spend/prices
        GET /rooms/{room}/spend/balance
        GET /rooms/{room}/spend/ahead
        GET /rooms/{room}/spend/next
        GET /rooms/{room}/spend/week.xlsx
        GET /rooms/{room}/spend/week.csv
        GET /rooms/{room}/spend/what-if
        GET /api/v1/rooms/{room}/export
    """,
    LOG: """
        POST /rooms/{room}/tanks/{tank}
        POST /rooms/{room}/hand-over
        POST /rooms/{room}/hand-over/take-over
        POST /rooms/{room}/hand-over/note
        POST /rooms/{room}/hand-over/notes/{note}/done
        POST /rooms/{room}/hand-over/undo/{entry_id}
        POST /rooms/{room}/inspections/{inspection}/parts/{component}/touched
        POST /rooms/{room}/tanks/{tank}/swap/start
        POST /rooms/{room}/tanks/{tank}/swap/steps/{step}/tick
        POST /rooms/{room}/tanks/{tank}/swap/steps/{step}/touched
        POST /rooms/{room}/tanks/{tank}/swap/touched
        POST /rooms/{room}/tanks/{tank}/swap/steps/{step}/undo
        POST /rooms/{room}/tanks/{tank}/swap/steps/{step}/note
        POST /rooms/{room}/tanks/{tank}/swap/complete
        POST /rooms/{room}/tanks/{tank}/swap/reopen
        POST /rooms/{room}/tanks/{tank}/swap/at-once
        POST /rooms/{room}/tanks/{tank}/contents
        POST /rooms/{room}/tanks/{tank}/swap/abandon
        POST /rooms/{room}/entries/{entry_id}/correct
        POST /rooms/{room}/entries/{entry_id}/withdraw
        POST /rooms/{room}/tanks/{tank}/explanation
        POST /rooms/{room}/resins
        POST /rooms/{room}/calibrations
        POST /rooms/{room}/who
        POST /rooms/{room}/clock
        POST /rooms/{room}/shelf/take-back/{submission}
        POST /rooms/{room}/shelf/count
        POST /rooms/{room}/shelf/count/save
        POST /rooms/{room}/shelf/orders
        POST /rooms/{room}/shelf/orders/{order}/receive
        POST /rooms/{room}/shelf/orders/{order}/cancel
        POST /rooms/{room}/cure
        POST /rooms/{room}/stations/{station}/log/reading
        POST /rooms/{room}/waste/new
        POST /rooms/{room}/waste/check
        POST /rooms/{room}/waste/drums/{drum}/do/{act}
        POST /rooms/{room}/waste/drums/{drum}/settings
        POST /rooms/{room}/waste/drums/{drum}/transfer
        POST /rooms/{room}/waste/drums/{drum}/pour
        POST /rooms/{room}/waste/pickups
        POST /rooms/{room}/waste/pickups/{pickup}/{act}
        POST /rooms/{room}/problem/{what}
        POST /rooms/{room}/incidents/{incident}/step
        POST /rooms/{room}/incidents/{incident}/undo
        POST /rooms/{room}/incidents/{incident}/reopen
        POST /rooms/{room}/tanks/{tank}/hold
        POST /rooms/{room}/stations/{station}/hold
        POST /rooms/{room}/duties/done
        POST /rooms/{room}/duties/undo/{entry_id}
        POST /rooms/{room}/duties/{duty}
        POST /rooms/{room}/tanks/{tank}/month-close
        POST /rooms/{room}/tanks/{tank}/inspection
        POST /rooms/{room}/tanks/{tank}/look/{look}
        POST /rooms/{room}/stations/{station}/inspection
        POST /rooms/{room}/inspections/{inspection}/close
        POST /rooms/{room}/inspections/{inspection}/discard
        POST /rooms/{room}/inspections/{inspection}/parts/{component}
        POST /rooms/{room}/inspections/{inspection}/parts/{component}/replace
        POST /rooms/{room}/inspections/{inspection}/parts/{component}/undo
        POST /rooms/{room}/inspections/{inspection}/parts/{component}/photos/{photo}/label
        POST /rooms/{room}/inspections/{inspection}/parts/{component}/photos/{photo}
        POST /rooms/{room}/tanks/{tank}/parts
        POST /rooms/{room}/stations/{station}/parts
        POST /rooms/{room}/parts/{component}
        POST /rooms/{room}/soak
        POST /rooms/{room}/soak/{soak}
        POST /rooms/{room}/log/{task}
        POST /rooms/{room}/undo/{entry_id}
        POST /rooms/{room}/tanks/{tank}/log/{task}
        POST /rooms/{room}/tanks/{tank}/undo/{entry_id}
        POST /rooms/{room}/stations/{station}/log/{task}
        POST /rooms/{room}/instruments/{instrument}/log/{task}
        POST /rooms/{room}/instruments/{instrument}/undo/{entry_id}
        POST /rooms/{room}/stations/{station}/undo/{entry_id}
        POST /rooms/{room}/shelf/items/{item}/{task}
        POST /rooms/{room}/shelf/undo/{item}/{entry_id}
        POST /rooms/{room}/waste/drums/{drum}/log/{task}
        POST /rooms/{room}/waste/drums/{drum}/undo/{entry_id}
        POST /api/v1/rooms/{room}/entries
        POST /api/v1/rooms/{room}/entries/batch
        POST /api/v1/rooms/{room}/entries/{entry_id}/correction
        POST /api/v1/rooms/{room}/entries/{entry_id}/withdrawal
        POST /api/v1/rooms/{room}/preview
    """,
    LEAD: """
        POST /rooms/new
        POST /rooms/{room}/settings
        POST /rooms/{room}/tanks/new
        POST /rooms/{room}/tanks/{tank}/settings
        POST /rooms/{room}/tanks/{tank}/swap/steps/{step}/overrule
        POST /rooms/{room}/checklist
        POST /rooms/{room}/site
        POST /rooms/{room}/qualified
        POST /rooms/{room}/qualified/end
        POST /rooms/{room}/archive
        POST /rooms/{room}/solvents
        POST /rooms/{room}/solvents/limits
        GET /rooms/{room}/import/{token}
        POST /rooms/{room}/plan/{tank}
        POST /rooms/{room}/plan/undo/{entry_id}
        POST /rooms/{room}/shelf/new
        POST /rooms/{room}/shelf/items/{item}/settings
        POST /rooms/{room}/cure/recipes/{resin}
        POST /rooms/{room}/stations/{station}/aside
        POST /rooms/{room}/stations/new
        POST /rooms/{room}/instruments/new
        POST /rooms/{room}/stations/{station}/settings
        POST /rooms/{room}/waste/rules
        POST /rooms/{room}/waste/rules/values
        POST /rooms/{room}/waste/rules/marks
        POST /rooms/{room}/incidents/{incident}/close
        POST /rooms/{room}/tanks/{tank}/hold/release
        POST /rooms/{room}/stations/{station}/hold/release
        POST /rooms/{room}/duties/settings
        POST /rooms/{room}/inspections/{inspection}/parts/{component}/overrule
        POST /rooms/{room}/parts/life/originals
        POST /rooms/{room}/spend/what-if/keep
        POST /rooms/{room}/spend/what-if/drop/{case}
        POST /api/v1/rooms
        PUT /api/v1/rooms/{room}
    """,
    BRING_IN: """
        POST /rooms/{room}/import
        POST /rooms/{room}/import/{token}/stop
        POST /rooms/{room}/import/{token}/answers
        POST /rooms/{room}/import/{token}/columns
        POST /rooms/{room}/import/{token}/store
        POST /rooms/{room}/imports/{run}/stop
        POST /rooms/{room}/imports/{run}/keep
        POST /rooms/{room}/imports/{run}/undo
        POST /api/v1/rooms/{room}/import/preview
        POST /api/v1/rooms/{room}/import
        POST /api/v1/rooms/{room}/imports/{token}/stop
        POST /api/v1/rooms/{room}/imports/{token}/undo
    """,
    PRICES: """
        POST /rooms/{room}/spend/prices
        POST /rooms/{room}/spend/prices/cost
    """,
    PEOPLE: """
        POST /rooms/{room}/crew
        GET,POST /people
        POST /people/{account}/role
        POST /people/{account}/secret
        POST /people/{account}/leave
        POST /people/{account}/sign-out
        POST /people/{account}/unlock
        POST /people/tokens
        POST /people/tokens/{token}/revoke
        GET,POST /rooms/{room}/delete
        POST /api/v1/rooms/{room}/deletion
    """,
}


def _by_address() -> dict[str, str]:
    found: dict[str, str] = {}
    for action, text in _ADDRESSES.items():
        for line in text.split("\n"):
            methods, _, path = line.strip().partition(" ")
            for method in filter(None, methods.split(",")):
                if f"{method} {path}" in found:
                    raise ValueError(f"{method} {path} stands twice in the table")
                found[f"{method} {path}"] = action
    return found


ADDRESSES: Mapping[str, str] = _by_address()
"""What is done at each address, named by method and path as its route has it."""


def action_at(method: str, path: str) -> str | None:
    """What is done at an address; None where the table does not say.

    >>> action_at("POST", "/rooms/{room}/spend/prices")
    'set prices'
    """
    return ADDRESSES.get(f"{'GET' if method == 'HEAD' else method} {path}")


def action_of(kind: str) -> str:
    """What it is to enter this kind of entry, to correct it or to take it back.

    >>> action_of("wash"), action_of("tank_released")
    ('log', 'decide as a lead')
    """
    return KINDS.get(kind, LOG)


def allows(role: str, action: str) -> bool:
    """Whether a role may do something.

    >>> allows("technician", LOG), allows("screen", LOG), allows("lead", PRICES)
    (True, False, False)
    """
    return role in ALLOWED[action]


def refusal_of(role: str, action: str) -> str:
    """Why somebody may not, and who may."""
    return REFUSALS[action].format(role=role)
