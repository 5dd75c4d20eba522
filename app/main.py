"""Putting the program together: one application from settings."""

import asyncio
import gc
import logging
import threading
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from datetime import datetime, timedelta
from importlib import import_module
from pathlib import Path

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware

from app.api.site import install as install_api
from app.clock import steady_s as machine_steady_s
from app.clock import utc_now
from app.config import Settings, from_environment
from app.domain.clockwork import ClockWatch
from app.services.baths.board import refresh_stale
from app.services.baths.soon import make_due
from app.services.catching_up import catch_up_abandoned
from app.services.chaining import chain_up
from app.services.door import is_recorded
from app.services.rebuilding import rebuild_outdated
from app.store.across import listen, on_one_server
from app.store.engine import Store, file_of, open_store
from app.store.migrations import upgrade
from app.store.people import has_manager
from app.store.photos import photos_at
from app.store.sessions import reading
from app.store.troubles import explained
from app.web.below import Below
from app.web.guard import Guard
from app.web.heads import Heads
from app.web.hosts import Hosts
from app.web.live import Notices
from app.web.measuring import Measure, Measured
from app.web.people.gate import Gate
from app.web.people.sessions import SignIn
from app.web.requests_told import RequestsTold
from app.web.sending import ScriptForms
from app.web.serving import install as install_pages

REFRESH_EVERY_S = 600
CATCH_UP_EVERY_S = 10.0
LOOK_AT_BACKUPS_EVERY_S = 300.0
FORECASTS_AFTER_S, FORECASTS_LOOKED_FOR_S, FORECASTS_END_WITHIN_S = 0.2, 5.0, 3.0
PHOTOS_FIRST_S, PHOTOS_EVERY_S, PHOTOS_APART_S = 900.0, 86_400.0, 0.1
PAGE_LEVEL = 4

_log = logging.getLogger(__name__)

Clock = Callable[[], datetime]
Steady = Callable[[], float]


def create_app(
    settings: Settings | None = None,
    clock: Clock = utc_now,
    steady_s: Steady | None = None,
    store: Store | None = None,
    are_pages_deferred: bool = False,
    are_forecasts_beside: bool = False,
) -> FastAPI:
    """The dashboard and its JSON API on one database: on `store` where it is open already.

    `clock` gives the present instant, `steady_s` seconds that nobody sets; without the latter a
    clock other than the machine's is taken to be steady. Pages that are deferred come in when one
    of them is asked for. Forecasts that are made beside come after the entry that they follow
    from, while the application is served; otherwise with it, in its transaction.

    Raises:
        DomainError: the database cannot be opened or is from a newer version, or a host that is
            set is none.
    """
    settings = settings or from_environment()
    hosts, photos = Hosts(settings.allowed_hosts), photos_at(settings)
    if store is None:
        store = open_store(settings.url)
        upgrade(store)
        rebuild_outdated(store, clock())
        chain_up(store, clock())
    app = FastAPI(
        title="Bathkeeper", docs_url=None, redoc_url=None, openapi_url=None, lifespan=_lifespan
    )
    app.state.settings = settings
    app.state.store = store
    app.state.photos = photos
    app.state.are_forecasts_beside = are_forecasts_beside
    app.state.clock = clock
    app.state.steady_s = steady_s or _steady_of(clock)
    app.state.clock_watch = ClockWatch(clock(), app.state.steady_s())
    app.state.notices = Notices()
    store.listeners.append(app.state.notices.announce)
    app.state.measured = Measured()
    store.listeners.append(app.state.measured.write)
    app.state.sign_in = sign_in_at(settings, store)
    install_api(app)
    install_pages(app, are_pages_deferred)
    app.add_middleware(ScriptForms, is_stored=is_recorded)
    # The quickest of zlib's levels that is worth its time on pages; the event stream is left alone.
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=PAGE_LEVEL)
    app.add_middleware(Gate, store=store, sign_in=app.state.sign_in, clock=clock)
    app.add_middleware(Measure, measured=app.state.measured)
    app.add_middleware(Heads)
    app.add_middleware(Guard, settings=settings, hosts=hosts)
    app.add_middleware(RequestsTold)
    if settings.at:
        app.add_middleware(Below, at=settings.at)
    return app


def sign_in_at(settings: Settings, store: Store) -> SignIn:
    """Whether people sign in at this site: as it is set, else where it has a manager."""
    with reading(store) as session:
        is_looked_after = has_manager(session)
    return SignIn(
        is_on=is_looked_after if settings.sign_in is None else settings.sign_in,
        idle_after=timedelta(minutes=settings.idle_minutes),
        is_another=is_looked_after,
        is_exposed=settings.is_exposed,
    )


def _steady_of(clock: Clock) -> Steady:
    return machine_steady_s if clock is utc_now else lambda: clock().timestamp()


