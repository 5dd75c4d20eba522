"""The currency that a room counts in, on its row: as the price lists of its log name it."""

from sqlmodel import Session

from app.domain.roomlog.kinds.spending import PRICES, PriceList
from app.domain.spend.price_book import PRICES_BOOK, PricesState
from app.domain.things import fold
from app.services.entries import counting_of_kind
from app.store.tables import RoomRow


def name_currency(session: Session, room: RoomRow) -> None:
    """Bring the room's currency up to its log, in the transaction that changes it.

    At once, whatever else is worked out later: what is typed meanwhile is read by it.
    """
    assert room.id is not None
    lists = counting_of_kind(session, room.id, PriceList.kind)
    prices: PricesState = fold(PRICES_BOOK, PRICES, lists)
    if room.currency != prices.currency:
        room.currency = prices.currency
