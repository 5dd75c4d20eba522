"""What the site works by: days, lead times, shares, limits and the room's air."""

import uuid
from dataclasses import replace
from itertools import islice
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.calendar_words import day_words
from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.site import NO_COUNTRY, SITE, SiteRules
from app.domain.site import SiteState
from app.services.workdays import calendar_of, countries, subdivisions
from app.store.site import site
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label

router = APIRouter(prefix="/rooms/{room}/site")
TEMPLATE = "site/settings.html"
GROUPS = {
    "Ways of working": (
        "swaps_per_day", "swap_minutes", "solvent_lead_days", "pickup_lead_days",
        "drum_margin_days",
    ),
    "A swap": (
        "rinse_percent", "squirt_bottle_l", "heel_percent", "loss_tolerance_percent",
    ),
    "Limits of this site": (
        "waste_month_limit_kg", "waste_on_site_limit_kg", "flammable_limit_l", "cabinet_limit_l",
    ),
    "Air of the room": ("room_volume_m3", "air_changes_per_hour", "room_temperature_c"),
    "Labels and emergencies": ("emergency_number", "site_address", "generator_id"),
}  # fmt: skip
CLOSED = ("country", "subdivision", "closed_days")
NEXT_CLOSED = 8
DAYS = dict(enumerate(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"), 1))


@router.get("")
def settings(visit: VisitDep) -> Response:
    """The settings as they stand."""
    form = FormState(_shown(visit, site(visit.session, visit.room_id)))
    return visit.page(TEMPLATE, _context(visit, form))


@router.post("")
def change(visit: VisitDep, typed: FormDep) -> Response:
    """Store what was changed; an emptied field goes back to its default."""
    state = site(visit.session, visit.room_id)
    shown = _shown(visit, state)
    days = ",".join(str(day) for day in DAYS if typed.get(f"day{day}"))
    values = {**typed, "working_days": days}
    changed = {
        name: values.get(name, "").strip()
        for name in shown
        if values.get(name, "").strip() != shown[name]
    }
    gone = ", ".join(name for name, text in changed.items() if not text and name != "working_days")
    sent = {**changed, "site": SITE, "unset": gone, "by": visit.person}
    try:
        entry = read_entry(SiteRules.kind, sent, visit.room, visit.person, visit.now)
        if isinstance(entry, SiteRules) and "working_days" in changed:
            entry = replace(entry, working_days=days)  # no day at all is refused, not left out
            if problems := entry.problems():
                raise FieldErrors(problems)
        if changed:
            enter(visit, typed, [entry], values=values)
    except SENT_BACK as back:
        return visit.page(TEMPLATE, _context(visit, form_of(back, values)), 422)
    return RedirectResponse(visit.address("site") + "?saved=1", 303)


def _shown(visit: Visit, state: SiteState) -> dict[str, str]:
    specs = SiteRules.specs()
    shown = {"working_days": state.working_days, **{name: getattr(state, name) for name in CLOSED}}
    for names in GROUPS.values():
        for name in names:
            value = getattr(state, name)
            shown[name] = "" if value is None else text_of(specs[name], value, visit.room)
    return shown


def _next_closed(visit: Visit) -> list[tuple[str, str]]:
    """The next days on which the site is closed, as stored, with their names."""
    workdays = calendar_of(site(visit.session, visit.room_id), visit.today)
    days = (
        (day_words(day, visit.today), name)
        for day, name in sorted(workdays.closed.items())
        if day >= visit.today and day.isoweekday() in workdays.weekdays
    )
    return list(islice(days, NEXT_CLOSED))


def _context(visit: Visit, form: FormState) -> dict[str, Any]:
    specs = SiteRules.specs()
    return {
        "form": form,
        "groups": GROUPS,
        "specs": specs,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "days": DAYS,
        "countries": [
            ("", "Not chosen yet"),
            (NO_COUNTRY, "None: public holidays are working days"),
            *countries().items(),
        ],
        "parts": subdivisions(form.value("country")),
        "closed": _next_closed(visit),
        "chosen_days": form.value("working_days").split(","),
        "was_saved": "saved" in visit.request.query_params,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
