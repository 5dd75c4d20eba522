"""A swap under way: which steps are done, by whom, when; what was overruled, noted, repeated."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from app.domain.checklists.litres import (
    ASKED,
    Balance,
    Found,
    Poured,
    found_of,
    poured,
    with_word,
)
from app.domain.checklists.roles import PAIR_ONLY, ROLES
from app.domain.checklists.template import Step, restored_steps
from app.domain.roomlog.kinds import Entry, Removal, Swap, SwapAbandoned, SwapStarted
from app.domain.roomlog.kinds.checklists import (
    SWAP,
    StepDone,
    StepNoted,
    StepOverruled,
    SwapClosed,
    SwapOpened,
    TankContents,
)
from app.domain.roomlog.kinds.waste import Pour
from app.domain.solvents.fit import SAME_PERCENT
from app.domain.things import Thing


@dataclass(frozen=True)
class Tick:
    """A step that is done.

    Attributes:
        wrote: ids of the entries that followed from it.
    """

    id: str
    step: str
    at: datetime
    by: str = ""
    note: str = ""
    answers: Mapping[str, Any] = field(default_factory=dict)
    wrote: tuple[str, ...] = ()


@dataclass(frozen=True)
class Attempts:
    """Ticks of a step that was done already: kept, and without effect."""

    step: str
    count: int
    last_by: str
    last_at: datetime


@dataclass(frozen=True)
class Overrule:
    """A lead's word against a gate; `about` names the lot that it is of, as `item|lot`, or the
    purity in mass percent."""

    id: str
    step: str
    gate: str
    reason: str
    by: str
    at: datetime
    about: str = ""


@dataclass(frozen=True)
class Note:
    """Something seen at a step."""

    id: str
    step: str
    text: str
    by: str
    at: datetime


@dataclass(frozen=True)
class SwapState:
    """A swap as its entries leave it.

    Attributes:
        from_tank: the clean bath whose liquid is moved here; None where fresh solvent is filled.
        steps: those of its version of the checklist that this swap has.
        ticks: of the steps that are done, in the order in which they were.
        end: empty while it is under way; `closed` by its list, `entered` at once as a swap,
            `abandoned`.
        close_id, wrote: the entry that closed it, and those that followed from it.
        pours: what it poured into drums; said: what was said to be in its tanks, and asked;
            filled: the tanks of which an entry says what its new bath is.
    """

    key: str
    tank: str = ""
    from_tank: str | None = None
    checklist: str = ""
    version: int = 0
    steps: tuple[Step, ...] = ()
    estimated_l: float = 0.0
    capacity_l: float = 0.0
    min_l: float | None = None
    solvent: str = ""
    from_estimated_l: float | None = None
    from_capacity_l: float | None = None
    from_min_l: float | None = None
    started_at: datetime | None = None
    started_by: str = ""
    ticks: tuple[Tick, ...] = ()
    attempts: tuple[Attempts, ...] = ()
    overrules: tuple[Overrule, ...] = ()
    notes: tuple[Note, ...] = ()
    end: str = ""
    ended_at: datetime | None = None
    ended_by: str = ""
    end_note: str = ""
    balance: Balance | None = None
    close_id: str = ""
    wrote: tuple[str, ...] = ()
    pours: tuple[Poured, ...] = ()
    said: tuple[Found, ...] = ()
    filled: tuple[str, ...] = ()

    @property
    def is_open(self) -> bool:
        """It is under way, with a checklist."""
        return not self.end and bool(self.steps)

    @property
    def asks(self) -> tuple[str, ...]:
        """The tanks of which nobody has said yet what is in them."""
        is_over = self.end not in ("", "abandoned")
        last = {one.tank: one for one in self.said}
        return () if is_over else tuple(tank for tank, one in last.items() if one.is_asked)

    @property
    def filled_tank(self) -> str:
        """The tank that gets the fresh solvent."""
        return self.from_tank or self.tank

    def step(self, key: str) -> Step | None:
        """The step of that key."""
        return next((step for step in self.steps if step.key == key), None)

    def with_role(self, role: str) -> tuple[Step, ...]:
        """The steps of a role."""
        return tuple(step for step in self.steps if step.role == role)

    def tick(self, key: str) -> Tick | None:
        """Who did a step and when; None while it is not done."""
        return next((tick for tick in self.ticks if tick.step == key), None)

    def attempts_at(self, key: str) -> Attempts | None:
        """Ticks of a step beyond the one that counts."""
        return next((one for one in self.attempts if one.step == key), None)

    def overrule(self, key: str, gate: str) -> Overrule | None:
        """A lead's word against a gate of a step."""
        found = (one for one in self.overrules if one.step == key and one.gate == gate)
        return next(found, None)

    def lot_word(self, key: str, lot: str) -> Overrule | None:
        """A lead's word for a lot, as `item|lot`, at a step: one for another lot is none."""
        words = (one for one in self.overrules if one.step == key and one.gate == "lot")
        return next((one for one in words if one.about in ("", lot)), None)

    def purity_word(self, key: str, percent: float) -> Overrule | None:
        """A lead's word for a purity in mass percent at a step: one for another grade is none."""
        words = (one for one in self.overrules if one.step == key and one.gate == "purity")
        return next((one for one in words if _is_of(one, percent)), None)

    def is_settled(self, step: Step) -> bool:
        """Done, or passed over by a lead."""
        return self.tick(step.key) is not None or self.overrule(step.key, "step") is not None

    @property
    def open_required(self) -> tuple[Step, ...]:
        """Required steps that are neither done nor passed over."""
        return tuple(s for s in self.steps if s.is_required and not self.is_settled(s))

    @property
    def next_step(self) -> Step | None:
        """The first step that is neither done nor passed over; None where none is left."""
        return next((step for step in self.steps if not self.is_settled(step)), None)

    def answer(self, role: str, name: str) -> Any:
        """What was answered at the step of a role; None where it was not."""
        ticks = (self.tick(step.key) for step in self.with_role(role))
        return next((t.answers[name] for t in ticks if t and name in t.answers), None)

    def amount_l(self, role: str, name: str) -> float:
        """Litres answered at all steps of a role together."""
        ticks = (self.tick(step.key) for step in self.with_role(role))
        found = (t.answers.get(name) for t in ticks if t is not None)
        return float(sum(value for value in found if isinstance(value, int | float)))


