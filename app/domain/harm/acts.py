"""What people do in the room that a fault may make dangerous."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.roomlog.kinds import Entry, Reading, Removal, Swap, SwapStarted, TopUp, Wash
from app.domain.roomlog.kinds.checklists import SwapOpened
from app.domain.roomlog.kinds.curing import Cure, Irradiance, Relamped
from app.domain.roomlog.kinds.inspections import InspectionClosed
from app.domain.roomlog.kinds.supplies import OrderPlaced, StockReceived
from app.domain.roomlog.kinds.waste import DrumClosed, DrumTransfer, PickupShipped, Pour


@dataclass(frozen=True)
class Task:
    """Something that is done.

    Attributes:
        letter: its place in the rows of the matrix.
        kinds: the entries that say it; none where a step of a swap says it.
        role: the role of that step.
    """

    key: str
    letter: str
    name: str
    kinds: tuple[type[Entry], ...] = ()
    role: str = ""


_ALL = (
    Task("wash", "W", "Wash", (Wash,)),
    Task("top_up", "T", "Top up", (TopUp,)),
    Task("swap_start", "S", "Start a swap", (SwapOpened, SwapStarted)),
    Task("swap_drum", "D", "Swap: choose the drum", role="drum"),
    Task("drain", "N", "Drain", (Removal,), "drain"),
    Task("rinse", "R", "Swap: rinse", role="rinse"),
    Task("inspect", "I", "Swap: inspection done", role="inspection"),
    Task("move", "M", "Swap: move the clean bath", role="move"),
    Task("fill", "F", "Fill", role="fill"),
    Task("swap_entered", "E", "Enter a swap at once", (Swap,)),
    Task("pour", "P", "Pour into a drum", (Pour,)),
    Task("transfer", "X", "Move into another drum", (DrumTransfer,)),
    Task("close_drum", "C", "Close a drum", (DrumClosed,)),
    Task("ship", "H", "Ship drums", (PickupShipped,)),
    Task("cure", "U", "Cure", (Cure,)),
    Task("relamp", "L", "Change the lamp", (Relamped,)),
    Task("receive", "V", "Receive a delivery", (StockReceived,)),
    Task("order", "O", "Order", (OrderPlaced,)),
    Task("measure", "K", "Read an instrument", (Reading, Irradiance)),
    Task("sign", "G", "Sign an inspection", (InspectionClosed,)),
    Task("restart", "B", "Swap: restart", role="restart"),
)
ACTS: Mapping[str, Task] = {act.key: act for act in _ALL}
LETTERS = "".join(act.letter for act in _ALL)
OF_KIND: Mapping[type[Entry], str] = {kind: act.key for act in _ALL for kind in act.kinds}
OF_ROLE: Mapping[str, str] = {
    **{act.role: act.key for act in _ALL if act.role}, "rinse_clean": "rinse",
}  # fmt: skip
QUALIFIED_BY: Mapping[str, tuple[str, ...]] = {
    "swap_start": ("swap",), "drain": ("swap", "drain"), "rinse": ("swap", "drain"),
    "move": ("swap",), "fill": ("swap",), "restart": ("swap",),
    "swap_entered": ("swap",),
    "transfer": ("drum",), "close_drum": ("drum",), "ship": ("drum",),
    "cure": ("cure",), "sign": ("inspection",),
}  # fmt: skip
"""The qualifications that cover an act, any of them; who signs second is asked for `second`."""
SECOND = "second"
