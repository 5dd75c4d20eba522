"""Wrong PINs and passwords make whoever tries them wait, and nobody else.

Each client counts for itself and each person: its device, where that person signed in on it before,
otherwise its address. So a flood of wrong PINs from one place leaves the tablet on the wall alone.
All strange clients together have a count of their own for each person, so that many addresses do
not give many guesses. A try is counted before it is looked at: tries sent at once count too.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address, ip_network

from sqlmodel import Session, col, delete

from app.domain.errors import TooSoon
from app.domain.people.secrets import FREE_FAILURES, FREE_FAILURES_OF_STRANGERS, wait_s
from app.domain.plural import counted
from app.services.transaction import write
from app.store.engine import Store
from app.store.instants import from_us, to_us
from app.store.people_tables import FailureRow, KnownDeviceRow
from app.store.sessions import reading

FORGOTTEN_AFTER = timedelta(days=1)
CODE = "code"
"""Of what the tries of the first manager's code are counted."""


@dataclass(frozen=True)
class Client:
    """Where a request comes from.

    Attributes:
        address: of the network.
        device: digest of the secret that the program gave this browser; empty where it has none.
        label: for a person to know it by.
    """

    address: str
    device: str = ""
    label: str = ""

    @property
    def network(self) -> str:
        """The address as it is counted: of IPv6 the 64 bits that one subscriber has."""
        try:
            found = ip_address(self.address)
        except ValueError:
            return self.address[:45]
        if found.version == 4:
            return str(found)
        return str(ip_network(f"{found}/64", strict=False).network_address)


def tried(
    store: Store, whose: int | None, client: Client, now: datetime, is_right: Callable[[], bool]
) -> bool:
    """Count a try of somebody's secret, look at it, and forget the wrong ones if it is right.

    `whose` is the account, None for the code of the first manager.

    Raises:
        TooSoon: this client waits; nothing is looked at.
    """
    with reading(store) as session:
        keys = _keys(session, whose, client)
        soonest = _until(session, keys, now)
    if soonest is None:
        with write(store) as session:
            soonest = _until(session, keys, now, is_held=True)
            if soonest is None:
                for key, free in keys.items():
                    _count(session, key, whose, free, now)
    if soonest is not None:
        raise _too_soon(soonest, now)
    if not is_right():
        return False
    with write(store) as session:
        _forget(session, list(keys), now)
    return True


def forget_all(session: Session, account_id: int) -> None:
    """Let somebody try again at once, everywhere: a manager's unlocking."""
    session.exec(delete(FailureRow).where(col(FailureRow.account_id) == account_id))


def know_device(session: Session, account_id: int, device: str, now: datetime) -> None:
    """Somebody signed in on this device: from now on its tries count apart from strangers'."""
    session.merge(KnownDeviceRow(account_id=account_id, digest=device, at_us=to_us(now)))


def _keys(session: Session, whose: int | None, client: Client) -> dict[str, int]:
    """What a try counts for, each with how many wrong ones are free."""
    about = CODE if whose is None else str(whose)
    known = (whose, client.device)
    if all(known) and session.get(KnownDeviceRow, known) is not None:
        return {f"{about}/device/{client.device}": FREE_FAILURES}
    found = {f"{about}/from/{client.network}": FREE_FAILURES}
    if whose is not None:
        found[f"{about}/strangers"] = FREE_FAILURES_OF_STRANGERS
    return found


def _until(
    session: Session, keys: dict[str, int], now: datetime, *, is_held: bool = False
) -> datetime | None:
    """The end of the longest wait; None where there is none. `is_held`: other servers wait."""
    found = (session.get(FailureRow, key, with_for_update=is_held or None) for key in keys)
    rows = [row for row in found if row is not None]
    ends = [from_us(row.until_us) for row in rows if row.until_us > to_us(now)]
    return max(ends, default=None)


def _count(session: Session, key: str, whose: int | None, free: int, now: datetime) -> None:
    row = session.get(FailureRow, key)
    if row is None:
        row = FailureRow(key=key, account_id=whose, failures=0, at_us=0, until_us=0)
    if now - from_us(row.at_us) > FORGOTTEN_AFTER:
        row.failures = 0
    row.failures += 1
    row.at_us = to_us(now)
    row.until_us = to_us(now + timedelta(seconds=wait_s(row.failures, free)))
    session.add(row)


def _forget(session: Session, keys: list[str], now: datetime) -> None:
    """A right one ends the count of its client; of the strangers' it only takes itself back."""
    for key in keys:
        row = session.get(FailureRow, key)
        if row is None:
            continue
        if key.endswith("/strangers"):
            row.failures -= 1
            row.until_us = min(row.until_us, to_us(now))
        else:
            session.delete(row)


def _too_soon(until: datetime, now: datetime) -> TooSoon:
    left = max(1, round((until - now).total_seconds()))
    words = counted(left, "second") if left < 120 else f"{round(left / 60)} minutes"
    message = (
        f"Too many wrong tries from here. Try again in {words}, or ask a manager to let you in "
        "now. People signed in elsewhere can carry on."
    )
    return TooSoon(message, left)
