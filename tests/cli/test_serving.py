"""One server at a time, and none on a database that cannot be used."""

import hashlib
import signal
import sqlite3
import ssl
from pathlib import Path
from typing import Any

import httpx2
import pytest

from tests.cli.test_commands import run
from tests.furnished import new_store

NAME = "bathkeeper.sqlite3"


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_a_second_server_on_a_folder_is_refused(serve: Any, tmp_path: Path, command: str) -> None:
    first = serve("serve", data_dir=tmp_path / "data")
    second = run(command, "--port", "0", "--data", str(tmp_path / "data"))
    said, errors = second.communicate(timeout=90)
    assert second.returncode == 1
    assert said == ""
    assert errors.startswith("Another Bathkeeper already serves")
    assert "--data DIR" in errors
    first.process.send_signal(signal.SIGKILL)
    first.process.wait()
    again = serve("serve", data_dir=tmp_path / "data")
    assert again.process.poll() is None
    first.stop()
    again.stop()


def test_a_damaged_database_is_refused_before_an_address_is_printed(tmp_path: Path) -> None:
    new_store(tmp_path).close()
    whole = (tmp_path / NAME).read_bytes()
    (tmp_path / NAME).write_bytes(whole[:40960] + bytes(40960) + whole[81920:])
    process = run("serve", "--port", "0", "--data", str(tmp_path))
    said, errors = process.communicate(timeout=90)
    assert process.returncode == 1
    assert said == ""
    assert "is damaged" in errors
    assert errors.count("\n") == 1


def test_a_command_works_beside_a_server(serve: Any, tmp_path: Path) -> None:
    server = serve("serve", data_dir=tmp_path / "data")
    log = tmp_path / "log.jsonl"
    log.write_text(
        '{"kind": "resin", "at": "2026-01-05T08:00:00Z", "resin": "slate", "name": "Slate", '
        '"density_g_ml": 1.1}\n'
    )
    words = ["--room", "My room", "--create", "--data", str(tmp_path / "data")]
    process = run("import", str(log), *words)
    said, errors = process.communicate(timeout=90)
    assert (process.returncode, errors) == (0, "")
    assert "Stored 1 entry" in said
    server.stop()
    with sqlite3.connect(tmp_path / "data" / NAME) as connection:
        assert connection.execute("SELECT count(*) FROM entry").fetchone() == (1,)
    connection.close()


def test_https_with_a_certificate_of_the_sites_own(serve: Any, tmp_path: Path) -> None:
    server = serve("serve", "--https", data_dir=tmp_path / "data")
    address = server.url.replace("http://", "https://")
    said = server.log.read_text()
    assert f"serves at {address} " in said
    assert "The site has a new certificate." in said
    nobody = ssl.create_default_context()
    with pytest.raises(httpx2.ConnectError), httpx2.Client(verify=nobody) as stranger:
        stranger.get(f"{address}/rooms")
    insecure = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)  # as who accepts a browser's warning
    insecure.check_hostname, insecure.verify_mode = False, ssl.CERT_NONE
    with httpx2.Client(verify=insecure) as tablet:
        root = tablet.get(f"{address}/tablets/site.crt").content
        assert hashlib.sha256(root).digest().hex(":").upper() in said
    trusting = ssl.create_default_context(cadata=root)
    with httpx2.Client(verify=trusting) as tablet:
        assert "shows no warning any more" in tablet.get(f"{address}/tablets").text
    server.stop()
    again = serve("serve", "--https", data_dir=tmp_path / "data")
    with httpx2.Client(verify=trusting) as tablet:
        assert tablet.get(f"{again.url.replace('http://', 'https://')}/rooms").status_code == 200
    assert "new certificate" not in again.log.read_text()
    again.stop()


def test_the_first_start_with_sign_in_shows_a_code_and_a_later_one_none(
    serve: Any, tmp_path: Path
) -> None:
    server = serve("serve", "--sign-in", "on", data_dir=tmp_path / "data")
    said = server.log.read_text()
    code = said.rpartition("and type ")[2].split()[0]
    assert len(code) == len("ABCD-EFGH")
    fields = {"code": code, "name": "Ada", "secret": "four plain words here"}
    with httpx2.Client(base_url=server.url, timeout=60) as browser:
        assert browser.post("/first-manager", data=fields).headers["location"] == "/people"
    server.stop()
    again = serve("serve", data_dir=tmp_path / "data")
    assert "type" not in again.log.read_text(), "there is a manager, and sign-in is on by itself"
    with httpx2.Client(base_url=again.url, timeout=60) as browser:
        assert browser.get("/rooms").status_code == 401
    again.stop()
    lost = serve("serve", "--new-manager", data_dir=tmp_path / "data")
    assert "To make one more manager" in lost.log.read_text()
    lost.stop()


def test_a_start_that_lets_others_in_without_sign_in_warns(serve: Any, tmp_path: Path) -> None:
    server = serve("serve", "--host", "0.0.0.0", data_dir=tmp_path / "data")
    assert "WARNING: sign-in is off, and other machines are let in" in server.log.read_text()
    server.stop()
    alone = serve("serve", data_dir=tmp_path / "alone")
    assert "WARNING" not in alone.log.read_text()
    alone.stop()
