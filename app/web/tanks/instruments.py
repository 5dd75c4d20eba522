"""The room's instruments: what each reads too high or too low, its scatter, its slips."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.baths.estimator import Passport
from app.domain.baths.instrument_words import Z90, bias_sentence
from app.domain.instruments import INSTRUMENTS
from app.services.baths.instruments import passports
from app.services.duties.calibrations import standing
from app.store import queries
from app.web.deps import Visit, VisitDep
from app.web.meters.words import line_of

router = APIRouter(prefix="/rooms/{room}/instruments")


@dataclass(frozen=True)
class TankBias:
    """How an instrument of the room reads in one tank."""

    name: str
    href: str
    sentence: str


@dataclass(frozen=True)
class Shown:
    """An instrument as its page shows it; `scatter` and `seen` are 90 % half-widths."""

    name: str
    sentence: str
    scatter: float
    calibrated: float | None
    seen: float | None
    at_most: float | None
    passport: Passport
    tanks: list[TankBias]


@router.get("")
def instruments_page(visit: VisitDep) -> Response:
    """The instruments of the room, and what was learned of each way of measuring."""
    names = queries.tank_names(visit.session, visit.room_id)
    found = passports(visit.session, visit.room)
    known = [line_of(visit, one) for one in standing(visit.session, visit.room, visit.now)]
    return visit.page(
        "tanks/instruments.html",
        {"shown": [_shown(visit, one, names) for one in found], "known": known},
    )


def _shown(visit: Visit, passport: Passport, names: dict[str, str]) -> Shown:
    name = INSTRUMENTS[passport.channel].name
    if passport.tank:
        name += f" of {names.get(passport.tank, passport.tank)}"
    calibrated, seen = passport.calibrated_scatter_percent, passport.scatter_seen_percent
    at_most = passport.scatter_at_most_percent
    return Shown(
        name=name,
        sentence=bias_sentence(passport.bias, passport.off_since, visit.now, visit.zone),
        scatter=Z90 * passport.scatter_percent,
        calibrated=None if calibrated is None else Z90 * calibrated,
        seen=None if seen is None else Z90 * seen,
        at_most=None if at_most is None else Z90 * at_most,
        passport=passport,
        tanks=[
            TankBias(
                names.get(tank, tank), visit.address("tanks", tank),
                bias_sentence((mean, sd), None, visit.now, visit.zone),
            )
            for tank, mean, sd in passport.in_tanks
        ],
    )  # fmt: skip
