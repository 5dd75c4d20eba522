"""The summary of a week: written once, sent once, tried again where the server was away."""

import socket
from collections.abc import Iterator
from dataclasses import replace
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller

from app.config import Mail, Settings, from_environment
from app.services.roomlog import record
from app.services.spend.summaries import write_due
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, new_store
from tests.services.spend.test_spend import costly, stocked

STEM = f"spend-{ROOM}-2026-W09"


class Letters:
    """Takes what is sent."""

    def __init__(self) -> None:
        self.taken: list[Any] = []

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
        self.taken.append(envelope)
        return "250 Taken"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    record(store, ROOM, [*stocked(), *costly()], NOW)
    yield store
    store.close()


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


def test_the_last_week_is_written_once(store: Store, tmp_path: Path) -> None:
    settings = Settings(summary_dir=tmp_path / "weeks")
    [text] = write_due(store, settings, NOW)
    assert text.name == f"{STEM}.txt"
    lines = text.read_text("utf-8").splitlines()
    assert "Consumed: 336.42 EUR" in lines
    assert "Budget: 200.00 EUR" in lines
    assert {path.suffix for path in text.parent.iterdir()} == {".txt", ".csv", ".xlsx"}
    assert write_due(store, settings, NOW) == []


def test_without_a_folder_nothing_is_written(store: Store) -> None:
    assert write_due(store, Settings(), NOW) == []


def test_the_summary_is_sent_once_through_the_sites_server(store: Store, tmp_path: Path) -> None:
    letters = Letters()
    server = Controller(letters, hostname="127.0.0.1", port=free_port())
    server.start()
    try:
        mail = Mail("127.0.0.1", server.port, "bath@site.test", ("heron@site.test",))
        settings = Settings(summary_dir=tmp_path / "weeks", mail=mail)
        write_due(store, settings, NOW)
        write_due(store, settings, NOW)
    finally:
        server.stop()
    [envelope] = letters.taken
    assert envelope.rcpt_tos == ["heron@site.test"]
    message = message_from_bytes(envelope.content, policy=policy.default)
    assert message["Subject"] == "Test room: spend of week 2026-W09"
    body = message.get_body(("plain",))
    assert body is not None
    assert "Consumed: 336.42 EUR" in body.get_content()
    [sheet] = message.iter_attachments()
    assert sheet.get_filename() == f"{STEM}.xlsx"


def test_a_server_that_is_away_is_tried_again(store: Store, tmp_path: Path) -> None:
    port = free_port()
    mail = Mail("127.0.0.1", port, "bath@site.test", ("heron@site.test",))
    settings = Settings(summary_dir=tmp_path / "weeks", mail=mail)
    write_due(store, settings, NOW)
    assert (tmp_path / "weeks" / f"{STEM}.txt").exists()
    assert not (tmp_path / "weeks" / f"{STEM}.sent").exists()
    letters = Letters()
    server = Controller(letters, hostname="127.0.0.1", port=port)
    server.start()
    try:
        write_due(store, replace(settings), NOW)
    finally:
        server.stop()
    assert len(letters.taken) == 1


def test_the_environment_sets_folder_and_mail(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BATHKEEPER_SUMMARIES", "/srv/weeks")
    monkeypatch.setenv("BATHKEEPER_SMTP", "mail.site.test:2525")
    monkeypatch.setenv("BATHKEEPER_MAIL_TO", "heron@site.test, curlew@site.test")
    settings = from_environment()
    assert settings.summary_dir == Path("/srv/weeks")
    assert settings.mail == Mail(
        "mail.site.test", 2525, "heron@site.test", ("heron@site.test", "curlew@site.test")
    )
