"""What only a lead decides comes in, or goes again, by a command only under a lead's name."""

import io
import sys
from pathlib import Path

import pytest
from sqlmodel import select

from app.clock import utc_now
from app.domain.roomlog.kinds import TankChange
from app.domain.roomlog.kinds.site import CrewMember
from app.services.door import bring_in
from app.services.people.hashing import slow_digest
from app.services.transaction import write
from app.store.engine import open_store
from app.store.instants import to_us
from app.store.people_tables import AccountRow
from tests.cli.test_commands import START, TANK, written
from tests.cli.test_imports import RESIN, said

LEADS = "Only a lead or manager can do this: Curlew."
CHANGE = {"kind": "tank_change", "at": START.isoformat(), "tank": "t1", "limit_percent": 30.0}
SECRET = "four plain words here"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """The words that name a room with a lead and a life of its own."""
    words = ["--room", "R", "--data", str(tmp_path / "data")]
    said(capsys, "import", written(tmp_path / "r.jsonl", TANK, RESIN), "--create", *words)
    store = open_store(f"sqlite:///{tmp_path / 'data' / 'bathkeeper.sqlite3'}")
    lead = CrewMember(at=START, crew="crew", name="Curlew", role="lead")
    own = TankChange(at=START, tank="t1", limit_percent=9.0)
    bring_in(store, "r", [lead, own], utc_now())
    store.close()
    return words


def lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> int:
    out = tmp_path / "out.jsonl"
    said(capsys, "export", "r", "-o", str(out), "--data", str(tmp_path / "data"))
    return len(out.read_text().splitlines())


def let_sign_in(tmp_path: Path, name: str, role: str) -> None:
    store = open_store(f"sqlite:///{tmp_path / 'data' / 'bathkeeper.sqlite3'}")
    with write(store) as session:
        session.add(
            AccountRow(name=name, folded=name.casefold(), role=role, secret=slow_digest(SECRET),
                       must_change=False, made_at_us=to_us(START))
        )  # fmt: skip
    store.close()


def typed(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{text}\n"))


def test_a_command_names_a_lead_for_what_a_lead_decides(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], room: list[str]
) -> None:
    log, before = written(tmp_path / "c.jsonl", CHANGE), lines(tmp_path, capsys)
    shown = said(capsys, "import", log, *room, "--check")
    assert "In this file 1 line says what only a lead decides: line 1" in shown
    for who in ([], ["--by", "Dunlin"]):
        assert f"{LEADS} Give the name with --by." in said(
            capsys, "import", log, *room, *who, code=1
        )
    assert lines(tmp_path, capsys) == before
    said(capsys, "import", log, *room, "--by", "curlew")
    assert lines(tmp_path, capsys) == before + 1


def test_only_a_lead_takes_back_by_a_command_what_a_lead_decided(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], room: list[str]
) -> None:
    said(capsys, "import", written(tmp_path / "c.jsonl", CHANGE), *room, "--by", "Curlew")
    before = lines(tmp_path, capsys)
    undo = ["imports", "r", *room[2:], "--undo", "2"]
    for who in ([], ["--by", "Dunlin"]):
        assert LEADS in said(capsys, *undo, *who, code=1)
    assert lines(tmp_path, capsys) == before
    said(capsys, *undo, "--by", "Curlew")
    assert lines(tmp_path, capsys) == before + 1


def test_where_people_sign_in_a_command_asks_for_a_managers_password(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    room: list[str],
) -> None:
    for name, role in (("Wren", "manager"), ("Lee", "lead"), ("Kim", "technician")):
        let_sign_in(tmp_path, name, role)
    log, before = written(tmp_path / "c.jsonl", CHANGE), lines(tmp_path, capsys)
    only = "Only a manager can do this: Wren. Give the name with --by."
    for who in ([], ["--by", "Kim"], ["--by", "Lee"], ["--by", "Curlew"]):
        typed(monkeypatch, SECRET)
        assert only in said(capsys, "import", log, *room, *who, code=1)
    typed(monkeypatch, "four wrong words here")
    assert "That is not Wren's password." in said(
        capsys, "import", log, *room, "--by", "Wren", code=1
    )
    assert lines(tmp_path, capsys) == before
    typed(monkeypatch, SECRET)
    said(capsys, "import", log, *room, "--by", "Wren")
    assert lines(tmp_path, capsys) == before + 1


def test_a_lead_who_left_and_one_in_the_same_file_count_for_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], room: list[str]
) -> None:
    """Whom the site has sent away brings in nothing, nor does a file that calls its bringer one."""
    second = CrewMember(at=START, crew="crew", name="Wren", role="lead", by="Curlew")
    gone = CrewMember(at=START, crew="crew", name="Wren", role="lead", has_left=True, by="Curlew")
    store = open_store(f"sqlite:///{tmp_path / 'data' / 'bathkeeper.sqlite3'}")
    bring_in(store, "r", [second, gone], utc_now())
    store.close()
    before = lines(tmp_path, capsys)
    log = written(tmp_path / "c.jsonl", CHANGE)
    assert LEADS in said(capsys, "import", log, *room, "--by", "Wren", code=1)
    mine = {"kind": "crew_member", "at": START.isoformat(), "crew": "crew", "name": "Dunlin",
            "role": "lead", "by": "Dunlin"}  # fmt: skip
    for line in (mine, {**mine, "by": "Curlew"}):
        log = written(tmp_path / "d.jsonl", line, CHANGE)
        said(capsys, "import", log, *room, "--by", "Dunlin", code=1)
        said(capsys, "import", log, *room, "--by", "Dunlin", "--skip-bad", code=1)
    assert lines(tmp_path, capsys) == before


def test_a_manager_who_left_or_was_made_less_brings_in_nothing_by_a_command(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    room: list[str],
) -> None:
    for name, role in (("Wren", "manager"), ("Finch", "manager"), ("Lee", "manager")):
        let_sign_in(tmp_path, name, role)
    store = open_store(f"sqlite:///{tmp_path / 'data' / 'bathkeeper.sqlite3'}")
    with write(store) as session:
        for row in session.exec(select(AccountRow)):
            if row.name == "Finch":
                row.left_at_us = to_us(START)
            if row.name == "Lee":
                row.role = "technician"
            session.add(row)
    store.close()
    log, before = written(tmp_path / "c.jsonl", CHANGE), lines(tmp_path, capsys)
    for who in ("Finch", "Lee"):
        typed(monkeypatch, SECRET)
        assert "Only a manager can do this: Wren." in said(
            capsys, "import", log, *room, "--by", who, code=1
        )
    assert lines(tmp_path, capsys) == before
