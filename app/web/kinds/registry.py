"""The kinds whose forms do something in their own way. A kind that is not here needs no line."""

from collections.abc import Mapping

from app.domain.roomlog.kinds import Entry, PlannedWash, Reading, Reject, Swap, TopUp, Wash
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.curing import LampHours, Relamped
from app.domain.roomlog.kinds.part_lots import PartLot, PartLotRejected, PartLotReleased
from app.domain.roomlog.kinds.supplies import StockEntry, StockOpened, StockReceived
from app.web.curing import lamp_forms
from app.web.kinds.different import Different
from app.web.logbook import tasks
from app.web.part_lots import forms as part_lots
from app.web.supplies import movements
from app.web.tanks import build_form, purity

DIFFERENT: Mapping[type[Entry], Different] = {
    TankBuild: build_form.BUILD,
    Wash: tasks.WASH,
    PlannedWash: tasks.PLAN,
    Reading: tasks.READING,
    TopUp: tasks.TOP_UP,
    Reject: tasks.REJECT,
    Swap: purity.SWAP,
    LampHours: lamp_forms.HOURS,
    Relamped: lamp_forms.RELAMP,
    PartLot: part_lots.ENTER,
    PartLotReleased: part_lots.RELEASE,
    PartLotRejected: part_lots.REJECT,
    StockEntry: movements.MOVE,
    StockReceived: movements.RECEIVE,
    StockOpened: movements.OPEN,
}


def different(kind: type[Entry]) -> Different:
    """How the form of a kind, or of what it is a kind of, differs."""
    return next((DIFFERENT[each] for each in kind.__mro__ if each in DIFFERENT), Different())
