"""The one door into the room log: whatever is stored passes it, in one transaction.

    look     at the room as it stands, under its lock: an act decides here what it enters
    fit      each value alone, then together, against the room's tanks, resins and time
    sign     whose word it is, and whether their role may say it, where people sign in (signatures);
             elsewhere that a lead's name stands under what a lead decides (leading)
    follow   what a report holds, the question what is in a tank held in its swap (following)
    refuse   every rule on the kind, or on what it replaces or takes back (refusals, standing)
    ask      questions with names (questions), unless named as answered; what else is odd is asked
             before, on the page, or by the act as it looks
    append   one row an entry; corrections and withdrawals are entries too
    fold     the driver brings up all that is worked out from the log (projections)
    to-do    open pages hear of it once the commit stands

`enter` is for all that is said. `bring_in` is its one exception: a log that is brought in begins
at fit and is asked nothing, since it tells what was, under rules that may have been others. An
import of many entries comes in slices, and is folded when all of it is in (catching_up).
"""

import json
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import Session, select

from app.domain.errors import Conflict, Doubt, Doubtful, FieldError, FieldErrors
from app.domain.roomlog.checks import RoomContext
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.lines import own_fields
from app.services import archiving, questions, refusals
from app.services.appending import append
from app.services.backlog import define, wait_behind
from app.services.books import link, refresh_books
from app.services.caching import SUPPOSED
from app.services.changes import Progress, changes_of
from app.services.entries import Place
from app.services.fitting import fitting
from app.services.following import followed
from app.services.leading import led
from app.services.meters.book import chosen
from app.services.projections import project
from app.services.rooms import find_room
from app.services.signatures import signed
from app.services.transaction import once, write
from app.store.engine import Store
from app.store.instants import to_us
from app.store.sessions import reading
from app.store.tables import PersonRow, RoomRow, SubmissionRow

STANDS = "withdraws"
"""The field of a refusal to replace or take back what stands."""

Decide = Callable[[Session, RoomRow], Sequence[Entry]]


@dataclass(frozen=True)
class Recorded:
    """What a submission stored.

    Attributes:
        ids: the stored entries, in the order given.
        skipped: how many were there already, by their id.
        is_replayed: the submission was a retry; nothing was stored a second time.
    """

    ids: tuple[str, ...]
    skipped: int = 0
    is_replayed: bool = False


@dataclass(frozen=True)
class Act:
    """Entries that are decided on the room as it stands, which nobody changes meanwhile.

    Attributes:
        decide: what is entered; raises what forbids it, or what is to be asked first.
        sent: what was sent: a retry with the same key and content gives the first answer, and
            nothing is decided anew.
        settles: names of rules that `decide` has asked in its own way; no others are passed over.
    """

    decide: Decide
    sent: Mapping[str, Any]
    settles: frozenset[str] = frozenset()


def enter(
    store: Store,
    room: str,
    said: Sequence[Entry] | Act,
    now: datetime,
    submission: str | None = None,
    by: str | None = None,
    *,
    confirmed: Collection[str] = (),
) -> Recorded:
    """Store what is said, all or nothing: entries, corrections, withdrawals, or an act.

    Each is held against the room as those before it left it. An entry whose id is stored already is
    skipped; one with `corrects` replaces another; a `Withdrawal` takes one back. Late entries give
    what the right order would have given. `by` is who does this; where it is left out, whom each
    entry names. `confirmed` are the names of the questions that were asked before and answered.

    Raises:
        FieldErrors: one does not fit, or a rule refuses it; of several its place is named.
        NotAllowed: the role of who is signed in may not say this.
        Doubtful: something is asked (services/questions) that is not confirmed; nothing is stored.
        Conflict: it replaces or takes back what stands, or what was replaced before; or the
            submission key was used for other content.
        NotFound: there is no such room, or no entry to replace.
    """
    act = said if isinstance(said, Act) else _plain(said, now)

    def do(entering: "_Entering") -> Answer:
        entering.settled, entering.confirmed = act.settles, frozenset(confirmed)
        return entering.carry_out(act.decide(entering.session, entering.room), by)

    return _through(store, room, act.sent, now, submission, do)