def said_percent(about: str) -> float | None:
    """The mass percent that a lead's word names; None where it names none.

    >>> said_percent("87.6 %"), said_percent("ipa|W1"), said_percent("nan")
    (87.6, None, None)
    """
    try:
        percent = float(about.removesuffix("%"))
    except ValueError:
        return None
    return percent if 0 < percent <= 100 else None


def _is_of(word: Overrule, percent: float) -> bool:
    """It is for solvent of that grade; older words name none and are for any."""
    said = said_percent(word.about)
    return not word.about or (said is not None and abs(said - percent) <= SAME_PERCENT)


def steps_for(steps: tuple[Step, ...], is_pair: bool) -> tuple[Step, ...]:
    """The steps of a checklist that a swap has: those at a clean bath only with a pair."""
    return tuple(step for step in steps if is_pair or step.role not in PAIR_ONLY)


def _opened(state: SwapState, entry: SwapOpened) -> SwapState:
    return replace(
        state, tank=entry.tank, checklist=entry.checklist, version=entry.version,
        steps=steps_for(restored_steps(entry.steps), entry.from_tank is not None),
        estimated_l=entry.estimated_l, capacity_l=entry.capacity_l, min_l=entry.min_l,
        solvent=entry.solvent, from_tank=entry.from_tank,
        from_estimated_l=entry.from_estimated_l, from_capacity_l=entry.from_capacity_l,
        from_min_l=entry.from_min_l, started_at=entry.at, started_by=entry.by,
    )  # fmt: skip


def _started(state: SwapState, entry: SwapStarted) -> SwapState:
    return state if state.tank else replace(state, tank=entry.tank, started_at=entry.at)


