"""What the program is set to, with defaults that suit a room's own machine."""

from dataclasses import dataclass, field
from pathlib import Path

from pydantic import SecretStr

from app import environment
from app.environment import DAY_H, IDLE_MINUTES

SMTP_PORT = 25
NO_STORAGE_LIBRARY = (
    "BATHKEEPER_PHOTOS names an object storage, and the libraries for it are not installed. Run "
    "python3 -m app s3, then start again."
)


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
        at: path that a proxy serves the program below (`BATHKEEPER_AT`), as `/baths`; or empty.
        log: `warnings`, `plain` or `json` (`BATHKEEPER_LOG`).
        log_file: where the log is written to; None for the standard error.
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
    at: str = ""
    log: str = "warnings"
    log_file: Path | None = None

    @property
    def url(self) -> str:
        """Address of the database."""
        return self.database_url or f"sqlite:///{self.data_dir / 'bathkeeper.sqlite3'}"


def from_environment(data_dir: Path | None = None) -> Settings:
    """The settings that the environment asks for; `data_dir` given on the command line wins.

    Raises:
        DomainError: a setting is none, in words.
    """
    found = environment.read()
    return Settings(
        data_dir=data_dir or Path(found.data),
        database_url=found.database or "",
        allowed_hosts=found.hosts,
        summary_dir=_path(found.summaries),
        backup_dir=_path(found.backups),
        backup_every_h=found.backup_hours,
        mail=_mail(found),
        sign_in=found.sign_in,
        idle_minutes=found.idle_minutes,
        metrics_token=_shown(found.metrics_token),
        photos=_storage(found),
        at=found.at or "",
        log=found.log,
        log_file=_path(found.log_file),
    )


def photo_storage(address: str) -> PhotoStorage | None:
    """The object storage at an address, with the rest of what is set of it; None where it is empty.

    Raises:
        DomainError: it is none, in words.
    """
    return _storage(environment.read(photos=address)) if address.strip() else None


def _storage(found: environment.Environment) -> PhotoStorage | None:
    if found.photos is None:
        return None
    endpoint = (found.photos_endpoint or "").rstrip("/")
    key, secret = found.photos_key or "", _shown(found.photos_secret)
    return PhotoStorage(found.photos.rstrip("/"), endpoint, key, secret)


def _mail(found: environment.Environment) -> Mail | None:
    if not found.smtp:
        return None
    host, _, port = found.smtp.partition(":")
    return Mail(
        host=host,
        port=int(port) if port else SMTP_PORT,
        sender=found.mail_from or found.mail_to[0],
        receivers=found.mail_to,
        user=found.smtp_user or "",
        password=_shown(found.smtp_password),
    )


def _path(text: str | None) -> Path | None:
    return Path(text) if text else None


def _shown(secret: SecretStr | None) -> str:
    return secret.get_secret_value() if secret is not None else ""