def begin(
    session: Session, store: Store, room: RoomRow, entries: Sequence[Entry], now: datetime
) -> None:
    """Enter what a room begins with, in the transaction that sets it up.

    Raises:
        FieldErrors: one does not fit, or a rule refuses it.
        Doubtful: something is asked that a form of one entry would ask.
    """
    _Entering(session, store, room, now).carry_out(entries, None)


def bring_in(
    store: Store,
    room: str,
    entries: Sequence[Entry],
    now: datetime,
    submission: str | None = None,
    progress: Progress | None = None,
) -> Recorded:
    """Store a log that tells what was: each entry must fit the room, and is refused by no rule.

    Raises:
        FieldErrors, Conflict, NotFound: as `enter`.
    """
    content = {"entries": [[*_header(entry, now), own_fields(entry)] for entry in entries]}

    def do(entering: "_Entering") -> Answer:
        entering.progress = progress
        return entering.take_down(entries)

    return _through(store, room, content, now, submission, do)


def bring_in_slice(
    session: Session, store: Store, room: RoomRow, entries: Sequence[Entry],
    known: RoomContext, now: datetime,
) -> list[Entry]:  # fmt: skip
    """Append some entries of an import within a write of its own (importing/storing).

    Given back are those that were not there yet. `known` is what the import defines.

    Raises:
        FieldErrors, Conflict, NotFound: as `bring_in`.
    """
    return _Entering(session, store, room, now).take_slice(entries, known)


def recorded_before(store: Store, room: str, submission: str) -> Recorded | None:
    """What a submission stored, where it was carried out before."""
    with reading(store) as session:
        seen = session.get(SubmissionRow, f"{room}/{submission}")
        if seen is None:
            return None
        answer = json.loads(seen.answer)
    return Recorded(tuple(answer["ids"]), answer["skipped"], is_replayed=True)


def is_recorded(store: Store, room: str, submission: str) -> bool:
    """Whether a submission was carried out."""
    return recorded_before(store, room, submission) is not None


def said(entry: Entry, now: datetime) -> list[Any]:
    """What was said in an entry, whoever gives it its id; a time that is just now was not said."""
    at = "now" if entry.at == now else entry.at.isoformat()
    return [entry.kind, at, entry.by, entry.note, own_fields(entry)]


Answer = dict[str, Any]


def _plain(entries: Sequence[Entry], now: datetime) -> Act:
    content = [[*said(entry, now), entry.id, entry.corrects] for entry in entries]
    return Act(lambda _, __: entries, {"entries": content})


def _header(entry: Entry, now: datetime) -> list[Any]:
    at = "now" if entry.at == now else entry.at.isoformat()
    return [entry.kind, entry.id, at, entry.by, entry.note, entry.corrects]


def _through(
    store: Store, room: str, content: Mapping[str, Any], now: datetime, submission: str | None,
    do: Callable[["_Entering"], Answer],
) -> Recorded:  # fmt: skip
    """One transaction on the locked room, and a retry that counts once."""
    with write(store, room) as session:
        # Other writers of the room wait here; SQLite holds the whole database already.
        query = select(RoomRow).where(RoomRow.id == find_room(session, room).id)
        entering = _Entering(session, store, session.exec(query.with_for_update()).one(), now)
        key = submission and f"{room}/{submission}"
        answer = once(session, key, {"room": room, **content}, now, lambda: do(entering))
    return Recorded(tuple(answer["ids"]), answer["skipped"], bool(answer.get("is_replayed")))


