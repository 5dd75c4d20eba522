"""The settings of a site and its people, as their entries leave them."""

from datetime import UTC, date, datetime, timedelta

import pytest

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.site import (
    ARCHIVE,
    CREW,
    CrewMember,
    RoomArchived,
    RoomRestored,
    SiteRules,
)
from app.domain.site import (
    ARCHIVE_BOOK,
    CREW_BOOK,
    SITE_BOOK,
    ArchiveState,
    CrewState,
    Person,
    SiteState,
    calls,
)
from app.domain.things import fold, registry
from app.domain.workdays import WorkCalendar

AT = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


def test_what_an_entry_leaves_out_stays_as_it_was() -> None:
    entries = [
        SiteRules(at=AT, site="site", pickup_lead_days=21, flammable_limit_l=450.0),
        SiteRules(at=AT + timedelta(days=1), site="site", pickup_lead_days=10),
    ]
    state = fold(SITE_BOOK, "site", entries)
    assert (state.pickup_lead_days, state.flammable_limit_l) == (10, 450.0)
    assert state.solvent_lead_days == SiteState().solvent_lead_days


def test_a_setting_taken_back_is_the_default_again() -> None:
    entries = [
        SiteRules(at=AT, site="site", flammable_limit_l=450.0, pickup_lead_days=3),
        SiteRules(at=AT, site="site", unset="flammable_limit_l, pickup_lead_days, nonsense"),
    ]
    assert fold(SITE_BOOK, "site", entries) == SiteState()


def test_working_days_count_from_monday() -> None:
    state = SiteState(working_days="1,2,6")
    week = [date(2026, 3, 2) + timedelta(days=i) for i in range(7)]
    workdays = WorkCalendar(state.weekdays)
    assert [workdays.is_working(day) for day in week] == [
        True,
        True,
        False,
        False,
        False,
        True,
        False,
    ]


def test_working_days_that_are_none_are_refused() -> None:
    for text in ("0,1", "1,1", "1,8", "Monday", ""):
        assert SiteRules(at=AT, site="site", working_days=text).problems(), text
    assert not SiteRules(at=AT, site="site", working_days="1, 3,5").problems()


def test_only_leads_who_are_here_may_overrule() -> None:
    people = [("Curlew", "lead", None), ("Wren", "technician", None), ("Rail", "lead", True)]
    entries = [
        CrewMember(at=AT, crew="crew", name=name, role=role, has_left=gone)
        for name, role, gone in people
    ]
    crew = fold(CREW_BOOK, "crew", entries)
    assert isinstance(crew, CrewState)
    assert crew.leads == ("Curlew",)


def test_two_things_of_one_word_are_refused() -> None:
    with pytest.raises(ValueError, match="site"):
        registry([SITE_BOOK, SITE_BOOK])


@pytest.mark.parametrize(
    "text, dialled",
    [
        ("112", ["112"]),
        ("Call 112 at once", ["112"]),
        ("112/110", ["112", "110"]),
        ("000/112", ["000", "112"]),
        ("Fire 18, ambulance 15", ["18", "15"]),
        ("089/1234567 or 112", ["0891234567", "112"]),
        ("0123 / 456", ["0123456"]),
        ("+44 (0)1632 960 999", ["+441632960999"]),
        ("(0)1632 960 999", ["01632960999"]),
        ("9-911 ext 22 or 112", ["9911", "112"]),
        ("24 h: 112", ["112"]),
        ("24/7: 112", ["112"]),
        ("112 (24 hours)", ["112"]),
        ("radio 4 or 112", ["112"]),
        ("999, floor 3, room 12", ["999"]),
        ("ext. 4711", []),
        ("1-800-FLOWERS or 112", ["112"]),
        ("Press 0", []),
        ("Ask the guard", []),
        ("", []),
    ],
)
def test_only_what_is_a_number_is_dialled_and_nothing_is_lost(
    text: str, dialled: list[str]
) -> None:
    """A wrong link costs minutes. Which numbers there are differs by country (from memory: 112 and
    110, 999, 911, 18 and 15)."""
    pieces = calls(text)
    assert "".join(shown for shown, _ in pieces) == text
    assert [number for _, number in pieces if number] == dialled


AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def test_a_person_who_is_entered_again_keeps_the_place_with_the_new_role() -> None:
    def person(name: str, role: str, **more: bool) -> Entry:
        return CrewMember(at=AT, crew=CREW, name=name, role=role, **more)

    state = fold(CREW_BOOK, CREW, [
        person("Wren", "technician"), person("Lee", "lead"), person("Kim", "technician"),
        person("Lee", "lead", has_left=True), person("Wren", "lead"),
    ])  # fmt: skip
    assert state == CrewState((
        Person("Wren", "lead", False), Person("Lee", "lead", True),
        Person("Kim", "technician", False),
    ))  # fmt: skip


def test_a_room_is_out_of_use_by_the_last_word_on_it() -> None:
    gone = RoomArchived(
        at=AT, archive=ARCHIVE, room_name="North", by="Wren", lead="Plover", reason="Moved"
    )
    back = RoomRestored(at=AT.replace(hour=9), archive=ARCHIVE, by="Wren")
    archived = fold(ARCHIVE_BOOK, ARCHIVE, [gone])
    assert archived == ArchiveState(True, AT, "Plover", "Moved")
    assert ARCHIVE_BOOK.is_open(archived)
    restored = fold(ARCHIVE_BOOK, ARCHIVE, [gone, back])
    assert restored == ArchiveState(False, AT.replace(hour=9), "Wren", "")
    assert not ARCHIVE_BOOK.is_open(restored)
    plain = RoomArchived(at=AT, archive=ARCHIVE, room_name="North", by="Wren")
    assert fold(ARCHIVE_BOOK, ARCHIVE, [plain]) == ArchiveState(True, AT, "Wren", "")
    other = CrewMember(at=AT, crew=CREW, name="Wren", role="lead")
    assert fold(ARCHIVE_BOOK, ARCHIVE, [gone, other]) == archived
