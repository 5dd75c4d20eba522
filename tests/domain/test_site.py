"""The settings of a site and its people, as their entries leave them."""

from datetime import UTC, date, datetime, timedelta

import pytest

from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.domain.site import CREW_BOOK, SITE_BOOK, CrewState, SiteState
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
