"""Certificates of a site: believed by an independent library and by the system's, and by no more.

RFC 5280 is the published source: name constraints (4.2.1.10), basic constraints (4.2.1.9). Path
validation is done by OpenSSL, through the standard library, in real connections.
"""

import socket
import ssl
import stat
import threading
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec

from app.services import certificates
from app.services.certificates import SiteCertificate, site_certificate

NAMES = ("localhost", "room-pc.local", "127.0.0.1", "192.168.4.20")


@pytest.fixture
def now() -> datetime:
    """Certificates are checked by OpenSSL, which asks the machine's own clock."""
    return datetime.now(UTC)


def shake_hands(made: SiteCertificate, name: str) -> str:
    """Connect as a tablet that trusts the site's root and nobody else; what was wrong, or ''."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(made.chain, made.key)
    client = ssl.create_default_context(cadata=made.root)
    mine, theirs = socket.socketpair()

    def answer() -> None:
        with suppress(OSError), server.wrap_socket(theirs, server_side=True) as talking:
            talking.recv(1)

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        with client.wrap_socket(mine, server_hostname=name) as talking:
            talking.send(b"x")
    except ssl.SSLCertVerificationError as error:
        return error.verify_message
    finally:
        mine.close()
        thread.join()
        theirs.close()
    return ""


@pytest.mark.parametrize("name", NAMES)
def test_a_tablet_with_the_root_believes_each_name(
    tmp_path: Path, now: datetime, name: str
) -> None:
    assert shake_hands(site_certificate(tmp_path, NAMES, now), name) == ""


def test_another_name_is_not_believed(tmp_path: Path, now: datetime) -> None:
    assert "mismatch" in shake_hands(site_certificate(tmp_path, NAMES, now), "other.local")


def test_the_root_vouches_for_no_site_outside_even_in_the_hands_of_a_thief(
    tmp_path: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    site_certificate(tmp_path, NAMES, now)
    monkeypatch.setattr(certificates, "_allowed", lambda _: set())  # signs whatever it is told
    forged = site_certificate(tmp_path, (*NAMES, "bank.example"), now)
    assert not forged.is_new_root
    assert "permitted subtree" in shake_hands(forged, "bank.example")


def test_the_keys_are_their_owners_alone(tmp_path: Path, now: datetime) -> None:
    site_certificate(tmp_path / "tls", NAMES, now)
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (tmp_path / "tls").iterdir()}
    assert {name: mode for name, mode in modes.items() if "key" in name} == {
        "server-key.pem": 0o600, "site-root-key.pem": 0o600,
    }  # fmt: skip
    assert len(modes) == 4  # nothing unfinished is left


def test_a_start_on_the_next_day_changes_nothing(tmp_path: Path, now: datetime) -> None:
    first = site_certificate(tmp_path, NAMES, now)
    again = site_certificate(tmp_path, reversed(NAMES), now + timedelta(days=1))
    assert (again.root, again.ends_at) == (first.root, first.ends_at)
    assert (first.is_new_root, again.is_new_root) == (True, False)


@pytest.mark.parametrize("days, is_renewed", [(304, False), (306, True), (3000, True)])
def test_it_is_renewed_before_it_ends_and_tablets_need_nothing(
    tmp_path: Path, now: datetime, days: int, is_renewed: bool
) -> None:
    first = site_certificate(tmp_path, NAMES, now)
    later = site_certificate(tmp_path, NAMES, now + timedelta(days=days))
    assert later.root == first.root
    assert (later.ends_at > first.ends_at) is is_renewed


def test_a_new_private_address_needs_no_new_root_a_new_name_does(
    tmp_path: Path, now: datetime
) -> None:
    first = site_certificate(tmp_path, NAMES, now)
    moved = site_certificate(tmp_path, (*NAMES, "10.1.2.3"), now)
    assert moved.root == first.root
    assert shake_hands(moved, "10.1.2.3") == ""
    renamed = site_certificate(tmp_path, (*NAMES, "print.room.example"), now)
    assert renamed.is_new_root
    assert shake_hands(renamed, "print.room.example") == ""


def test_the_fingerprint_is_the_one_that_others_work_out(tmp_path: Path, now: datetime) -> None:
    made = site_certificate(tmp_path, NAMES, now)
    root = x509.load_der_x509_certificate(made.root)
    assert bytes.fromhex(made.fingerprint.replace(":", "")) == root.fingerprint(hashes.SHA256())
    assert made.fingerprint.count(":") == 31


@pytest.mark.parametrize("content", [b"", b"no certificate", None])
@pytest.mark.parametrize(
    "name", ["server.pem", "server-key.pem", "site-root.pem", "site-root-key.pem"]
)
def test_a_file_that_is_damaged_lost_or_anothers_is_made_anew(
    tmp_path: Path, now: datetime, name: str, content: bytes | None
) -> None:
    site_certificate(tmp_path, NAMES, now)
    if content is None:
        (tmp_path / name).unlink()
    else:
        (tmp_path / name).write_bytes(content)
    assert shake_hands(site_certificate(tmp_path, NAMES, now), "localhost") == ""


def test_a_key_of_another_certificate_is_not_used(tmp_path: Path, now: datetime) -> None:
    site_certificate(tmp_path / "a", NAMES, now)
    site_certificate(tmp_path / "b", NAMES, now)
    (tmp_path / "a" / "server-key.pem").write_bytes((tmp_path / "b/server-key.pem").read_bytes())
    assert shake_hands(site_certificate(tmp_path / "a", NAMES, now), "localhost") == ""


def test_the_root_signs_no_further_authority(tmp_path: Path, now: datetime) -> None:
    root = x509.load_der_x509_certificate(site_certificate(tmp_path, NAMES, now).root)
    said = root.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (said.critical, said.value.ca, said.value.path_length) == (True, True, 0)
    assert isinstance(root.public_key(), ec.EllipticCurvePublicKey)
