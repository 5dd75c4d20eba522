"""The command that serves the dashboard, and the serving itself."""

import argparse
import gc
import signal
import socket
import sys
from collections.abc import Callable
from dataclasses import replace
from ipaddress import ip_address
from types import FrameType
from typing import Any

import uvicorn

from app.cli.alone import alone
from app.cli.certified import Certified
from app.cli.database import opened, writable_settings
from app.cli.patience import patient
from app.config import Settings
from app.logged import log_as
from app.main import create_app
from app.services.people.hashing import digest_of, drawn_code
from app.store.engine import Store
from app.store.people import has_manager
from app.store.sessions import reading
from app.web.hosts import names_of_this_machine
from app.web.people.sessions import SignIn

OPEN_TO_ALL = (
    "WARNING: sign-in is off, and other machines are let in. Anyone on the network can act as "
    "anyone else, even as a lead. Start with --sign-in on, or listen on 127.0.0.1 only."
)


EVERYWHERE = ("0.0.0.0", "::")  # noqa: S104 - compared, not listened on
LOOKED_AT_TICKS = 36_000  # of a tenth of a second: an hour


def serve(words: argparse.Namespace) -> int:
    """Serve the rooms of the data folder until interrupted."""
    settings = writable_settings(words.data)
    with alone(settings.url), opened(settings.data_dir, is_new_allowed=True) as store:
        return run(words.listener, words.host, signing_as(words, settings), store, words.https)


def signing_as(words: argparse.Namespace, settings: Settings) -> Settings:
    """The settings with what the command line says about signing in."""
    if words.sign_in is not None:
        settings = replace(settings, sign_in=words.sign_in == "on")
    return replace(settings, asks_new_manager=words.new_manager)


def run(
    listener: socket.socket, host: str, settings: Settings, store: Store, is_https: bool = False
) -> int:
    """Serve on a listening socket until interrupted; the address is printed first."""
    settings = replace(
        settings,
        allowed_hosts=(*settings.allowed_hosts, *_name_in(host)),
        is_exposed=not _is_own_machine(listener),
    )
    log_as(settings)
    gc.disable()
    app = create_app(settings, store=store, are_pages_deferred=True, are_forecasts_beside=True)
    certified = Certified(settings, _names(host, settings)) if is_https else None
    config = serving_config(app, certified)
    config.load()  # what can go wrong goes wrong before the address is printed
    gc.enable()
    lines = _addresses(
        host, listener.getsockname()[1], "https" if certified else "http", settings.at
    )
    if certified is not None:
        app.state.certificate = certified.shown
        lines += certified.said()
    lines += _of_signing(app.state.sign_in, settings, store)
    server = _Server(config, lines, app.state.notices.end, certified)
    server.run(sockets=[listener])
    if server.is_interrupted:  # also where whoever started it has it ignore interruptions
        raise KeyboardInterrupt
    return 0


def serving_config(app: Any, certified: Certified | None = None) -> uvicorn.Config:
    """How an application is served: to clients that are slow, but not for ever."""
    files = certified.files() if certified is not None else {}
    return uvicorn.Config(
        app,
        http=patient(),
        log_config=None,
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=1,
        server_header=False,
        **files,
    )


class _Server(uvicorn.Server):
    """Says where it serves as soon as it does: from then on it ends in good order when asked."""

    def __init__(
        self,
        config: uvicorn.Config,
        addresses: list[str],
        at_exit: Callable[[], None],
        certified: Certified | None,
    ) -> None:
        super().__init__(config)
        self._addresses, self._at_exit, self._certified = addresses, at_exit, certified
        self.is_interrupted = False

    async def on_tick(self, counter: int) -> bool:
        if self._certified is not None and self.config.ssl and counter % LOOKED_AT_TICKS == 1:
            self._certified.renew(self.config.ssl)
        return await super().on_tick(counter)

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self.is_interrupted = self.is_interrupted or sig == signal.SIGINT
        super().handle_exit(sig, frame)
        self._at_exit()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            sys.stdout.writelines(f"{line}\n" for line in self._addresses)
            sys.stdout.flush()


def _of_signing(sign_in: SignIn, settings: Settings, store: Store) -> list[str]:
    """What the terminal says of signing in: a warning, or the code that makes a manager.

    Whoever reads it here runs the program: nobody in the network can be quicker.
    """
    if not sign_in.is_on:
        return [OPEN_TO_ALL] if settings.is_exposed else []
    with reading(store) as session:
        is_looked_after = has_manager(session)
    if is_looked_after and not settings.asks_new_manager:
        return []
    code = drawn_code()
    sign_in.code_digest = digest_of(code)
    who = "one more manager" if is_looked_after else "the first manager"
    return [f"Sign-in is on. To make {who}, open /first-manager there and type {code}"]


def _is_own_machine(listener: socket.socket) -> bool:
    address = ip_address(listener.getsockname()[0].partition("%")[0])
    return (getattr(address, "ipv4_mapped", None) or address).is_loopback


def _name_in(host: str) -> list[str]:
    """The name to listen on, which is then one of this machine; addresses are known to be."""
    try:
        ip_address(host)
    except ValueError:
        return [host]
    return []


def _names(host: str, settings: Settings) -> set[str]:
    """What this machine may be asked for as: its names and addresses, and what the site sets."""
    own = {"127.0.0.1", "::1", *names_of_this_machine(), *settings.allowed_hosts}
    if host not in EVERYWHERE:
        own.add(host)
    return own | {address for address in [_own_address()] if address is not None}


def _addresses(host: str, port: int, scheme: str, at: str) -> list[str]:
    """What to open in a browser, on this machine and on others."""
    if host not in EVERYWHERE:
        shown = f"[{host}]" if ":" in host else host
        return [f"Bathkeeper serves at {scheme}://{shown}:{port}{at}  (stop with Ctrl-C)"]
    lines = [f"Bathkeeper serves at {scheme}://127.0.0.1:{port}{at}  (stop with Ctrl-C)"]
    if (own := _own_address()) is not None:
        lines.append(f"In this network: {scheme}://{own}:{port}{at}")
    return lines


def _own_address() -> str | None:
    """This machine's address in its network; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737)
        except OSError:
            return None
        address: str = probe.getsockname()[0]
    return None if address.startswith("127.") else address
