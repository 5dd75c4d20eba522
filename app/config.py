"""Settings from the environment, with defaults that suit a room's own machine."""

import math
import os
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path

from app.domain.errors import DomainError

PHOTOS = "BATHKEEPER_PHOTOS"
DAY_H = 24.0
IDLE_MINUTES = 30.0
LEAST_TOKEN = 20  # characters
NO_STORAGE_LIBRARY = (
    "BATHKEEPER_PHOTOS names an object storage, and the libraries for it are not installed. Run "
    "python3 -m app s3, then start again."
)
ON, OFF = ("on", "yes", "true", "1"), ("off", "no", "false", "0")


@dataclass(frozen=True)
class Mail:
    """A mail server, and who writes to whom; with a user it must offer encryption (STARTTLS)."""

    host: str
    port: int
    sender: str
    receivers: tuple[str, ...]
    user: str = ""
    password: str = field(default="", repr=False)


@dataclass(frozen=True)
class PhotoStorage:
    """An object storage (S3) that photos lie in.

    Attributes:
        address: bucket and folder, as `s3://bucket/folder`.
        endpoint: address of the storage's server; empty for the one that its library knows.
        key, secret: what opens it; empty where the machine has its own right to it.
    """

    address: str
    endpoint: str = ""
    key: str = ""
    secret: str = field(default="", repr=False)


@dataclass(frozen=True)
class Settings:
    """Where the program keeps its data and how it serves.

    Attributes:
        data_dir: folder of the embedded database and uploads.
        database_url: another database instead (`BATHKEEPER_DATABASE`), or empty.
        allowed_hosts: names and addresses that pages may be asked for under, besides this
            machine's own (`BATHKEEPER_HOSTS`).
        longest_upload_bytes: largest accepted request body.
        summary_dir: folder that the summary of each week is written to; None writes none.
        backup_dir: folder that backups are written to on schedule; None writes none.
        backup_every_h: hours from one to the next.
        sign_in: whether people sign in (`BATHKEEPER_SIGN_IN`); None: where the site has a manager.
        idle_minutes: after how long without a word somebody is asked for the PIN again.
        is_exposed: it serves other machines than its own.
        asks_new_manager: the start gives out a code for one more manager.
        metrics_token: what a monitor sends to read /metrics (`BATHKEEPER_METRICS_TOKEN`); where it
            is empty, only this machine reads them, and only while no other is served.
        photos: object storage of photos (`BATHKEEPER_PHOTOS`); None: they lie in `data_dir`.
        mail: where the summary is sent as well; None sends none.
    """

    data_dir: Path = Path("data")
    database_url: str = ""
    allowed_hosts: tuple[str, ...] = ()
    longest_upload_bytes: int = 64 * 1024 * 1024
    mail: "Mail | None" = None
    summary_dir: Path | None = None
    backup_dir: Path | None = None
    backup_every_h: float = DAY_H
    sign_in: bool | None = None
    idle_minutes: float = IDLE_MINUTES
    is_exposed: bool = False
    asks_new_manager: bool = False
    metrics_token: str = field(default="", repr=False)
    photos: PhotoStorage | None = None

    @property
    def url(self) -> str:
        """Address of the database."""
        return self.database_url or f"sqlite:///{self.data_dir / 'bathkeeper.sqlite3'}"


def from_environment(data_dir: Path | None = None) -> Settings:
    """The settings that the environment asks for; `data_dir` given on the command line wins."""
    hosts = os.environ.get("BATHKEEPER_HOSTS", "")
    return Settings(
        data_dir=data_dir or Path(os.environ.get("BATHKEEPER_DATA", "data")),
        database_url=os.environ.get("BATHKEEPER_DATABASE", ""),
        allowed_hosts=_listed(hosts),
        summary_dir=Path(folder) if (folder := os.environ.get("BATHKEEPER_SUMMARIES")) else None,
        backup_dir=Path(folder) if (folder := os.environ.get("BATHKEEPER_BACKUPS")) else None,
        backup_every_h=_hours(os.environ.get("BATHKEEPER_BACKUP_HOURS", "")),
        mail=_mail(),
        sign_in=_switch(os.environ.get("BATHKEEPER_SIGN_IN", "")),
        idle_minutes=_minutes(os.environ.get("BATHKEEPER_IDLE_MINUTES", "")),
        metrics_token=_token(os.environ.get("BATHKEEPER_METRICS_TOKEN", "")),
        photos=photo_storage(os.environ.get(PHOTOS, "")),
    )


def photo_storage(address: str) -> PhotoStorage | None:
    """The object storage at an address, with the rest of what is set of it; None where it is empty.

    Raises:
        DomainError: what is set is none, or the libraries for it are not installed.
    """
    if not address.strip():
        return None
    try:
        # Only who has such a storage waits for the library, and has it.
        read = import_module("app.photo_settings").read
    except ImportError:
        raise DomainError(NO_STORAGE_LIBRARY) from None
    return PhotoStorage(**read(address.strip()))


def _hours(text: str) -> float:
    """A number of hours, at least a quarter; a day where the text is none."""
    try:
        return max(0.25, float(text)) if math.isfinite(float(text)) else DAY_H
    except ValueError:
        return DAY_H


def _minutes(text: str) -> float:
    """A number of minutes, at least a half; half an hour where the text is none."""
    try:
        return max(0.5, float(text)) if math.isfinite(float(text)) else IDLE_MINUTES
    except ValueError:
        return IDLE_MINUTES


def _switch(text: str) -> bool | None:
    """On or off; None where nothing is said.

    Raises:
        DomainError: it is neither: guessed wrong, it would leave a door open.
    """
    said = text.strip().lower()
    if said not in ("", *ON, *OFF):
        raise DomainError(f"BATHKEEPER_SIGN_IN is “{text}”. Give on or off.")
    return None if not said else said in ON


def _token(text: str) -> str:
    """A token that nobody guesses, or none.

    Raises:
        DomainError: it is too short, or could not be sent as a header.
    """
    token = text.strip()
    if token and (len(token) < LEAST_TOKEN or not token.isascii() or not token.isprintable()):
        raise DomainError(
            f"BATHKEEPER_METRICS_TOKEN needs {LEAST_TOKEN} characters or more, all ASCII."
        )
    return token


def _mail() -> Mail | None:
    host, _, port = os.environ.get("BATHKEEPER_SMTP", "").partition(":")
    receivers = _listed(os.environ.get("BATHKEEPER_MAIL_TO", ""))
    if not host or not receivers:
        return None
    return Mail(
        host=host,
        port=int(port) if port.isdigit() else 25,
        sender=os.environ.get("BATHKEEPER_MAIL_FROM", receivers[0]),
        receivers=receivers,
        user=os.environ.get("BATHKEEPER_SMTP_USER", ""),
        password=os.environ.get("BATHKEEPER_SMTP_PASSWORD", ""),
    )


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())
