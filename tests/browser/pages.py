"""The pages that layout and accessibility are tried on."""

from typing import Any

PROBLEMS = ("spill", "leak", "wrong_solvent", "exposure", "pickup_cancelled")
FORMS = ("wash", "reading", "top-up", "removal", "solids", "reject", "plan")


def every_page(page: Any, room: str) -> dict[str, str]:
    """Name and address of each page of a room; `page` is used to find an entry."""
    page.goto(f"{room}/tanks/alder?kind=wash")
    entry = page.locator(".log-list li:not(.voided) a").first.get_attribute("href")
    origin = room.partition("/rooms/")[0]
    pages = {f"{task} form": f"{room}/tanks/alder/log/{task}" for task in FORMS}
    return pages | {
        "room": room,
        "tank": f"{room}/tanks/alder",
        "swap": f"{room}/tanks/elder/swap",
        "swap on paper": f"{room}/tanks/elder/swap/paper",
        "swaps before": f"{room}/tanks/elder/swap/record",
        "checklist of swaps": f"{room}/checklist",
        "swaps ahead": f"{room}/plan",
        "day of a swap": f"{room}/plan/alder",
        "problem": f"{room}/problem",
        **{f"{what} page": f"{room}/problem/{what}" for what in PROBLEMS},
        "incidents": f"{room}/incidents",
        "hold a tank": f"{room}/tanks/alder/hold",
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
        "item of the shelf": f"{room}/shelf/items/ipa-99",
        "delivery": f"{room}/shelf/items/ipa-99/receive",
        "item settings": f"{room}/shelf/items/ipa-99/settings",
        "new item": f"{room}/shelf/new",
        "count of the shelf": f"{room}/shelf/count",
        "orders": f"{room}/shelf/orders?show=all",
        "codes to stick on": f"{room}/codes",
        "order": f"{room}/shelf/orders/o-ring-late",
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
        "who": f"{room}/who",
        "rooms": f"{origin}/rooms",
        "style guide": f"{origin}/styleguide",
        "new room": f"{origin}/rooms/new",
    }
