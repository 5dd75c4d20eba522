"""Who may do which act on a day, as the entries of the room leave it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.qualifications import (
    ACTS_QUALIFIED,
    QUALIFICATIONS,
    QualificationEnded,
    Qualified,
)
from app.domain.things import Thing

TOLD_DAYS = 30
"""Days before its end that the due list names a qualification: common practice, no source."""
WORDS_KEPT = 12  # of a person and act, the latest


@dataclass(frozen=True)
class Word:
    """What was said of a person and an act.

    Attributes:
        until_on: the last day it counts; None where the person is not for the act.
        lead: whose word it is.
        trained_on, supervised_times: what it rests on.
    """

    person: str
    act: str
    at: datetime
    until_on: date | None
    lead: str = ""
    trained_on: date | None = None
    supervised_times: int | None = None

    def counts_on(self, day: date) -> bool:
        """The person may do the act on a day."""
        return self.until_on is not None and day <= self.until_on

    @property
    def is_ended(self) -> bool:
        """A lead took the person off."""
        return self.until_on is None


@dataclass(frozen=True)
class QualificationState:
    """All that was said, oldest first."""

    words: tuple[Word, ...] = ()

    def is_asked(self, acts: Iterable[str], at: datetime) -> bool:
        """Somebody was qualified for one of these acts by then: from then on it is asked."""
        wanted = tuple(acts)
        return any(
            one.act in wanted and one.until_on is not None and one.at <= at for one in self.words
        )

    def word(self, person: str, act: str, at: datetime | None = None) -> Word | None:
        """The last word on a person and an act, as it stood at an instant; None without any."""
        name = _folded(person)
        said = (
            one
            for one in reversed(self.words)
            if one.act == act and _folded(one.person) == name and (at is None or one.at <= at)
        )
        return next(said, None)

    def standing(self, person: str, acts: Iterable[str], at: datetime, day: date) -> str:
        """Whether somebody may do what any of these acts covers.

        Returns:
            `may`; `ended` where a lead took the person off and nothing else covers it; `not_yet`
            where acts are asked about and nothing covers it; empty where nothing is asked.
        """
        wanted = tuple(acts)
        said = [one for act in wanted if (one := self.word(person, act, at)) is not None]
        if any(one.counts_on(day) for one in said):
            return "may"
        if any(one.is_ended for one in said):
            return "ended"
        return "not_yet" if self.is_asked(wanted, at) else ""

    def until(self, people: Iterable[str], act: str) -> dict[str, date]:
        """Who may do an act, each with their last day."""
        found = ((name, self.word(name, act)) for name in people)
        return {name: one.until_on for name, one in found if one is not None and one.until_on}

    def running(self, people: Iterable[str]) -> list[Word]:
        """The last words that name a last day, of these people, in the order of the acts."""
        said = (self.word(name, act) for name in people for act in ACTS_QUALIFIED)
        return [one for one in said if one is not None and one.until_on is not None]


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()


def _after(state: QualificationState, entry: Entry) -> QualificationState:
    if isinstance(entry, Qualified):
        word = Word(
            entry.person, entry.act, entry.at, entry.until_on, entry.lead, entry.trained_on,
            entry.supervised_times,
        )  # fmt: skip
    elif isinstance(entry, QualificationEnded):
        word = Word(entry.person, entry.act, entry.at, None, entry.lead)
    else:
        return state
    same = [one for one in state.words if _is_same(one, word)]
    gone = same[: max(0, len(same) + 1 - WORDS_KEPT)]
    kept = tuple(one for one in state.words if one not in gone)
    return replace(state, words=(*kept, word))


def _is_same(one: Word, other: Word) -> bool:
    return (one.act, _folded(one.person)) == (other.act, _folded(other.person))


QUALIFICATION_BOOK = Thing(
    QUALIFICATIONS, QualificationState, lambda _: QualificationState(), _after
)
