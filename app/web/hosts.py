"""The names and addresses that the program answers under.

A page of anybody's can have its own name point at this machine ("DNS rebinding"); the browser then
takes the two for one site. The header Host tells them apart: it carries that name. So only what is
known to be this machine is answered, and what the site sets in BATHKEEPER_HOSTS.
"""

import re
import socket
from collections.abc import Iterable
from functools import lru_cache
from ipaddress import IPv4Address, IPv6Address, ip_address

from app.domain.errors import DomainError

SETTING = "BATHKEEPER_HOSTS"
_AUTHORITY = re.compile(r"(?:\[(?P<v6>[0-9A-Fa-f:.]+)\]|(?P<name>[\w.-]+))(?::\d{0,5})?", re.ASCII)
Address = IPv4Address | IPv6Address


class Hosts:
    """Where this program is served: this machine's own names and addresses, and the given names.

    Raises:
        DomainError: one of the given names is none.
    """

    def __init__(self, given: Iterable[str] = ()) -> None:
        self._given = frozenset(map(_given, given))

    def serves(self, authority: str) -> bool:
        """Whether a header Host names this program; its port does not count."""
        host = host_of(authority)
        if host is None or host in self._given:
            return host is not None
        if isinstance(host, str):
            return host in names_of_this_machine()
        return host.is_loopback or is_address_of_this_machine(host)


@lru_cache(maxsize=256)
def host_of(authority: str) -> str | Address | None:
    """The host of an authority (RFC 3986, section 3.2), without its port and in one spelling.

    >>> host_of("Room-PC.local.:8000")
    'room-pc.local'
    >>> host_of("[::ffff:127.0.0.1]:80")
    IPv4Address('127.0.0.1')
    >>> host_of("somebody@room-pc")
    """
    found = _AUTHORITY.fullmatch(authority)
    if found is None:
        return None
    name = found["name"]
    try:
        address = ip_address(found["v6"] or name.removesuffix("."))
    except ValueError:
        return name.lower().removesuffix(".") or None if name else None
    if isinstance(address, IPv6Address):
        return None if name else address.ipv4_mapped or address
    return address if name else None


def names_of_this_machine() -> set[str]:
    """Its names as they are now: localhost, its own, and that with `.local` (RFC 6762)."""
    own = socket.gethostname().lower().removesuffix(".")
    first = own.partition(".")[0]
    return {"localhost", own, first, f"{first}.local"} - {"", ".local"}


def is_address_of_this_machine(address: Address) -> bool:
    """Whether it has this address now: only an own address can be bound. Nothing is sent."""
    if address.is_unspecified or address.is_multicast or address == IPv4Address(0xFFFFFFFF):
        return False
    family = socket.AF_INET if address.version == 4 else socket.AF_INET6
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.bind((str(address), 0))
    except OSError:
        return False
    return True


def refusal_of(authority: str) -> str:
    """Why a request for this host is not answered, and what to do."""
    if not authority:
        return "The request does not say which host it is for (header Host)."
    return (
        f"“{authority[:100]}” is not known as this machine. Open the address the program printed "
        "when it started. If it is a name or address of this machine, add it to the setting "
        f"{SETTING} and restart the program."
    )


def _given(text: str) -> str | Address:
    """A host of the setting; letters of every script are taken as browsers send them (IDNA)."""
    try:
        bare = f"[{text}]" if text.count(":") > 1 and not text.startswith("[") else text
        host = host_of(bare.encode("idna").decode("ascii"))
    except UnicodeError:
        host = None
    if host is None:
        raise DomainError(
            f"{SETTING} names “{text}”, which is not a host. Give names or addresses, separated "
            "by commas, such as room-pc.example,192.168.1.20."
        )
    return host
