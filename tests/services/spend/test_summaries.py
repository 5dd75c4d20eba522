"""The summary of a week: written once, sent once, tried again where the server was away."""

import re
import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

from app.config import Mail, Settings, from_environment
from app.services.door import bring_in as record
from app.services.spend import reports as summaries
from app.services.spend.reports import write_due
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish
from tests.furnished import new_store
from tests.services.spend.test_weekly_costs import costly, stocked, told

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
    record(store, ROOM, [*stocked(), *told(), *costly()], NOW)
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
    assert "Over the budget by: 136.42 EUR" in lines
    assert "  Waste disposal: 100.01 EUR" in lines  # the invoice of the pickup
    assert [line[:19] for line in lines if line.startswith("Next: ")] == [
        "Next: week 2026-W10", "Next: week 2026-W11"
    ]  # fmt: skip
    assert "Washes: 9" in lines
    assert "Washes past the limit: 0" in lines
    assert "Parts rejected as tacky: 0" in lines
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


def test_while_the_mail_server_takes_its_time_no_connection_is_held(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held: list[int] = []

    def send(*_: object) -> None:
        held.append(store.reader.pool.checkedout())  # type: ignore[attr-defined]

    monkeypatch.setattr(summaries, "send", send)
    mail = Mail("127.0.0.1", 25, "bath@site.test", ("heron@site.test",))
    write_due(store, Settings(summary_dir=tmp_path / "weeks", mail=mail), NOW)
    assert held == [0]


def sent_by(store: Store, folder: Path, sender: str = "bath@site.test") -> Any:
    """The summary as a mail server took it, read by the standard library's parser."""
    letters = Letters()
    server = Controller(letters, hostname="127.0.0.1", port=free_port())
    server.start()
    try:
        mail = Mail("127.0.0.1", server.port, sender, ("heron@site.test",))
        write_due(store, Settings(summary_dir=folder, mail=mail), NOW)
    finally:
        server.stop()
    [envelope] = letters.taken
    return message_from_bytes(envelope.content, policy=policy.default)


def test_a_summary_has_what_every_mail_must_have(store: Store, tmp_path: Path) -> None:
    # RFC 5322, 3.6: date and originator are required, each field at most once; 3.6.4: every message
    # should have an id of its own.
    message = sent_by(store, tmp_path / "weeks")
    assert not message.defects
    assert [len(message.get_all(name)) for name in ("Date", "From", "Message-ID")] == [1, 1, 1]
    assert message["Date"].datetime == NOW
    assert re.fullmatch(r"<[0-9a-f]{32}@site\.test>", message["Message-ID"])


def test_a_summary_that_is_sent_again_is_known_by_its_id_and_another_has_another(
    store: Store, tmp_path: Path
) -> None:
    first = sent_by(store, tmp_path / "weeks")["Message-ID"]
    (tmp_path / "weeks" / f"{STEM}.sent").unlink()  # taken, but the answer was lost
    assert sent_by(store, tmp_path / "weeks")["Message-ID"] == first
    assert sent_by(store, tmp_path / "others", "bath@other.test")["Message-ID"] != first


def test_a_sender_without_a_domain_of_plain_letters_still_gets_a_sound_id(
    store: Store, tmp_path: Path
) -> None:
    message = sent_by(store, tmp_path / "weeks", "bath")
    assert message["Message-ID"].endswith("@bathkeeper.invalid>")
    assert not message.defects


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


# With a name and password: only over TLS, only to a server whose certificate is trusted -----------

MADE = Path(__file__).parent / "mail_server"  # self-made, for 127.0.0.1, good for a hundred years
USER, PASSWORD = "bathkeeper", "Tern-4021"


@contextmanager
def secured(letters: Letters, asked: list[bytes], *, offers_tls: bool = True) -> Iterator[int]:
    """A mail server on this machine that takes letters of one user; gives its port."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(MADE / "certificate.pem", MADE / "key.pem")

    def login(_server: Any, _session: Any, _envelope: Any, _how: str, given: Any) -> AuthResult:
        asked.append(given.password)
        is_right = (given.login, given.password) == (USER.encode(), PASSWORD.encode())
        return AuthResult(success=is_right, handled=False)

    server = Controller(
        letters, hostname="127.0.0.1", port=free_port(), authenticator=login,
        auth_required=offers_tls, auth_require_tls=offers_tls,
        require_starttls=offers_tls, tls_context=context if offers_tls else None,
    )  # fmt: skip
    server.start()
    try:
        yield server.port
    finally:
        server.stop()


def with_login(folder: Path, port: int, password: str = PASSWORD) -> Settings:
    mail = Mail("127.0.0.1", port, "bath@site.test", ("heron@site.test",), USER, password)
    return Settings(summary_dir=folder, mail=mail)


def is_sent(folder: Path) -> bool:
    return (folder / f"{STEM}.sent").exists()


def test_a_name_and_password_go_over_tls_and_the_summary_arrives(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SSL_CERT_FILE", str(MADE / "certificate.pem"))
    letters, asked = Letters(), list[bytes]()
    with secured(letters, asked) as port:
        write_due(store, with_login(tmp_path / "weeks", port), NOW)
    assert len(letters.taken) == 1
    assert asked == [PASSWORD.encode()]
    assert is_sent(tmp_path / "weeks")


def test_a_server_whose_certificate_nobody_trusts_gets_no_password(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.delenv("SSL_CERT_FILE", raising=False)
    letters, asked = Letters(), list[bytes]()
    with secured(letters, asked) as port:
        write_due(store, with_login(tmp_path / "weeks", port), NOW)
    assert (letters.taken, asked) == ([], [])
    assert "certificate verify failed" in caplog.text
    assert not is_sent(tmp_path / "weeks")


def test_a_server_without_tls_gets_no_password(
    store: Store, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    letters, asked = Letters(), list[bytes]()
    with secured(letters, asked, offers_tls=False) as port:
        write_due(store, with_login(tmp_path / "weeks", port), NOW)
    assert (letters.taken, asked) == ([], [])
    assert "STARTTLS" in caplog.text


def test_a_wrong_password_is_logged_and_the_summary_sent_once_it_is_right(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("SSL_CERT_FILE", str(MADE / "certificate.pem"))
    letters, asked = Letters(), list[bytes]()
    with secured(letters, asked) as port:
        write_due(store, with_login(tmp_path / "weeks", port, "wrong"), NOW)
        assert letters.taken == []
        assert "535" in caplog.text  # RFC 4954, 6: authentication credentials invalid
        write_due(store, with_login(tmp_path / "weeks", port), NOW)
    assert len(letters.taken) == 1
    assert PASSWORD not in caplog.text


def test_the_environment_sets_folder_and_mail(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BATHKEEPER_SUMMARIES", "/srv/weeks")
    monkeypatch.setenv("BATHKEEPER_SMTP", "mail.site.test:2525")
    monkeypatch.setenv("BATHKEEPER_MAIL_TO", "heron@site.test, curlew@site.test")
    settings = from_environment()
    assert settings.summary_dir == Path("/srv/weeks")
    assert settings.mail == Mail(
        "mail.site.test", 2525, "heron@site.test", ("heron@site.test", "curlew@site.test")
    )