@dataclass
class _Entering:
    """Entries on their way through the door.

    Attributes:
        waiting: those that passed the rules and are not appended yet.
        moved: the things whose books they stand in.
        places: where the estimate of a bath may change.
    """

    session: Session
    store: Store
    room: RoomRow
    now: datetime
    settled: frozenset[str] = frozenset()
    confirmed: frozenset[str] = frozenset()
    progress: Progress | None = None
    waiting: list[Entry] = field(default_factory=list)
    moved: set[tuple[str, str]] = field(default_factory=set)
    places: list[Place] = field(default_factory=list)

    @property
    def room_id(self) -> int:
        assert self.room.id is not None
        return self.room.id

    def carry_out(self, entries: Sequence[Entry], by: str | None) -> Answer:
        """Fit, refuse, append and fold what is said, each after those before it."""
        archiving.require_in_use(self.session, self.room, entries)
        entries = [chosen(self.session, self.room_id, entry) for entry in entries]
        entries, by = signed(self.session, self.room_id, entries, by)
        entries = led(self.session, self.room_id, entries, by, self.now)
        given = fitting(self.session, self.room_id, entries, self.now)
        fresh = followed(self.session, self.room_id, given, self.now)
        gone = frozenset(one.withdraws for _, one in fresh if isinstance(one, Withdrawal))
        asked: list[Doubt] = []
        for place, entry in fresh:
            if self._is_behind(entry) or refusals.depends_on(entry, self.moved):
                self._append()
                refresh_books(self.session, self.room_id, self._taken())
                self.session.info[SUPPOSED] = True  # nothing of it stands before the commit
            who = entry.by if by is None else by
            found = refusals.refused(self.session, self.room, entry, who, self.now, gone)
            _refuse([one for one in found if one.rule not in self.settled], place)
            odd = questions.doubts(self.session, self.room, [entry], self.now, self.waiting)
            asked += [one for one in odd if one.name not in self.confirmed]
            self._wait(entry)
        if asked:
            raise Doubtful(questions.once_each(asked))
        answer = self._finish([entry for _, entry in fresh], len(entries))
        said = {entry.id for _, entry in given}
        ids = [uid for uid in answer["ids"] if uid in said]
        return {"ids": ids, "skipped": len(entries) - len(given)}

    def take_down(self, entries: Sequence[Entry]) -> Answer:
        """Fit, append and fold what tells what was."""
        self.waiting = [
            entry for _, entry in fitting(self.session, self.room_id, entries, self.now)
        ]
        return self._finish(list(self.waiting), len(entries))

    def take_slice(self, entries: Sequence[Entry], known: RoomContext) -> list[Entry]:
        """Fit and append some of an import; estimates, books and costs follow when all is in."""
        self.waiting = fresh = [
            entry for _, entry in fitting(self.session, self.room_id, entries, self.now, known)
        ]
        self._append()
        self.room.version += 1
        self.room.last_recorded_us = to_us(self.now)
        wait_behind(self.session, self.room_id, min(self.places, default=None), ())
        define(self.session, self.room_id, fresh)
        link(self.session, self.room_id, changes_of(self.session, self.room_id, fresh))
        self._remember_people(fresh)
        return fresh

    def _is_behind(self, entry: Entry) -> bool:
        """What waits is to be appended first, since it may be what this replaces or takes back."""
        if isinstance(entry, Withdrawal):
            return any(one.id == entry.withdraws for one in self.waiting)
        return bool(self.waiting and entry.corrects)

    def _wait(self, entry: Entry) -> None:
        self.waiting.append(entry)
        self.moved.update(entry.things())
        if isinstance(entry, Withdrawal) or entry.corrects:
            self.moved.add(refusals.SOMETHING)

    def _append(self) -> None:
        place = append(self.session, self.room, self.waiting, self.now, self.progress)
        self.places += [] if place is None else [place]

    def _taken(self) -> list[Entry]:
        taken, self.waiting, self.moved = self.waiting, [], set()
        return taken

    def _finish(self, fresh: Sequence[Entry], given: int) -> Answer:
        """Append the rest, and fold all."""
        session, room, now = self.session, self.room, self.now
        if fresh:
            self._append()
            room.version += 1
            room.last_recorded_us = to_us(now)
            project(session, self.store, room, fresh, self._taken(), now, self.progress)
            self._remember_people(fresh)
        return {"ids": [entry.id for entry in fresh], "skipped": given - len(fresh)}

    def _remember_people(self, entries: Sequence[Entry]) -> None:
        for name in {entry.by for entry in entries if entry.by}:
            row = PersonRow(room_id=self.room_id, name=name, last_at_us=to_us(self.now))
            self.session.merge(row)


def _refuse(found: Sequence[FieldError], place: int) -> None:
    """What stands is a conflict; what does not fit is said beside its field."""
    if any(one.field == STANDS for one in found):
        raise Conflict(" ".join(one.message for one in found))
    if found:
        raise FieldErrors(list(found), place)
