"""Certificates of a site's own, for https in a network where no authority would give one.

A root is made once and put on each tablet by hand; it signs the server's certificate, which is
made anew before it ends or where this machine has got another name or address. The root's key lies
on the machine that serves, so it is bound (RFC 5280, section 4.2.1.10) to this machine's names and
to private addresses: whoever stole it could not pass for any site of the world outside.
"""

import hashlib
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

ROOT_DAYS = 3650
SERVER_DAYS = 365
"""Well below the 825 days after which common systems refuse one (from memory)."""
RENEWED_DAYS = 60  # before it ends: a room that starts rarely is renewed in time as well
EARLY = timedelta(days=1)  # a tablet's clock may be slow
PRIVATE = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16",  # RFC 1918
    "127.0.0.0/8", "169.254.0.0/16",  # RFC 1122, RFC 3927
    "::1/128", "fc00::/7", "fe80::/10",  # RFC 4291, RFC 4193
)  # fmt: skip
ROOT_FILE, SERVER_FILE, KEY_FILE = "site-root.pem", "server.pem", "server-key.pem"
_ROOT_KEY_FILE = "site-root-key.pem"
_CURVE = ec.SECP256R1


@dataclass(frozen=True)
class SiteCertificate:
    """What a server shows, and what a tablet has to know to believe it.

    Attributes:
        chain: file of the server's certificate (PEM).
        key: file of its private key (PEM), readable by its owner only.
        root: the root's certificate (DER), to be put on tablets.
        ends_at: when the server's certificate ends.
        is_new_root: the root was made now: tablets that trust an earlier one must take this one.
    """

    chain: Path
    key: Path
    root: bytes
    ends_at: datetime
    is_new_root: bool

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the root as people compare it: pairs of digits with colons between them."""
        return hashlib.sha256(self.root).digest().hex(":").upper()


@dataclass(frozen=True)
class _Signer:
    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey


def site_certificate(folder: Path, names: Iterable[str], now: datetime) -> SiteCertificate:
    """The certificate for a machine with these names and addresses; made or renewed where needed.

    A file that is damaged counts as none.

    Args:
        folder: where certificates and keys are kept; made where it is missing.
        names: host names and IP addresses as text.

    Raises:
        OSError: the folder cannot be written.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    asked = sorted({name.lower() for name in names})
    signer = _kept_root(folder, asked, now)
    is_new = signer is None
    if signer is None:
        signer = _new_root(folder, asked, now)
    shown = None if is_new else _kept_server(folder, signer, asked, now)
    if shown is None:
        shown = _new_server(folder, signer, asked, now)
    root = signer.certificate.public_bytes(serialization.Encoding.DER)
    return SiteCertificate(
        folder / SERVER_FILE, folder / KEY_FILE, root, shown.not_valid_after_utc, is_new
    )


def _kept_root(folder: Path, names: Sequence[str], now: datetime) -> _Signer | None:
    found = _pair(folder / ROOT_FILE, folder / _ROOT_KEY_FILE)
    if found is None:
        return None
    lasts = found.certificate.not_valid_after_utc - now > timedelta(days=SERVER_DAYS)
    return found if lasts and _allowed(names) <= _allowed_by(found.certificate) else None


def _kept_server(
    folder: Path, signer: _Signer, names: Sequence[str], now: datetime
) -> x509.Certificate | None:
    found = _pair(folder / SERVER_FILE, folder / KEY_FILE)
    if found is None or found.certificate.not_valid_before_utc > now:
        return None
    try:
        found.certificate.verify_directly_issued_by(signer.certificate)
    except (InvalidSignature, ValueError):
        return None
    lasts = found.certificate.not_valid_after_utc - now > timedelta(days=RENEWED_DAYS)
    said = found.certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return found.certificate if lasts and set(said) >= set(map(_general, names)) else None


def _pair(certificate: Path, key: Path) -> _Signer | None:
    """A certificate and its key from files; None where one is missing, damaged or of another."""
    try:
        read = x509.load_pem_x509_certificate(certificate.read_bytes())
        own = serialization.load_pem_private_key(key.read_bytes(), None)
    except (FileNotFoundError, ValueError):
        return None
    if not isinstance(own, ec.EllipticCurvePrivateKey) or own.public_key() != read.public_key():
        return None
    return _Signer(read, own)


def _new_root(folder: Path, names: Sequence[str], now: datetime) -> _Signer:
    key = ec.generate_private_key(_CURVE())
    name = _named(f"Bathkeeper site {now:%Y-%m-%d}")
    usage = _usage(key_cert_sign=True, crl_sign=True)
    built = (
        _dated(now, ROOT_DAYS)
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.NameConstraints(_ordered(_allowed(names)), None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    made = _Signer(built.sign(key, hashes.SHA256()), key)
    _keep(folder, _ROOT_KEY_FILE, ROOT_FILE, made)
    return made


def _new_server(
    folder: Path, signer: _Signer, names: Sequence[str], now: datetime
) -> x509.Certificate:
    key = ec.generate_private_key(_CURVE())
    purpose = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    from_root = x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.key.public_key())
    built = (
        _dated(now, SERVER_DAYS)
        .subject_name(_named("Bathkeeper"))
        .issuer_name(signer.certificate.subject)
        .public_key(key.public_key())
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True), critical=True)
        .add_extension(purpose, critical=False)
        .add_extension(x509.SubjectAlternativeName(map(_general, names)), critical=False)
        .add_extension(from_root, critical=False)
    )
    made = _Signer(built.sign(signer.key, hashes.SHA256()), key)
    _keep(folder, KEY_FILE, SERVER_FILE, made)
    return made.certificate


def _dated(now: datetime, days: int) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - EARLY)
        .not_valid_after(now + timedelta(days=days))
    )


def _named(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])


def _usage(
    *, digital_signature: bool = False, key_cert_sign: bool = False, crl_sign: bool = False
) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=digital_signature, key_cert_sign=key_cert_sign, crl_sign=crl_sign,
        content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _allowed(names: Iterable[str]) -> set[x509.GeneralName]:
    """What a root may sign for: private networks, and just these names and addresses."""
    private = [ip_network(one) for one in PRIVATE]
    allowed: set[x509.GeneralName] = {x509.IPAddress(one) for one in private}
    for name in names:
        try:
            address = ip_address(name)
        except ValueError:
            allowed.add(x509.DNSName(name))
            continue
        if not any(address in network for network in private):
            allowed.add(x509.IPAddress(ip_network(address)))
    return allowed


def _ordered(allowed: set[x509.GeneralName]) -> list[x509.GeneralName]:
    return sorted(allowed, key=lambda one: (type(one).__name__, str(one.value)))


def _allowed_by(root: x509.Certificate) -> set[x509.GeneralName]:
    try:
        found = root.extensions.get_extension_for_class(x509.NameConstraints).value
    except x509.ExtensionNotFound:
        return set()
    return set(found.permitted_subtrees or ())


def _keep(folder: Path, key_file: str, certificate_file: str, made: _Signer) -> None:
    """Write both files, each whole or not at all; two that do not belong together count as none."""
    key = made.key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    _write(folder / key_file, key, 0o600)
    _write(
        folder / certificate_file,
        made.certificate.public_bytes(serialization.Encoding.PEM),
        0o644,
    )


def _write(path: Path, content: bytes, mode: int) -> None:
    unfinished = path.with_name(f"{path.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(path)
