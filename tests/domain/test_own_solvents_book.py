"""The solvents of a site, each by the last sheet that was entered."""

from datetime import UTC, datetime
from typing import Any

from app.domain.own_solvents import OWN_SOLVENTS_BOOK, OwnSolvents
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.solvents import OWN_SOLVENTS, OwnSolvent
from app.domain.solvents import SOLVENTS
from app.domain.solvents.own import sheet_of
from app.domain.things import fold

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def sheet(name: str, density_g_ml: float = 0.8, **more: Any) -> OwnSolvent:
    return OwnSolvent(
        at=AT, own_solvents=OWN_SOLVENTS, name=name, density_g_ml=density_g_ml, **more
    )


def names(*entries: Entry) -> list[tuple[str, float]]:
    state = fold(OWN_SOLVENTS_BOOK, OWN_SOLVENTS, entries)
    assert isinstance(state, OwnSolvents)
    assert list(state.solvents) == list(state.keys)
    assert all(state.solvents[key] == SOLVENTS[key] for key in state.keys)
    found = [sheet_of(key) for key in state.keys]
    return [(one.name, one.density_g_ml) for one in found if one is not None]


def test_a_new_sheet_stands_where_the_old_one_did() -> None:
    told = [sheet("One"), sheet("Two"), sheet("Three"), sheet(" Two ", 0.9)]
    assert names(*told) == [("One", 0.8), ("Two", 0.9), ("Three", 0.8)]


def test_what_is_no_longer_used_goes_and_comes_back_last() -> None:
    told = [sheet("One"), sheet("Two"), sheet("One", is_gone=True)]
    assert names(*told) == [("Two", 0.8)]
    assert names(*told, sheet("One")) == [("Two", 0.8), ("One", 0.8)]
    assert names(sheet("Never", is_gone=True)) == []


def test_another_entry_changes_nothing() -> None:
    held = TankHeld(at=AT, tank="t1", reason="Leak", cause="lead")
    assert names(sheet("One"), held) == [("One", 0.8)]
    assert OwnSolvents(("no key",)).solvents == {}
