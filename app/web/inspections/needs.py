"""Parts that want another look, in words for the room page."""

from collections.abc import Iterator

from app.domain.inspections.components import ComponentState
from app.domain.roomlog.kinds.curing import STATION
from app.services.caching import kept
from app.services.inspections.reading import to_look_at
from app.store.queries import Board
from app.store.things import thing
from app.web.deps import Visit


def parts_to_look_at(visit: Visit, board: Board) -> Iterator[tuple[str, str, str]]:
    """Each tank and station with such parts: its name, what to do, and where."""
    found = kept(
        visit.session, visit.room_id, "parts to look at", visit.room.version,
        lambda: to_look_at(visit.session, visit.room_id),
    )  # fmt: skip
    for tank in board.tanks:
        if parts := found.get(f"tanks/{tank.key}"):
            yield f"{tank.place} {tank.name}", _words(parts), _href(visit, "tanks", tank.key)
    for place, parts in found.items():
        kind, _, key = place.partition("/")
        if kind == "stations":
            station = thing(visit.session, visit.room_id, STATION, key)
            name = station.name if station is not None and station.name else key
            yield name, _words(parts), _href(visit, "stations", key)


def names_of(parts: list[ComponentState]) -> str:
    """The names of positions in a row, those that nobody could see called so."""
    return ", ".join(f"{one.name} (not seen)" if one.missed else one.name for one in parts)


def _words(parts: list[ComponentState]) -> str:
    out = [one for one in parts if one.verdict == "take_out_of_service"]
    again = [one for one in parts if one not in out]
    words = [f"Out of service: {names_of(out)}."] if out else []
    return " ".join([*words, f"Check {_with_article(again)}."] if again else words)


def _with_article(parts: list[ComponentState]) -> str:
    """The names of positions within a sentence.

    Only a name that begins as an ordinary word loses its capital: 'the lid gasket', 'the O-ring'.
    """
    names = []
    for one in parts:
        name = one.name if one.name[1:2] in ("", "-") else one.name[:1].lower() + one.name[1:]
        names.append(f"the {name} (not seen)" if one.missed else f"the {name}")
    return " and ".join(names) if len(names) < 3 else ", ".join(names)


def _href(visit: Visit, kind: str, key: str) -> str:
    return visit.address(kind, key, "inspection")
