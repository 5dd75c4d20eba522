"""The pages that layout and accessibility are tried on."""

from typing import Any

from app.domain.roomlog.kinds.qualifications import QUALIFICATIONS

PROBLEMS = (
    "spill", "leak", "wrong_solvent", "exposure", "pickup_cancelled", "fire", "drum_warm",
    "eye_light", "near_miss",
)  # fmt: skip
SLOWEST_MS = 90_000  # what follows from late entries is worked out anew
AT, UNTIL = "2026-11-20T09:00:00Z", "2029-06-30"  # before and after all days of the tests
FORMS = ("wash", "reading", "top-up", "removal", "solids", "reject", "plan")


def every_page(page: Any, room: str) -> dict[str, str]:
    """Name and address of each page of a room; `page` is used to find an entry."""
    page.goto(f"{room}/tanks/alder?kind=wash")
    entry = page.locator(".log-list li:not(.voided) a").first.get_attribute("href")
    origin = room.partition("/rooms/")[0]
    _furnish(page, f"{origin}/api/v1{room.removeprefix(origin)}/entries/batch")
    pages = {f"{task} form": f"{room}/tanks/alder/log/{task}" for task in FORMS}
    return pages | {
        "room": room,
        "tank": f"{room}/tanks/alder",
        "swap": f"{room}/tanks/elder/swap",
        "problem of a swap": f"{room}/tanks/fir/swap?view=problem",
        "swap on paper": f"{room}/tanks/elder/swap/paper",
        "earlier swaps": f"{room}/tanks/elder/swap/record",
        "checklist of swaps": f"{room}/checklist",
        "swaps ahead": f"{room}/plan",
        "day of a swap": f"{room}/plan/alder",
        "problem": f"{room}/problem",
        **{f"{what} page": f"{room}/problem/{what}" for what in PROBLEMS},
        "incidents": f"{room}/incidents",
        "hold a tank": f"{room}/tanks/alder/hold",
        "what each fault stops": f"{room}/harm",
        "hand-over": f"{room}/hand-over",
        "note for the next shift": f"{room}/hand-over/note",
        "due list": f"{room}/duties",
        "duties": f"{room}/duties/settings",
        "duty": f"{room}/duties/interlock",
        "month close": f"{room}/tanks/alder/month-close",
        "storage": f"{room}/storage",
        "vapour": f"{room}/storage?solvent=isopropanol&case=spill&volume_l=1&area_m2=&air_m_s=0.25"
        "&temperature_c=20&room_volume_m3=60&air_changes_per_hour=6&mixing=3",
        "rejects": f"{room}/rejects",
        "resins": f"{room}/resins",
        "calibrations": f"{room}/calibrations",
        "instruments": f"{room}/instruments",
        "instrument": f"{room}/instruments/uv-meter-7",
        "new instrument": f"{room}/instruments/new",
        "calibration of an instrument": f"{room}/instruments/uv-meter-7/log/calibration",
        "who may do what": f"{room}/qualified",
        "find": f"{room}/find?q=alder",
        "what the readings say": f"{room}/tanks/alder/explanation",
        "look at a full tank": f"{room}/tanks/alder/look/full",
        "look at a refilled tank": f"{room}/tanks/alder/look/refilled",
        "part lots": f"{room}/lots",
        "record of a part lot": f"{room}/lots/record?lot=W2211",
        "part lot": f"{room}/log/part-lot",
        "release of a part lot": f"{room}/log/part-lot-release?lot=W2211",
        "rejection of a part lot": f"{room}/log/part-lot-reject?lot=W2211",
        "recall": f"{room}/lots/recall?reason=check+overdue",
        "log": f"{room}/log",
        "forecasts": f"{room}/forecasts",
        "import": f"{room}/import",
        "entry": f"{origin}{entry}",
        "correction": f"{origin}{entry}/correct",
        "new tank": f"{room}/tanks/new",
        "tank settings": f"{room}/tanks/alder/settings",
        "room settings": f"{room}/settings",
        "site settings": f"{room}/site",
        "people and roles": f"{room}/crew",
        "shelf": f"{room}/shelf",
        "item on the shelf": f"{room}/shelf/items/ipa-99",
        "delivery": f"{room}/shelf/items/ipa-99/receive",
        "item settings": f"{room}/shelf/items/ipa-99/settings",
        "new item": f"{room}/shelf/new",
        "count of the shelf": f"{room}/shelf/count",
        "orders": f"{room}/shelf/orders?show=all",
        "codes to stick on": f"{room}/codes",
        "order": f"{room}/shelf/orders/R-1187",
        "inspections": f"{room}/inspections",
        "inspection of a tank": f"{room}/tanks/birch/inspection",
        "inspection": f"{room}/inspections/birch-look-1",
        "inspection report": f"{room}/inspections/birch-look-1/report",
        "part looked at": f"{room}/inspections/birch-look-1/parts/birch-washer-1",
        "part": f"{room}/parts/birch-washer-1",
        "parts of a tank": f"{room}/tanks/birch/parts",
        "life of parts": f"{room}/parts/life",
        "soak tests": f"{room}/soak",
        "spend": f"{room}/spend",
        "spend lines": f"{room}/spend/lines",
        "what if": f"{room}/spend/what-if?a_limit_percent=12&b_baths=paired",
        "where the solvent went": f"{room}/spend/balance",
        "spend ahead": f"{room}/spend/ahead",
        "rates": f"{room}/spend/prices",
        "waste": f"{room}/waste",
        "new drum": f"{room}/waste/new",
        "check of drums": f"{room}/waste/check",
        "drum": f"{room}/waste/drums/d-05",
        "drum that left": f"{room}/waste/drums/d-01",
        "pour": f"{room}/waste/drums/d-05/pour?volume_l=20",
        "drum settings": f"{room}/waste/drums/d-05/settings",
        "transfer": f"{room}/waste/drums/d-05/transfer",
        "label": f"{room}/waste/drums/d-05/label",
        "pickups": f"{room}/waste/pickups",
        "pickup": f"{room}/waste/pickups/p-01",
        "waste by month": f"{room}/waste/months",
        "waste rules": f"{room}/waste/rules",
        "curing stations": f"{room}/stations",
        "curing station": f"{room}/stations/lamp-house-1",
        "station without a course": f"{room}/stations/drawer",
        "station settings": f"{room}/stations/drawer/settings",
        "new station": f"{room}/stations/new",
        "radiometer": f"{room}/stations/lamp-house-2/log/reading",
        "lamp hours": f"{room}/stations/lamp-house-2/log/hours",
        "readings set aside": f"{room}/stations/lamp-house-2/aside",
        "hold a station": f"{room}/stations/lamp-house-2/hold",
        "relamp": f"{room}/stations/lamp-house-2/log/relamp",
        "cure": f"{room}/cure",
        "cure at a station": f"{room}/cure?station=lamp-house-2",
        "cure, stations": f"{room}/cure?resin=slate",
        "cure, time today": f"{room}/cure?resin=slate&station=lamp-house-2",
        "cure recipes": f"{room}/cure/recipes",
        "cure recipe": f"{room}/cure/recipes/slate",
        "who": f"{room}/who",
        "rooms": f"{origin}/rooms",
        "style guide": f"{origin}/styleguide",
        "new room": f"{origin}/rooms/new",
    }


