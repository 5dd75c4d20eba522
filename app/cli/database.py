"""Opening the database for a command."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from app.cli.progress import ProgressBar
from app.clock import utc_now
from app.config import Settings, from_environment
from app.domain.errors import DomainError
from app.services.catching_up import catch_up_abandoned
from app.services.chaining import chain_up
from app.services.rebuilding import rebuild_outdated
from app.store.engine import Store, file_of, open_store
from app.store.examination import examine
from app.store.migrations import present_revision, upgrade


def writable_settings(data_dir: Path | None, default: str = "") -> Settings:
    """The settings, with a data folder that exists and can be written.

    Raises:
        DomainError: it cannot.
    """
    settings = from_environment(data_dir)
    if data_dir is None and default and settings == from_environment(Path("data")):
        settings = from_environment(Path(default))
    return writable(settings)


def writable(settings: Settings) -> Settings:
    """The settings, once their data folder exists and can be written.

    Raises:
        DomainError: it cannot.
    """
    folder = settings.data_dir
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".writable"
        probe.touch()
        probe.unlink()
    except OSError as error:
        reason = error.strerror or str(error)
        raise DomainError(
            f"The data folder {folder} cannot be written: {reason}. "
            "Choose another one with --data DIR."
        ) from None
    return settings


def is_set_up(data_dir: Path | None) -> bool:
    """Whether there is a database already; asking makes none."""
    settings = from_environment(data_dir)
    if (database := file_of(settings.url)) is not None:
        examine(database)  # says so where there was one
        return database.exists()
    store = open_store(settings.url)
    try:
        with store.reader.connect() as connection:
            return present_revision(connection) is not None
    finally:
        store.close()


@contextmanager
def opened(data_dir: Path | None, is_new_allowed: bool = False) -> Iterator[Store]:
    """The database of a data folder, brought up to date.

    Raises:
        DomainError: there is none yet and `is_new_allowed` is false, or it cannot be used.
    """
    settings = from_environment(data_dir)
    if is_new_allowed:
        writable_settings(data_dir)
    elif (database := file_of(settings.url)) and not database.exists():
        examine(database)  # says so where there was one
        raise DomainError(
            f"There is no database in the folder {database.parent}. "
            "Name its folder with --data DIR."
        )
    store = open_store(settings.url)
    try:
        upgrade(store)
        progress = ProgressBar()
        rebuild_outdated(store, utc_now(), progress)
        chain_up(store, utc_now(), progress)
        catch_up_abandoned(store, utc_now, progress)
        progress.close()
        yield store
    finally:
        store.close()
