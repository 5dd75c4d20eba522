"""Who may do what on a day: last words, ends, what covers what; common practice, no source."""

from datetime import date, datetime, timedelta

from app.domain.people.qualifications import (
    QUALIFICATION_BOOK,
    WORDS_KEPT,
    QualificationState,
)
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.qualifications import QualificationEnded, Qualified
from app.domain.things import fold
from tests.factories import NOW, START

TODAY = NOW.date()


def qualified(
    person: str = "Wren", act: str = "swap", at: datetime = START, days: int = 60
) -> Qualified:
    return Qualified(
        at=at, qualifications="qualifications", person=person, act=act, lead="Curlew",
        until_on=TODAY + timedelta(days=days), trained_on=at.date(),
    )  # fmt: skip


def ended(person: str = "Wren", act: str = "swap", at: datetime = NOW) -> QualificationEnded:
    return QualificationEnded(
        at=at, qualifications="qualifications", person=person, act=act, lead="Curlew"
    )


def state(*entries: Entry) -> QualificationState:
    found: QualificationState = fold(QUALIFICATION_BOOK, "qualifications", entries)
    return found


def test_a_room_that_never_qualified_anybody_asks_nothing() -> None:
    assert state().standing("Wren", ("swap",), NOW, TODAY) == ""
    other = state(qualified(act="cure"))
    assert other.standing("Finch", ("swap",), NOW, TODAY) == ""  # only cures are asked about
    assert other.standing("Finch", ("cure",), NOW, TODAY) == "not_yet"


def test_the_last_day_counts_and_the_day_after_does_not() -> None:
    said = state(qualified(days=3))
    assert said.standing("Wren", ("swap",), NOW, TODAY + timedelta(days=3)) == "may"
    assert said.standing("Wren", ("swap",), NOW, TODAY + timedelta(days=4)) == "not_yet"


def test_any_of_the_acts_covers_it_and_a_name_is_not_its_capitals() -> None:
    said = state(qualified(act="drain"), qualified("Finch"))
    assert said.standing(" wren", ("swap", "drain"), NOW, TODAY) == "may"
    assert said.standing("Wren", ("swap",), NOW, TODAY) == "not_yet"


def test_what_was_ended_stays_ended_until_it_is_given_again() -> None:
    later = NOW + timedelta(hours=1)
    said = state(qualified(), ended(), qualified(at=later))
    assert said.standing("Wren", ("swap",), NOW, TODAY) == "ended"
    assert said.standing("Wren", ("swap",), NOW - timedelta(hours=1), TODAY) == "may"  # as it was
    assert said.standing("Wren", ("swap",), later, TODAY) == "may"
    alone = state(ended("Finch"))
    assert alone.standing("Finch", ("swap",), NOW, TODAY) == "ended"
    assert alone.standing("Wren", ("swap",), NOW, TODAY) == ""  # nobody else is asked


def test_who_runs_out_is_told_and_who_is_off_is_not() -> None:
    said = state(qualified(), qualified("Finch", days=5), ended())
    assert [(one.person, one.until_on) for one in said.running(["Wren", "Finch"])] == [
        ("Finch", TODAY + timedelta(days=5))
    ]
    assert said.until(["Wren", "Finch", "Dunlin"], "swap") == {"Finch": TODAY + timedelta(days=5)}


def test_many_renewals_leave_the_latest_words() -> None:
    words = [qualified(at=START + timedelta(minutes=n), days=n) for n in range(30)]
    said = state(qualified("Finch"), *words)
    assert said.word("Wren", "swap").until_on == TODAY + timedelta(days=29)  # type: ignore[union-attr]
    assert said.word("Finch", "swap") is not None
    assert len(said.words) < len(words)


def test_it_rests_on_something_and_ends_on_a_day_to_come() -> None:
    def wrong(**more: object) -> list[str]:
        usual: dict[str, object] = {"trained_on": START.date(), "until_on": TODAY}
        said = Qualified(at=NOW, qualifications="qualifications", person="Wren", act="swap",
                         lead="Curlew", **{**usual, **more})  # type: ignore[arg-type]  # fmt: skip
        return [one.field for one in said.problems()]

    assert wrong() == []
    assert wrong(trained_on=None) == ["trained_on"]
    assert wrong(trained_on=None, supervised_times=3) == []
    assert wrong(trained_on=TODAY + timedelta(days=9)) == ["trained_on"]
    assert wrong(until_on=date(2020, 1, 1)) == ["until_on"]
    assert wrong(until_on=TODAY + timedelta(days=2000)) == ["until_on"]


def test_why_somebody_is_off_cannot_be_entered() -> None:
    said = QualificationEnded(at=NOW, qualifications="qualifications", person="Wren", act="swap",
                              lead="Curlew", note="Rash")  # fmt: skip
    assert [one.field for one in said.problems()] == ["note"]
    assert "reason" not in QualificationEnded.specs()


def test_it_is_asked_from_the_instant_on_at_which_somebody_was_first_qualified() -> None:
    said = state(qualified(at=NOW))
    assert said.is_asked(("swap",), NOW)
    assert not said.is_asked(("swap",), NOW - timedelta(microseconds=1))


def test_a_word_keeps_who_said_so_and_what_it_rests_on() -> None:
    entry = Qualified(
        at=START, qualifications="qualifications", person="Wren", act="swap", lead="Curlew",
        until_on=TODAY, trained_on=START.date(), supervised_times=3,
    )  # fmt: skip
    word = state(entry).word("wren", "swap")
    assert word is not None
    assert (word.lead, word.trained_on, word.supervised_times) == ("Curlew", START.date(), 3)
    off = state(entry, ended()).word("Wren", "swap")
    assert off is not None
    assert (off.lead, off.is_ended) == ("Curlew", True)


def test_of_a_person_and_an_act_the_last_words_are_kept() -> None:
    many = [qualified(at=START + timedelta(minutes=n)) for n in range(WORDS_KEPT + 3)]
    other = qualified("Finch", at=START)
    said = state(other, *many)
    assert [one.at for one in said.words if one.person == "Wren"] == [
        one.at for one in many[-WORDS_KEPT:]
    ]
    assert said.word("Finch", "swap") is not None
    exactly = state(*many[:WORDS_KEPT])
    assert len(exactly.words) == WORDS_KEPT


def test_a_name_with_other_spaces_is_the_same_and_joined_words_are_not() -> None:
    said = state(qualified("Wren  Hill"))
    assert said.standing("wren hill ", ("swap",), NOW, TODAY) == "may"
    assert said.standing("WrenHill", ("swap",), NOW, TODAY) == "not_yet"
