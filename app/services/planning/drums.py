"""The drums of a room as the plan sees them: room in them, when they leave or have to."""

from collections.abc import Mapping, Sequence
from datetime import date

from app.domain.planning.allotment import Parcel
from app.domain.planning.pickups import Booked, Bounds, Space
from app.domain.waste.counters import on_site_limit_kg
from app.domain.waste.drums import DrumState
from app.services.planning.books import Books


def drum_room(books: Books, today: date) -> dict[str, list[Parcel]]:
    """Room in drums by stream: in those that are here, up to the day they leave or have to, and in
    the empty ones that a booked pickup is taken to leave in their place."""
    booked, found = books.booked(), dict[str, list[Parcel]]()
    for drum in sorted(books.drums.values(), key=lambda d: (d.free_l, d.key)):
        if drum.is_shipped or not drum.name:
            continue
        fetched_on, parcels = booked.get(drum.key), found.setdefault(drum.stream, [])
        ends = [day for day in (fetched_on, _pour_until(drum, books, today)) if day is not None]
        until_on = min(ends, default=None)
        if drum.free_l > 0 and _takes(drum, books, today):
            parcels.append(Parcel(drum.name, drum.free_l, until_on=until_on, key=drum.key))
        if fetched_on is not None and fetched_on >= today and drum.stream != "unknown":
            name = f"an empty drum in place of {drum.name}"
            parcels.append(Parcel(name, drum.fill_limit_l, from_on=fetched_on))
    return found


def _pour_until(drum: DrumState, books: Books, today: date) -> date | None:
    """The day a drum has to leave by; within the margin its last lawful day; None without one."""
    last_on = books.lawful.get(drum.key)
    if last_on is None:
        return None
    leave_on = _leave_by(last_on, books)
    return leave_on if leave_on >= today else last_on


def _takes(drum: DrumState, books: Books, today: date) -> bool:
    """Something may be poured into it today: nothing more once its last day has passed, or the
    day on which it was to be fetched."""
    ends = (books.lawful.get(drum.key), books.booked().get(drum.key))
    is_apart = drum.takes_unknown and drum.is_empty  # for one bath that nobody knows
    return (drum.takes_waste or is_apart) and all(end is None or end >= today for end in ends)


def _leave_by(last_on: date, books: Books) -> date:
    """A last lawful day less the site's margin."""
    return books.workdays.earlier(last_on, books.site.drum_margin_days)


def bounds_of(books: Books, last: date) -> Bounds:
    """What binds pickups up to a day besides room in drums."""
    by_category = on_site_limit_kg(books.rules) if books.rules.is_chosen else None
    limit_kg = books.site.waste_on_site_limit_kg or by_category
    return Bounds(books.workdays, books.site.drum_margin_days, limit_kg, last)


def spaces_of(books: Books, today: date) -> dict[str, Space]:
    """The drums of each stream: their room, when they are fetched, by when they have to leave."""
    streams: dict[str, list[DrumState]] = {}
    for drum in books.drums.values():
        if not drum.is_shipped:
            streams.setdefault(drum.stream, []).append(drum)
    booked = books.coming(today)
    return {stream: _space(stream, here, booked, books, today) for stream, here in streams.items()}


def _space(
    stream: str, here: Sequence[DrumState], booked: Mapping[str, date], books: Books, today: date
) -> Space:
    counts = books.rules.counts(stream)
    days = sorted({booked[drum.key] for drum in here if drum.key in booked})
    clock_days = books.rules.value(books.rules.category.clock_rule)
    has_clock = counts and any(drum.area == "central" for drum in here)

    return Space(
        free_l=_free_l(here, books, today),
        emptied_l=sum(drum.fill_limit_l for drum in here),
        booked=tuple(
            _booked(day, [drum for drum in here if booked.get(drum.key) == day], books, today)
            for day in days
        ),
        held_kg=_counted_kg(here, books),
        leave_by=tuple(
            (drum.name or drum.key, _leave_by(last_on, books))
            for drum in here
            if (last_on := books.lawful.get(drum.key)) is not None
            and booked.get(drum.key, date.max) > last_on
        ),
        clock_days=int(clock_days) if clock_days is not None and has_clock else None,
    )


def _booked(day: date, drums: Sequence[DrumState], books: Books, today: date) -> Booked:
    emptied_l = sum(drum.fill_limit_l for drum in drums)
    return Booked(day, emptied_l, _free_l(drums, books, today), _counted_kg(drums, books))


def _free_l(drums: Sequence[DrumState], books: Books, today: date) -> float:
    return sum(drum.free_l for drum in drums if _takes(drum, books, today))


def _counted_kg(drums: Sequence[DrumState], books: Books) -> float:
    """What counts on the site of what they hold."""
    return sum(drum.mass_kg for drum in drums if books.rules.counts(drum.stream))
