"""A database is brought to the newest form, and one from a newer program is refused."""

import json
from datetime import UTC
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text
from sqlmodel import Session, SQLModel

from app.domain.errors import DomainError
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.inspections import Component, InspectionPhoto, InspectionStarted
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.spend.weeks import IsoWeek
from app.services.door import bring_in as record
from app.services.rebuilding import rebuild_outdated
from app.services.rooms import find_room
from app.services.spend.weekly_costs import spend_of
from app.store import migrations
from app.store.engine import open_store
from app.store.room_photos import own_photos
from tests.factories import NOW, ROOM, START, furnish
from tests.furnished import new_store


def test_an_empty_database_is_brought_up_once(tmp_path: Path) -> None:
    store = open_store(f"sqlite:///{tmp_path / 'x.sqlite3'}")
    assert migrations.upgrade(store)
    assert not migrations.upgrade(store)
    store.close()


def test_the_migrations_make_the_tables(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    with store.writer.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), SQLModel.metadata)
    assert differences == []
    store.close()


def test_the_newest_form_is_the_last_migration() -> None:
    assert max(migrations.known_revisions()) == migrations.HEAD


def test_a_database_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    with store.writer.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(DomainError, match="newer version"):
        migrations.upgrade(store)
    store.close()


def test_the_tables_can_be_taken_back(tmp_path: Path) -> None:
    from alembic import command

    store = new_store(tmp_path)
    with store.writer.begin() as connection:
        command.downgrade(migrations.alembic_config(connection), "base")
    with store.writer.connect() as connection:
        assert migrations.present_revision(connection) is None
    store.close()


@pytest.mark.parametrize(
    "currency, before, after",
    # Hundredths as they were kept before, and the same amount in the smallest unit of ISO 4217:
    # 4,500 yen, to the nearest yen where hundredths were kept; 12.500 dinars in fils.
    [("JPY", 450_049, 4_500), ("KWD", 1_250, 12_500), ("EUR", 1_250, 1_250)],
)
def test_amounts_kept_in_hundredths_become_those_of_their_currency(
    tmp_path: Path, currency: str, before: int, after: int
) -> None:
    from alembic import command

    store = new_store(tmp_path)
    furnish(store)
    rates = PriceList(at=START, id="p", prices="prices", currency=currency)
    cost = OtherCost(at=START, id="o", prices="prices", cost_cents=1, purpose="other", what="cents")
    record(store, ROOM, [rates, cost], NOW)
    with store.writer.begin() as connection:
        command.downgrade(migrations.alembic_config(connection), "0007")
        kept = json.dumps({"prices": "prices", "cost_cents": before, "purpose": "other",
                           "what": "cents"}, separators=(",", ":"))  # fmt: skip
        connection.execute(text("UPDATE entry SET fields = :kept WHERE uid = 'o'"), {"kept": kept})
        connection.execute(text("UPDATE head SET state = x'00'"))
    assert migrations.upgrade(store)
    rebuild_outdated(store, NOW)
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        [line] = spend_of(session, room).week(IsoWeek.at(START, UTC))
    assert (room.currency, line.cents) == (currency, after)
    store.close()


def test_photos_that_a_log_names_open_in_its_room_after_the_migration(tmp_path: Path) -> None:
    from alembic import command

    store = new_store(tmp_path)
    furnish(store)
    taken, answered = "a" * 64, "b" * 64
    position = {"component": "c", "part": "impeller", "name": "Impeller"}
    record(store, ROOM, [
        Component(at=START, tank="t1", **position),  # type: ignore[arg-type]
        InspectionStarted(at=START, inspection="i", tank="t1", positions=[position]),
        InspectionPhoto(at=START, inspection="i", component="c", photo=taken, view="close"),
        StepDone(at=START, swap="s", step="look", answers={"picture": f"photo:{answered}"}),
    ], NOW)  # fmt: skip
    with store.writer.begin() as connection:
        command.downgrade(migrations.alembic_config(connection), "0015")
    migrations.upgrade(store)
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        assert own_photos(session, room_id) == {taken, answered}
    store.close()
