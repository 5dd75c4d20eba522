"""How much resin each bath of a room holds, and how sure that is.

One filter for a room, since its baths share their resins: `RoomFilter` takes the entries of the
room log one by one. Each bath is a small mixture of Gaussians (the readings are right, one was a
slip of the pen, washes were not logged) that hangs on what the baths share.
"""

from app.domain.baths.estimator.checkpoint import MAGIC as STATE_FORMAT
from app.domain.baths.estimator.dismissals import FLAG_OF
from app.domain.baths.estimator.facts import Limit, ResinFacts, TankFacts
from app.domain.baths.estimator.results import (
    UNREAD,
    BathBelief,
    CarryIn,
    Draws,
    Effect,
    Explanation,
    Passport,
    Sight,
)
from app.domain.baths.estimator.room import RoomFilter
from app.domain.baths.estimator.settings import Settings

__all__ = [
    "FLAG_OF",
    "STATE_FORMAT",
    "UNREAD",
    "BathBelief",
    "CarryIn",
    "Draws",
    "Effect",
    "Explanation",
    "Limit",
    "Passport",
    "ResinFacts",
    "RoomFilter",
    "Settings",
    "Sight",
    "TankFacts",
]
