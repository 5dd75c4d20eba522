"""Swaps ahead: the days proposed and set, what each swap has and lacks, what to order and book."""

from datetime import date, timedelta
from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from app.api.deps import MinuteRoomDep
from app.api.paging import read_digits
from app.api.requests import StrictRoute
from app.domain.planning.lines import State, Subject
from app.domain.planning.scheduling import MOST_WEEKS, WEEKS
from app.incoming import NowDep, SessionDep
from app.services.planning.proposal import ahead

router = APIRouter(prefix="/v1/rooms/{room}/plan", tags=["swaps"], route_class=StrictRoute)


class _Out(BaseModel):
    model_config = ConfigDict(from_attributes=True)


class ProposalOut(_Out):
    """A swap and its day."""

    tank: str
    day: date | None = Field(description="Null if no working day is left for it.")
    round: int = Field(description="0: the current bath; later ones are rough.")
    early_on: date | None
    due_on: date | None
    is_pinned: bool
    chance: float = Field(description="Chance that the bath is past its limit by then, 0 to 1.")
    share: float = Field(description="Chance that it falls into these weeks; 1 for a next swap.")
    waits_for: str = Field(description="What keeps it from an earlier day: solvent, drum, or none.")
    waits_until: date | None
    warnings: list[str] = Field(
        description="late (not before its early day), over_capacity, not_working, with_pair"
    )


class LineOut(_Out):
    """One thing a swap needs: litres, kilograms of the month, or pieces."""

    subject: Subject
    state: State
    key: str = Field(description="The solvent, stream or item.")
    needed: float
    there: float
    missing: float
    ready_on: date | None
    act_by_on: date | None = Field(description="The last day on which to order or to book.")
    earliest_on: date | None = Field(description="When it comes if ordered today.")
    buy: list[tuple[float, int]] = Field(description="Container size in L and number.")
    text: str


class ReadinessOut(_Out):
    """What the next swap of a tank has and lacks."""

    tank: str
    by_on: date | None = Field(description="The day everything has to be there.")
    state: str = Field(description="The worst state of its lines.")
    lines: list[LineOut]


class LaterOut(ReadinessOut):
    """What a swap after the next one of its tank has and lacks, counted by its chance."""

    round: int
    share: float


class ClosedOut(_Out):
    """A day on which the site is closed."""

    day: date
    why: str


class OrderOut(_Out):
    """Solvent to order."""

    solvent: str
    missing_l: float
    total_l: float
    buy: list[tuple[float, int]]
    by_on: date
    needed_on: date
    earliest_on: date
    fits_l: float | None = Field(
        description="What the fire area has room for when it comes, if that is less."
    )
    tanks: list[str]


class WindowOut(_Out):
    """Why a stream needs a pickup, and by when."""

    stream: str
    last: date
    cause: Literal["space", "clock", "on_site"] = Field(
        description="No room for a pour, the clock of a drum, or more on site than allowed."
    )
    drum: str
    missing_l: float


class PickupOut(_Out):
    """A waste pickup to book."""

    day: date
    needed_on: date
    book_by_on: date
    is_late: bool
    tanks: list[str]
    windows: list[WindowOut]


class PlanOut(_Out):
    """The swaps ahead of a room."""

    today: date
    is_cheapest: bool = Field(description="Proven: no other days cost less.")
    proposals: list[ProposalOut]
    swaps: list[ReadinessOut] = Field(description="In the queue's order.")
    later: list[LaterOut] = Field(description="Swaps after the next ones, by their days.")
    closed: list[ClosedOut] = Field(description="Closed days within the weeks looked at.")
    orders: list[OrderOut]
    later_orders: list[OrderOut] = Field(description="For later swaps alone: rough.")
    pickups: list[PickupOut]


class PlanQuery(BaseModel):
    """How far to look."""

    model_config = ConfigDict(extra="forbid")

    weeks: Annotated[int, BeforeValidator(read_digits)] = Field(default=WEEKS, ge=1, le=MOST_WEEKS)


@router.get("")
def read_plan(
    session: SessionDep, room: MinuteRoomDep, now: NowDep, asked: Annotated[PlanQuery, Query()]
) -> PlanOut:
    """The swaps of the weeks to come with everything they need."""
    found = ahead(session, room, now, asked.weeks)
    swaps = [
        ReadinessOut(
            tank=one.swap.tank, by_on=one.by_on, state=one.state,
            lines=[LineOut.model_validate(line) for line in one.lines],
        )
        for one in found.swaps
    ]  # fmt: skip
    return PlanOut(
        today=found.today,
        is_cheapest=found.schedule.is_cheapest,
        proposals=[ProposalOut.model_validate(one) for one in found.schedule.proposals],
        swaps=swaps,
        later=[
            LaterOut(
                tank=one.swap.tank,
                by_on=one.by_on,
                state=one.state,
                round=one.swap.round,
                share=one.swap.share,
                lines=[LineOut.model_validate(line) for line in one.lines],
            )
            for one in found.later
        ],
        closed=[
            ClosedOut(day=day, why=found.workdays.why_not(day))
            for day in sorted(found.workdays.closed)
            if found.today <= day < found.today + timedelta(weeks=asked.weeks)
        ],
        later_orders=[OrderOut.model_validate(one) for one in found.later_orders],
        orders=[OrderOut.model_validate(one) for one in found.orders],
        pickups=[PickupOut.model_validate(one) for one in found.pickups],
    )
