"""The waste of the room: drums against their fill limit, counters against the site's category."""

import uuid
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.calendar_words import month_words
from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds.waste import AREAS, DRUM, IN_ORDER, Drum, DrumChecked
from app.domain.waste.counters import category_of, month_of
from app.domain.waste.drums import DrumState
from app.domain.waste.streams import ACRYLATE_CARE
from app.services import door
from app.services.waste import Overview, overview, rulebook
from app.store import queries
from app.store.solvents import streams_here
from app.store.things import things
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, key_of_new, read_entry, refuse_double, unit_label
from app.web.waste import words
from app.web.waste.words import AmountBar
from app.web.words import State

router = APIRouter(prefix="/rooms/{room}/waste")
CHECKS = IN_ORDER
RANK = 6  # vessels in one line


@dataclass(frozen=True)
class Counter:
    """A counter of the site as the page shows it."""

    title: str
    value: float
    limit: float | None
    state: State
    tag: str
    bar: AmountBar
    words: str
    source: str


@router.get("")
def waste_page(visit: VisitDep) -> Response:
    """Drums, counters, pickups."""
    all_ = overview(visit.session, visit.room, visit.now)
    views = [words.drum_view(drum, all_, visit.zone, visit.now) for drum in all_.open_drums]
    views.sort(key=words.presses)
    context = {
        "ranks": [views[first : first + RANK] for first in range(0, len(views), RANK)],
        "views": views,
        "counters": [_month_counter(visit, all_), _site_counter(all_)],
        "satellite": all_.excess,
        "satellite_bar": words.amount_bar(all_.excess.volume_l, 0.0, all_.excess.limit_l),
        "satellite_state": words.amount_state(
            all_.excess.volume_l, all_.excess.limit_l, all_.rules
        ),
        "excess_words": words.local_day(all_.excess.excess_at, visit.zone),
        "rules": all_.rules,
        "booked": [p for p in all_.pickups.values() if p.is_booked],
        "names": {key: drum.name or key for key, drum in all_.all_drums.items()},
        "checks_due": any(view.check_is_due for view in views),
    }
    return visit.page("waste/waste.html", context)


@router.get("/new")
def new_drum(visit: VisitDep) -> Response:
    """The form of a new drum."""
    headspace = rulebook(visit.session, visit.room_id).value("headspace_percent") or 0.0
    count = len(overview(visit.session, visit.room, visit.now).all_drums) + 1
    values = {
        "by": visit.person, "area": "wash_station", "name": f"Drum {count}",
        "fill_limit_percent": f"{100 - headspace:g}",
    }  # fmt: skip
    return _drum_form(visit, FormState(values))


@router.post("/new")
def add_drum(visit: VisitDep, typed: FormDep) -> Response:
    """Bring a drum into use."""
    drums: dict[str, DrumState] = things(visit.session, visit.room_id, DRUM)
    here = [(drum.key, drum.name) for drum in drums.values() if not drum.is_shipped]
    key = key_of_new(typed, "drum", here, drums)
    try:
        if key in drums and drums[key].name and not visit.is_repeated(typed):
            raise refuse_double(typed, "drum", key, "drum")
        entry = read_entry(Drum.kind, {**typed, "drum": key}, visit.room, visit.person, visit.now)
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _drum_form(visit, form_of(back, typed), 422)
    return go_on(visit.address("waste", "drums", key), entry.by)


@router.get("/check")
def check_form(visit: VisitDep) -> Response:
    """The weekly look at all drums that are here."""
    return _check_page(visit, FormState({"by": visit.person}))


@router.post("/check")
def check(visit: VisitDep, typed: FormDep) -> Response:
    """Store one check for each drum that was looked at, all or none."""
    keys = [
        drum.key
        for drum in overview(visit.session, visit.room, visit.now).open_drums
        if any(typed.get(f"{name}+{drum.key}") for name in ("all", "seen", "is_warm"))
    ]
    entries = []
    try:
        if not keys:
            raise FieldErrors([FieldError("seen", "Tick at least one drum as looked at.")])
        for key in keys:
            all_fine = typed.get(f"all+{key}", "")
            values = {name: all_fine or typed.get(f"{name}+{key}", "") for name in CHECKS}
            values |= {name: typed.get(name, "") for name in ("at", "by")}
            values |= {"drum": key, "note": typed.get(f"note+{key}", "")}
            values |= {"is_warm": typed.get(f"is_warm+{key}", "")}
            entries.append(
                read_entry(DrumChecked.kind, values, visit.room, visit.person, visit.now)
            )
        door.enter(visit.store, visit.room.key, entries, visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _check_page(visit, FormState(typed, error.by_field()), 422)
    return go_on(visit.address("waste") + "?saved=check", entries[0].by)


def _month_counter(visit: Visit, all_: Overview) -> Counter:
    """This month's mass, and what the next swap would add before it is done."""
    swap, kg, limit = all_.next_swap, all_.month_kg, all_.month_limit_kg
    is_in = swap is not None and swap.is_this_month and all_.rules.counts(swap.stream)
    added = swap.mass_kg if swap is not None and is_in else 0.0
    reached = category_of(kg + added, all_.rules)
    said = ""
    if swap is not None and is_in:
        said = f"The next swap, {swap.name}, adds about {added:.0f} kg: {kg + added:.0f} kg then."
    elif swap is not None:
        said = f"The next swap, {swap.name}, would add about {swap.mass_kg:.0f} kg"
        said += " next month or later." if not swap.is_this_month else ", which does not count."
    if reached is not None and all_.rules.category.month_rule:
        bound = all_.rules.category
        if reached.key != bound.key and limit is not None and kg + added > limit:
            said += f" That makes it a month of a “{reached.name.lower()}”."
    state = words.amount_state(kg + added, limit, all_.rules)
    over_now = words.amount_state(kg, limit, all_.rules) == "over"
    tag = "Over with the next swap" if state == "over" and not over_now else ""
    title = f"Generated in {month_words(month_of(visit.now, visit.zone))}"
    return Counter(
        title, kg, limit, state, tag or words.AMOUNT_TAGS[state],
        words.amount_bar(kg, added, limit), said, all_.month_source,
    )  # fmt: skip


def _site_counter(all_: Overview) -> Counter:
    kg, limit = all_.on_site_kg, all_.on_site_limit_kg
    state = words.amount_state(kg, limit, all_.rules)
    return Counter(
        "On site now", kg, limit, state, words.AMOUNT_TAGS[state], words.amount_bar(kg, 0.0, limit),
        "", all_.on_site_source,
    )  # fmt: skip


def _drum_form(visit: Visit, form: FormState, status: int = 200) -> Response:
    specs = Drum.specs()
    context = {
        "form": form,
        "specs": specs,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "streams": streams_here(visit.session, visit.room_id),
        "materials": words.MATERIALS,
        "areas": [(area, words.AREAS[area]) for area in AREAS],
        "headspace": rulebook(visit.session, visit.room_id).rules.get("headspace_percent"),
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("waste/new.html", context, status)


def _check_page(visit: Visit, form: FormState, status: int = 200) -> Response:
    all_ = overview(visit.session, visit.room, visit.now)
    context = {
        "views": [words.drum_view(drum, all_, visit.zone, visit.now) for drum in all_.open_drums],
        "form": form,
        "checks": {name: DrumChecked.specs()[name].label for name in CHECKS},
        "warm": DrumChecked.specs()["is_warm"].label,
        "care": ACRYLATE_CARE,
        "rule": all_.rules.rules.get("check_days"),
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("waste/check.html", context, status)
