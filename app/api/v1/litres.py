"""The book of litres: accounts that add up to nothing, and the postings between them."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from app.api.deps import MinuteRoomDep, RoomDep, room_id
from app.api.paging import Limit, link_header
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes
from app.incoming import NowDep, SessionDep
from app.services.filtering import require_named
from app.services.litres.reading import book_of, postings_of

router = APIRouter(prefix="/v1/rooms/{room}/litres", tags=["storage"], route_class=StrictRoute)


PostingCursor = Annotated[
    str | None,
    Field(
        pattern=r"^[0-9]{1,18}$",
        description="Where to go on: the cursor from an earlier answer, unchanged.",
    ),
]


class BalanceOut(FromAttributes):
    """An account with what stands on it."""

    account: str = Field(description="Its kind, a colon, its key: `tank:t1`, `lot:ipa|A7`.")
    name: str
    litres: float = Field(description="Below 0 if more left it than came in.")


class GroupOut(FromAttributes):
    """The accounts of a kind."""

    kind: str
    words: str
    stands: bool = Field(description="Its litres are in the room and appear on pages.")
    balances: list[BalanceOut]


class ComparedOut(FromAttributes):
    """Litres by the acts beside those that pages and other addresses name."""

    account: str
    name: str
    book_l: float
    page_l: float
    estimated_l: float = Field(
        description=(
            "For a tank: evaporated, dragged out and carried in since its level was last read."
        )
    )
    apart_l: float


class BookOut(FromAttributes):
    """The book of a room."""

    imbalance_l: float = Field(description="By how much the accounts miss zero.")
    groups: list[GroupOut]
    compared: list[ComparedOut]
    unexplained: list[BalanceOut]


class PostingOut(FromAttributes):
    """Litres that an entry moved from one account to another."""

    at: datetime
    entry: str = Field(description="Id of the entry that posts it.")
    by: str
    source: str
    target: str
    litres: float
    why: str


class PostingsOut(FromAttributes):
    """Postings, newest first."""

    postings: list[PostingOut]


@router.get("")
def read_book(session: SessionDep, room: MinuteRoomDep, now: NowDep) -> BookOut:
    """The accounts by kind; what is unexplained, by its reason."""
    return BookOut.model_validate(book_of(session, room, now))


@router.get("/postings")
def read_postings(
    session: SessionDep, room: RoomDep, request: Request, response: Response,
    account: Annotated[
        str, Query(max_length=300, description="An account; all of them if left out.")
    ] = "",
    limit: Limit = 100, cursor: PostingCursor = None,
) -> PostingsOut:  # fmt: skip
    """Postings of an account, the newest first; one that the book has not is not found."""
    require_named(session, room_id(room), account=account)
    found = postings_of(session, room_id(room), account, int(cursor) if cursor else None, limit + 1)
    page = found[:limit]
    following = str(page[-1][0]) if len(found) > limit else None
    if header := link_header(request, {"next": following}):
        response.headers["Link"] = header
    return PostingsOut.model_validate({"postings": [one for _, one in page]})
