"""What was acknowledged survives the death of the program, however sudden."""

import http.client
import json
import threading
import time
import uuid
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from sqlalchemy import text
from sqlmodel import Session, col, select

from app.clock import utc_now
from app.domain.roomlog.kinds.site import ClockConfirmed
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.services.verifying import verify
from app.store.engine import open_store
from app.store.tables import CourseRow, EntryRow, TankRow
from tests.factories import ROOM, furnish
from tests.furnished import new_store

KILLS = 3
CLIENTS = 4
LOGGED = 15  # in each life of the program


def keep_logging(url: str, acknowledged: list[str]) -> None:
    """Log washes until the server is gone, and remember which it said were stored."""
    host = urlsplit(url).netloc
    while True:
        connection = http.client.HTTPConnection(host, timeout=10)
        wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 5}
        headers = {"Content-Type": "application/json", "Idempotency-Key": uuid.uuid4().hex}
        try:
            connection.request("POST", f"/api/v1/rooms/{ROOM}/entries", json.dumps(wash), headers)
            answer = connection.getresponse()
            body = json.loads(answer.read())
        except (OSError, http.client.HTTPException, ValueError):
            return
        finally:
            connection.close()
        assert answer.status == 201, body
        acknowledged.append(body["ids"][0])


def wait_for(acknowledged: list[str], count: int, within_s: float = 60) -> None:
    """Wait until so many were acknowledged; the test fails where they do not come."""
    give_up_at_s = time.monotonic() + within_s
    while len(acknowledged) < count:
        assert time.monotonic() < give_up_at_s
        time.sleep(0.01)


@pytest.mark.slow
def test_no_acknowledged_entry_is_lost_when_the_program_is_killed(
    serve: Any, tmp_path: Path
) -> None:
    store = new_store(tmp_path)
    furnish(store)
    now = utc_now()
    record(store, ROOM, [ClockConfirmed(at=now, site="site")], now)
    store.close()
    acknowledged: list[str] = []
    for _ in range(KILLS):
        server = serve("serve", data_dir=tmp_path)
        clients = [
            threading.Thread(target=keep_logging, args=(server.url, acknowledged))
            for _ in range(CLIENTS)
        ]
        for client in clients:
            client.start()
        wait_for(acknowledged, len(acknowledged) + LOGGED)
        server.process.kill()
        for client in clients:
            client.join()
    assert len(acknowledged) >= KILLS * LOGGED
    check_whole(tmp_path, set(acknowledged))


def check_whole(folder: Path, acknowledged: set[str]) -> None:
    """Every acknowledged entry is there, and what is worked out from the log agrees with it."""
    store = open_store(f"sqlite:///{folder / 'bathkeeper.sqlite3'}")
    with Session(store.reader) as session:
        assert session.execute(text("PRAGMA integrity_check")).scalar() == "ok"
        washes = session.exec(select(EntryRow.uid).where(EntryRow.kind == "wash")).all()
        course = session.exec(select(CourseRow).where(CourseRow.kind == "wash")).all()
        tank = session.exec(select(TankRow).where(col(TankRow.key) == "t1")).one()
        walked = verify(session, find_room(session, ROOM))
    assert acknowledged <= set(washes)
    assert walked.wrong == ""
    assert walked.count > len(washes)
    assert len(course) == len(washes) == tank.washes_since_fill
    store.close()
