"""What a browser brings that says who is there, and what it is given."""

from dataclasses import dataclass, field
from datetime import timedelta

from starlette.requests import HTTPConnection
from starlette.responses import Response

from app.services.people.hashing import digest_of
from app.services.people.signing import Opened
from app.services.people.throttling import Client
from app.store.people import LONGEST_OF_SCREENS

SESSION, DEVICE = "sign_in", "device"
DEVICE_FOR_S = 400 * 86400
LONGEST_COOKIE = 200


@dataclass
class SignIn:
    """Whether people sign in at this site.

    Attributes:
        is_on: they do.
        idle_after: how long without a word until a PIN is asked for again.
        code_digest: of the code that makes the first manager; empty where none is given out.
        is_another: the code makes a manager where there are others.
        is_exposed: other machines are served.
    """

    is_on: bool = False
    idle_after: timedelta = timedelta(minutes=30)
    code_digest: str = field(default="", repr=False)
    is_another: bool = False
    is_exposed: bool = False


def sign_in_of(request: HTTPConnection) -> SignIn:
    """Whether people sign in here."""
    found: SignIn = request.app.state.sign_in
    return found


def token_in(request: HTTPConnection) -> str:
    """The token of a session that a browser sends; empty where it sends none."""
    return request.cookies.get(SESSION, "")[:LONGEST_COOKIE]


def device_in(request: HTTPConnection) -> str:
    """The secret that this device was given; empty where it has none."""
    return request.cookies.get(DEVICE, "")[:LONGEST_COOKIE]


def client_of(request: HTTPConnection) -> Client:
    """Where a request comes from."""
    address = request.client.host if request.client is not None else ""
    kind = request.headers.get("user-agent", "")[:110]
    device = device_in(request)
    return Client(address, digest_of(device) if device else "", f"{address} {kind}".strip())


def remember(request: HTTPConnection, answer: Response, opened: Opened) -> None:
    """Give a browser its session, and the device its secret."""
    lasts_s = int(LONGEST_OF_SCREENS.total_seconds())
    _set(request, answer, SESSION, opened.token, lasts_s)
    _set(request, answer, DEVICE, opened.device, DEVICE_FOR_S)


def forget(request: HTTPConnection, answer: Response) -> None:
    """Take the session from a browser; the device stays known."""
    _set(request, answer, SESSION, "", 0)


def _set(request: HTTPConnection, answer: Response, name: str, value: str, age_s: int) -> None:
    answer.set_cookie(
        name, value, max_age=age_s, httponly=True, samesite="strict",
        secure=request.url.scheme == "https",
    )  # fmt: skip