def _furnish(page: Any, address: str) -> None:
    """Enter what the demo room has not: an instrument past its day, a part lot, who may do what."""
    shared = {
        "kind": "qualified",
        "qualifications": QUALIFICATIONS,
        "at": AT,
        "person": "Wren",
        "supervised_times": 4,
        "lead": "Curlew",
        "by": "Curlew",
    }
    entries = [
        {
            "kind": "instrument", "id": "walk-1", "at": AT, "instrument": "uv-meter-7",
            "name": "UV meter of the cure room", "sort": "uv_meter", "serial": "UV-2207-A",
            "offset": 4.5, "uncertainty": 2.5, "certificate": "C-2026-10487",
            "calibrated_on": "2025-09-01", "due_on": "2026-09-01", "by": "Curlew",
        },
        {**shared, "id": "walk-2", "act": "swap", "until_on": UNTIL},
        {**shared, "id": "walk-3", "act": "inspection", "until_on": UNTIL},
        {
            "kind": "part_lot", "id": "walk-4", "at": AT, "lot": "W2211", "resin": "slate",
            "resin_lot": "R-2207", "parts": 12, "build": "B-118", "by": "Curlew",
        },
    ]  # fmt: skip
    answer = page.request.post(address, data={"entries": entries}, timeout=SLOWEST_MS)
    assert answer.ok, answer.text()
