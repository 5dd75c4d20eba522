"""What the API's routes ask for: a room, and a client's copy."""

import hashlib
from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import Depends, Header, Path, Query, Request, Response

from app.api.problems import NoPrecondition, NotModified
from app.domain.harm.matrix import QUESTIONS
from app.domain.plausible import NAMES
from app.incoming import NowDep, SessionDep, StoreDep
from app.services.rooms import find_room
from app.store import queries
from app.store.sessions import reading
from app.store.tables import RoomRow

KEY_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}$"
Key = Annotated[str, Path(pattern=KEY_PATTERN)]
FRESH_FOR_S = 60  # urgency and age of an estimate depend on the hour, the data only on entries


def get_room(session: SessionDep, room: Key) -> RoomRow:
    """The room named in the address; no connection is held while a thread is waited for."""
    found = find_room(session, room)
    session.close()
    return found


RoomDep = Annotated[RoomRow, Depends(get_room)]


def get_room_to_write(store: StoreDep, room: Key) -> RoomRow:
    """The room named in the address, without holding a connection that the write needs."""
    with reading(store) as session:
        return find_room(session, room)


WrittenRoomDep = Annotated[RoomRow, Depends(get_room_to_write)]


def get_submission(
    idempotency_key: Annotated[
        str | None,
        Header(
            min_length=1,
            max_length=255,
            pattern=r"^[\x21-\x7e]+$",
            description="Your own key for this write. Sent again, it gets the first answer again.",
        ),
    ] = None,
) -> str | None:
    """The key under which a write counts once, in the length that the store keeps."""
    if idempotency_key is None:
        return None
    return "api-" + hashlib.blake2b(idempotency_key.encode(), digest_size=14).hexdigest()


SubmissionDep = Annotated[str | None, Depends(get_submission)]


def get_confirmed(
    confirm: Annotated[
        list[Literal[(*QUESTIONS, *NAMES)]] | None,  # type: ignore[valid-type]
        Query(description="Names of the questions you were asked and answer with yes."),
    ] = None,
) -> frozenset[str]:
    """The questions that a program has answered."""
    return frozenset(confirm or ())


ConfirmedDep = Annotated[frozenset[str], Depends(get_confirmed)]
IfNoneMatch = Annotated[
    str | None, Header(max_length=1000, description="ETags of the copies you have.")
]


def get_unchanged_room(
    room: RoomDep, response: Response, if_none_match: IfNoneMatch = None
) -> RoomRow:
    """The room, for a read that changes with its entries only."""
    offer(response, f'W/"{room.id}-{room.version}"', if_none_match)
    return room


def get_room_of_the_minute(
    room: RoomDep, now: NowDep, response: Response, if_none_match: IfNoneMatch = None
) -> RoomRow:
    """The room, for a read that also changes with time."""
    minute = int(now.timestamp() // FRESH_FOR_S)
    offer(response, f'W/"{room.id}-{room.edition}-{minute}"', if_none_match)
    return room


def get_rooms(
    session: SessionDep,
    response: Response,
    archived: Annotated[
        Literal["true", "false"], Query(description="Archived rooms instead.")
    ] = "false",
    if_none_match: IfNoneMatch = None,
) -> list[tuple[RoomRow, bool]]:
    """Rooms by name, each with whether it is archived."""
    gone, is_asked = queries.archived(session), archived == "true"
    rooms = [room for room in queries.every_room(session) if (room.id in gone) is is_asked]
    session.close()
    versions = ",".join(f"{room.id}-{room.version}" for room in rooms)
    digest = hashlib.blake2b(versions.encode(), digest_size=8).hexdigest()
    offer(response, f'W/"{digest}"', if_none_match)
    return [(room, is_asked) for room in rooms]


UnchangedRoomDep = Annotated[RoomRow, Depends(get_unchanged_room)]
MinuteRoomDep = Annotated[RoomRow, Depends(get_room_of_the_minute)]
RoomsDep = Annotated[list[tuple[RoomRow, bool]], Depends(get_rooms)]


def room_id(room: RoomRow) -> int:
    """The number of a stored room."""
    assert room.id is not None
    return room.id


def address(request: Request, *keys: str) -> str:
    """The address of something below the rooms, for a Location header; keys need no escaping."""
    return "/".join((request.scope["root_path"], "v1/rooms", *keys))


def tag_of(room: RoomRow) -> str:
    """The strong ETag of a room's settings: what compares for a write (RFC 9110, 8.8.3.2)."""
    return f'"{room.id}-{room.version}"'


@dataclass(frozen=True)
class Seen:
    """The ETags that a change was based on (If-Match); a weak one matches nothing."""

    tags: frozenset[str]

    def has(self, etag: str) -> bool:
        """Whether it was based on this one."""
        return etag in self.tags or "*" in self.tags


def get_seen(
    if_match: Annotated[
        str | None,
        Header(max_length=1000, description="The ETag of what you change. Without it: 428."),
    ] = None,
) -> Seen:
    """What a change was based on.

    Raises:
        NoPrecondition: it does not say (RFC 6585, section 3).
    """
    if if_match is None:
        raise NoPrecondition
    return Seen(frozenset(tag.strip() for tag in if_match.split(",")))


SeenDep = Annotated[Seen, Depends(get_seen)]


def offer(response: Response, etag: str, known: str | None) -> None:
    """Hand out the ETag; where the client knows it, nothing else is needed.

    Compared weakly (RFC 9110, section 13.1.2).
    """
    tags = [tag.strip().removeprefix("W/") for tag in (known or "").split(",")]
    if etag.removeprefix("W/") in tags or "*" in tags:
        raise NotModified(etag)
    response.headers["ETag"] = etag
