"""Settings from the environment, with defaults that suit a room's own machine."""

import os
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Settings:
    """Where the program keeps its data and how it serves.

    Attributes:
        data_dir: folder of the embedded database and uploads.
        database_url: another database instead (`BATHKEEPER_DATABASE`), or empty.
        allowed_hosts: host names that pages may be asked for under; empty allows any.
        longest_upload_bytes: largest accepted request body.
    """

    data_dir: Path = Path("data")
    database_url: str = ""
    allowed_hosts: tuple[str, ...] = ()
    longest_upload_bytes: int = 64 * 1024 * 1024

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
        allowed_hosts=tuple(host.strip() for host in hosts.split(",") if host.strip()),
    )