def spare_collections() -> None:
    """Leave what the start made out of every collection of garbage from now on.

    Measured: collections of the start-up's objects are what makes the slowest pages slow.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    app.state.notices.loop = asyncio.get_running_loop()
    spare_collections()
    task = asyncio.create_task(_keep_fresh(app.state.store, app.state.settings, app.state.clock))
    is_over = threading.Event()
    settings, store, clock = app.state.settings, app.state.store, app.state.clock
    app.state.threads = [
        threading.Thread(target=_keep_up, args=(store, clock, is_over), name="catching up"),
        threading.Thread(target=_check_photos, args=(store, settings, is_over), name="photos"),
    ]
    if not store.is_sqlite:
        heard = store, app.state.notices.hear, is_over
        app.state.threads.append(threading.Thread(target=listen, args=heard, name="other servers"))
    forecaster = Forecaster(store, is_over)
    if app.state.are_forecasts_beside:
        app.state.threads.append(forecaster.thread())
    if settings.backup_dir is not None and file_of(settings.url) is not None:
        asked = settings, settings.backup_dir, clock, is_over
        app.state.threads.append(threading.Thread(target=_back_up, args=asked, name="backups"))
    for thread in app.state.threads:
        thread.daemon = True
        thread.start()
    try:
        yield
    finally:
        is_over.set()
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task
        await asyncio.to_thread(forecaster.end)
        app.state.store.close()


async def _keep_fresh(store: Store, settings: Settings, clock: Clock) -> None:
    """Work forecasts out again as time passes without entries; write summaries of weeks."""
    while True:
        await _tried(refresh_stale, store, clock())
        if settings.summary_dir:
            await _tried(write_summaries, store, settings, clock())
        await asyncio.sleep(REFRESH_EVERY_S)


def write_summaries(store: Store, settings: Settings, now: datetime) -> None:
    """Write and send the summaries that are due, on one server."""
    with on_one_server(store, "summaries") as is_mine:
        if is_mine:
            # Brings the spend pages' modules and the workbook's, which a start can do without.
            import_module("app.services.spend.reports").write_due(store, settings, now)


async def _tried(work: Callable[..., object], *given: object) -> None:
    """Do it in the background; what fails is logged, and tried again the next time."""
    try:
        await asyncio.to_thread(work, *given)
    except Exception as error:
        _put_off(error)


def _put_off(error: Exception) -> None:
    if (trouble := explained(error)) is None:
        _log.error("Work in the background failed.", exc_info=error)
    else:
        _log.warning("Work in the background is put off: %s", trouble)


def _keep_up(store: Store, clock: Clock, is_over: threading.Event) -> None:
    """Let figures follow where a program ended in the middle of an import.

    In a thread that ends with the program: what it was at is gone on with by the next one.
    """
    while not is_over.is_set():
        try:
            catch_up_abandoned(store, clock)
        except Exception as error:
            _put_off(error)
        is_over.wait(CATCH_UP_EVERY_S)


class Forecaster:
    """Makes the forecasts that entries have noted as due, as soon as they stand."""

    def __init__(self, store: Store, is_over: threading.Event) -> None:
        self._store, self._is_over = store, is_over
        self._woken = threading.Event()
        self._thread: threading.Thread | None = None

    def thread(self) -> threading.Thread:
        """The thread that does it, not started; from now on forecasts wait for it."""
        self._thread = threading.Thread(target=self._run, name="forecasts")
        self._store.listeners.append(self._wake)
        self._store.makes_forecasts_soon = True
        return self._thread

    def end(self) -> None:
        """Let it end what it is at, for a moment; what is still due the next start makes."""
        self._store.makes_forecasts_soon = False
        if self._thread is not None:
            self._woken.set()
            self._thread.join(FORECASTS_END_WITHIN_S)

    def _wake(self, _room: str) -> None:
        self._woken.set()

    def _run(self) -> None:
        self._woken.set()  # what a program that ended has left
        while not self._is_over.is_set():
            # Whoever entered it reads a page first, and the entries of one act come together.
            if self._woken.wait(FORECASTS_LOOKED_FOR_S):
                self._is_over.wait(FORECASTS_AFTER_S)
            self._woken.clear()
            try:
                if make_due(self._store, self._is_over.is_set):
                    self._woken.set()
            except Exception as error:
                if not self._is_over.is_set():
                    _put_off(error)


def _check_photos(store: Store, settings: Settings, is_over: threading.Event) -> None:
    """Hold all photos against their digests once a day, one after the other and slowly."""
    wait_s = PHOTOS_FIRST_S
    while not is_over.wait(wait_s):
        wait_s = PHOTOS_EVERY_S
        try:
            with on_one_server(store, "photos") as is_mine:
                lost = check_photos_when_due(settings, is_over) if is_mine else []
        except Exception as error:
            _put_off(error)
            continue
        if lost:
            _log.warning(
                "%s photos are damaged and could not be repaired: %s", len(lost), lost[:20]
            )


def check_photos_when_due(settings: Settings, is_over: threading.Event) -> Sequence[str]:
    """Hold the photos against their digests, where no server has done so today."""
    # Brings the image library, which a start can do without.
    photos = import_module("app.services.inspections.photos")
    folder = photos_at(settings)
    if folder.checked_within(PHOTOS_EVERY_S / 2):
        return []
    lost: Sequence[str] = photos.check(folder, lambda: is_over.wait(PHOTOS_APART_S))
    folder.note_checked()
    return lost


def _back_up(settings: Settings, into: Path, clock: Clock, is_over: threading.Event) -> None:
    """Take a backup whenever the last is as old as the site says."""
    while not is_over.is_set():
        try:
            back_up_when_due(settings, into, clock())
        except Exception as error:
            _put_off(error)
        is_over.wait(LOOK_AT_BACKUPS_EVERY_S)


def back_up_when_due(settings: Settings, into: Path, now: datetime) -> bool:
    """Take a backup where the last one is old enough, and delete those that are not kept."""
    backups = import_module("app.store.backups")  # a start can do without
    made = [backups.made_at(one) for one in backups.backups(into)]
    if made and now - max(made) < timedelta(hours=settings.backup_every_h):
        return False
    backups.back_up(settings.data_dir, into, now, photos_at(settings))
    backups.rotate(into, now)
    return True