def _done(state: SwapState, entry: StepDone) -> SwapState:
    if entry.repeats is not None or state.tick(entry.step) is not None:
        return _attempted(state, entry)
    tick = Tick(
        entry.id, entry.step, entry.at, entry.by, entry.note, dict(entry.answers or {}),
        tuple(entry.wrote or ()),
    )  # fmt: skip
    return replace(state, ticks=(*_still(state, tick), tick))


def _still(state: SwapState, new: Tick) -> tuple[Tick, ...]:
    """The ticks that count beside a new one: what was confirmed of the drum or bath before it has
    to be done again."""
    step = state.step(new.step)
    again = {
        one.key
        for one in state.steps
        if step and one.role in ROLES and step.role in ROLES[one.role].again_after
    }
    return tuple(one for one in state.ticks if one.step not in again or one.at >= new.at)


def _attempted(state: SwapState, entry: StepDone) -> SwapState:
    known = state.attempts_at(entry.step)
    count = 1 + (known.count if known else 0)
    others = tuple(one for one in state.attempts if one.step != entry.step)
    attempt = Attempts(entry.step, count, entry.by, entry.at)
    return replace(state, attempts=(*others, attempt))


def _overruled(state: SwapState, entry: StepOverruled) -> SwapState:
    word = Overrule(entry.id, entry.step, entry.gate, entry.reason, entry.by, entry.at,
                    entry.about or "")  # fmt: skip
    return replace(state, overrules=(*state.overrules, word))


NOTES_KEPT = 200


def _noted(state: SwapState, entry: StepNoted) -> SwapState:
    note = Note(entry.id, entry.step, entry.text, entry.by, entry.at)
    return replace(state, notes=(*state.notes, note)[-NOTES_KEPT:])


def _entered(state: SwapState, entry: Swap) -> SwapState:
    state = replace(state, filled=(*state.filled, entry.tank))
    return state if state.end else _ended(state, entry, "entered")


def _abandoned(state: SwapState, entry: SwapAbandoned) -> SwapState:
    if entry.asks_contents:
        asked = Found(entry.tank, ASKED, entry.at, by=entry.by)
        state = replace(state, said=with_word(state.said, asked))
    return state if state.end not in ("", "entered") else _ended(state, entry, "abandoned")


def _poured(state: SwapState, entry: Pour) -> SwapState:
    return replace(state, pours=(*state.pours, poured(entry)))


def _said(state: SwapState, entry: TankContents | Removal) -> SwapState:
    return replace(state, said=with_word(state.said, found_of(entry)))


def _closed(state: SwapState, entry: SwapClosed) -> SwapState:
    balance = Balance(
        entry.estimated_l, entry.drained_l, entry.rinsed_l, entry.heel_l, entry.filled_l,
        entry.loss_l, entry.moved_l,
    )  # fmt: skip
    state = _ended(state, entry, "closed")
    return replace(
        state, tank=state.tank or entry.tank, balance=balance, close_id=entry.id,
        wrote=tuple(entry.wrote or ()),
    )  # fmt: skip


def _ended(state: SwapState, entry: Entry, end: str) -> SwapState:
    return replace(state, end=end, ended_at=entry.at, ended_by=entry.by, end_note=entry.note)


_STEPS: Mapping[str, Callable[[SwapState, Any], SwapState]] = {
    SwapOpened.kind: _opened,
    SwapStarted.kind: _started,
    StepDone.kind: _done,
    StepOverruled.kind: _overruled,
    StepNoted.kind: _noted,
    Swap.kind: _entered,
    SwapAbandoned.kind: _abandoned,
    SwapClosed.kind: _closed,
    Pour.kind: _poured,
    TankContents.kind: _said,
    Removal.kind: _said,
}


def after(state: SwapState, entry: Entry) -> SwapState:
    """The swap after an entry; pure and total."""
    take = _STEPS.get(entry.kind)
    return state if take is None else take(state, entry)


SWAP_BOOK = Thing(SWAP, SwapState, SwapState, after, lambda s: s.is_open or bool(s.asks), version=3)
