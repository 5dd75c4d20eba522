"""The kinds of entry a room log holds. A new kind is one dataclass in the module of its subject.

Units are in the field names: `_l` litres, `_g` grams, `_kg`, `_cm2`, `_c` Celsius, `_g_ml`;
`_percent` is mass percent unless the name says otherwise; `_cents` the smallest unit of the room's
currency, whatever its name: cents of EUR, yen of JPY, fils of KWD (domain/money.py).
"""

from collections.abc import Mapping

from app.domain.roomlog.kinds.base import Entry, LedgerEntry
from app.domain.roomlog.kinds.baths import (
    EXPLANATIONS,
    KINDS_OF_BATHS,
    REJECT_FINDINGS,
    REJECT_OUTCOMES,
    Calibration,
    ExplanationDismissed,
    Limits,
    Load,
    PlannedWash,
    Reading,
    Reject,
    Removal,
    Resin,
    SolidsRemoved,
    Swap,
    SwapAbandoned,
    SwapStarted,
    Tank,
    TankChange,
    TopUp,
    Wash,
    Withdrawal,
)
from app.domain.roomlog.kinds.builds import KINDS_OF_BUILDS
from app.domain.roomlog.kinds.checklists import KINDS_OF_CHECKLISTS, KINDS_OF_CONTENTS
from app.domain.roomlog.kinds.curing import KINDS_OF_CURING
from app.domain.roomlog.kinds.duties import KINDS_OF_DUTIES
from app.domain.roomlog.kinds.incidents import KINDS_OF_INCIDENTS
from app.domain.roomlog.kinds.inspections import KINDS_OF_INSPECTIONS
from app.domain.roomlog.kinds.instruments import KINDS_OF_INSTRUMENTS
from app.domain.roomlog.kinds.part_lots import KINDS_OF_PART_LOTS
from app.domain.roomlog.kinds.planning import KINDS_OF_PLANNING
from app.domain.roomlog.kinds.qualifications import KINDS_OF_QUALIFICATIONS
from app.domain.roomlog.kinds.shifts import KINDS_OF_SHIFTS
from app.domain.roomlog.kinds.site import KINDS_OF_SITE
from app.domain.roomlog.kinds.solvents import KINDS_OF_SOLVENTS
from app.domain.roomlog.kinds.spending import KINDS_OF_SPENDING
from app.domain.roomlog.kinds.supplies import KINDS_OF_SUPPLIES
from app.domain.roomlog.kinds.waste import KINDS_OF_WASTE

__all__ = (
    "EXPLANATIONS", "KINDS", "REJECT_FINDINGS", "REJECT_OUTCOMES", "Calibration", "Entry",
    "ExplanationDismissed", "LedgerEntry", "Limits", "Load", "PlannedWash", "Reading", "Reject",
    "Removal", "Resin", "SolidsRemoved", "Swap", "SwapAbandoned", "SwapStarted", "Tank",
    "TankChange", "TopUp", "Wash", "Withdrawal",
)  # fmt: skip

KINDS: Mapping[str, type[Entry]] = {
    kind.kind: kind
    for kind in (
        *KINDS_OF_BATHS,
        *KINDS_OF_BUILDS,
        *KINDS_OF_CHECKLISTS,
        *KINDS_OF_CONTENTS,
        *KINDS_OF_WASTE,
        *KINDS_OF_SUPPLIES,
        *KINDS_OF_PLANNING,
        *KINDS_OF_INCIDENTS,
        *KINDS_OF_DUTIES,
        *KINDS_OF_SITE,
        *KINDS_OF_QUALIFICATIONS,
        *KINDS_OF_SOLVENTS,
        *KINDS_OF_INSPECTIONS,
        *KINDS_OF_CURING,
        *KINDS_OF_INSTRUMENTS,
        *KINDS_OF_PART_LOTS,
        *KINDS_OF_SPENDING,
        *KINDS_OF_SHIFTS,
    )
}
"""All kinds by their word."""

BATH_KINDS = tuple(key for key, kind in KINDS.items() if kind.concerns_bath)
