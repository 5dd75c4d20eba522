"""The summary of each week: written to a folder once the week is over, and sent where set up."""

import hashlib
import logging
import re
import smtplib
import ssl
from collections.abc import Iterator
from datetime import datetime
from email.message import EmailMessage
from email.utils import parseaddr
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.config import Mail, Settings
from app.domain.money import in_units, minor_in_unit
from app.domain.spend import weekly_costs as verdicts
from app.domain.spend.cost_lines import CATEGORY_WORDS
from app.domain.spend.weeks import IsoWeek
from app.services.spend.ahead import Plan, spend_ahead
from app.services.spend.sheets import csv_lines, quality_rows, write_week
from app.services.spend.week import Week, read_week
from app.store import queries
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import RoomRow

LONGEST_WAIT_S = 20
NEXT_WEEKS, LIKELY = 2, 0.5  # a swap is named from that chance on
VERDICTS = {
    verdicts.OVER: "Over the budget by", verdicts.UNDER: "Under the budget by",
    verdicts.AHEAD: "More than the budget to date by", verdicts.SO_FAR: "Left of the budget",
}  # fmt: skip
DOMAIN = re.compile(r"[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")
NO_DOMAIN = "bathkeeper.invalid"  # RFC 2606: never anybody's
_log = logging.getLogger(__name__)


def write_due(store: Store, settings: Settings, now: datetime) -> list[Path]:
    """Write, and send, the last week of each room where that was not done yet.

    What fails is logged and tried again the next time.
    """
    if settings.summary_dir is None:
        return []
    written = []
    with reading(store) as session:
        for room in queries.rooms(session):
            week = IsoWeek.at(now, ZoneInfo(room.time_zone)).plus(-1)
            try:
                written += _write_and_send(session, room, week, now, settings)
            except (OSError, smtplib.SMTPException) as error:
                _log.warning("Summary of %s for %s failed: %s", week, room.key, error)
    return written


def _write_and_send(
    session: Session, room: RoomRow, week: IsoWeek, now: datetime, settings: Settings
) -> list[Path]:
    folder = settings.summary_dir
    assert folder is not None
    stem = f"spend-{room.key}-{week}"
    text, sent = folder / f"{stem}.txt", folder / f"{stem}.sent"
    is_new = not text.exists()
    if is_new:
        read = read_week(session, room, week, now)
        if not read.lines and not read.pace.washes:
            return []
        _write(session, room, read, spend_ahead(session, room, now), folder / stem)
    if settings.mail is not None and not sent.exists():
        subject = f"{room.name}: spend of week {week}"
        local = now.astimezone(ZoneInfo(room.time_zone))
        session.close()  # a mail server may take its time; no connection waits for it
        send(settings.mail, subject, text, folder / f"{stem}.xlsx", local)
        sent.touch()
    return [text] if is_new else []


def _write(session: Session, room: RoomRow, read: Week, plan: Plan, to: Path) -> None:
    """The workbook and the table first: where the text stands, all of it does."""
    folder, stem = to.parent, to.name
    folder.mkdir(parents=True, exist_ok=True)
    zone = ZoneInfo(room.time_zone)
    until = read.week.span(zone)[1]
    assert room.id is not None
    board = queries.board(session, room.id, until, with_retired=True)
    tanks = {tank.key: tank.name for tank in board.tanks}
    resins = {resin.key: resin.name for resin in queries.resins(session, room.id)}
    write_week(folder / f"{stem}.xlsx", read, tanks, resins, zone)
    with (folder / f"{stem}.csv").open("w", encoding="utf-8", newline="") as table:
        table.writelines(csv_lines(read.lines, str(read.week), zone, room.currency))
    part = folder / f"{stem}.part"
    lines = [*summary_lines(room, read, tanks), *next_lines(plan, tanks)]
    part.write_text("\n".join(lines) + "\n", "utf-8")
    part.replace(folder / f"{stem}.txt")


def summary_lines(room: RoomRow, read: Week, tanks: dict[str, str]) -> Iterator[str]:
    """The week as plain text."""
    currency = read.spend.prices.currency
    unit = f" {currency}".rstrip()

    def amount(cents: int, sign: str = "") -> str:
        return f"{in_units(cents, currency):{sign},f}"

    def money(cents: int, sign: str = "") -> str:
        return f"{amount(cents, sign)}{unit}"

    yield f"{room.name}, week {read.week} ({read.week.monday} to {read.week.sunday})"
    yield f"Consumed: {money(read.cents)}"
    if read.verdict is not None:
        yield f"Budget: {money(read.verdict.budget_cents)}"
        yield f"{VERDICTS[read.verdict.kind]}: {money(read.verdict.cents)}"
    yield from (
        f"  {CATEGORY_WORDS[name]}: {money(cents)}"
        for name, cents in read.by_category.items()
        if cents
    )
    if (why := read.why) is not None:
        yield f"Against the mean of the {why.weeks} weeks before, {money(why.usual_cents)}:"
        for one in why.drivers:
            where = ", ".join(
                f"{tanks.get(tank, tank)} {amount(cents, '+')}" for tank, cents in one.tanks
            )
            mostly = f" ({where})" if where else ""
            yield f"  {CATEGORY_WORDS[one.category]}: {money(one.change_cents, '+')}{mostly}"
        yield f"  in all: {money(why.change_cents, '+')}"
    yield f"Bought: {money(read.bought_cents)}"
    yield "By tank:"
    for group in read.by_tank:
        yield f"  {tanks.get(group.key, group.key) or 'Whole room'}: {money(group.cents)}"
    yield from (f"{name}: {figure}" for name, figure in quality_rows(read))
    for loss in read.quality.losses:
        worth = "no price known" if loss.cents is None else money(loss.cents)
        where = tanks.get(loss.tank, loss.tank)
        yield f"Lost from {where}, charged when it was filled: {loss.litres:.1f} L, {worth}"
    if read.uncovered:
        yield f"Fills without anything taken from the shelf: {len(read.uncovered)}"
    if read.unpriced:
        yield f"Taken from the shelf without a price: {len(read.unpriced)}"


def next_lines(plan: Plan, tanks: dict[str, str]) -> Iterator[str]:
    """What the week that is running and the next should cost, in whole units of the currency."""
    unit, per_unit = f" {plan.prices.currency}".rstrip(), minor_in_unit(plan.prices.currency)
    if not plan.is_known:
        yield f"Next: too early to say. {plan.missing}."
        return
    for week, ahead in plan.weeks[:NEXT_WEEKS]:
        about, low, high = (
            f"{round(cents / per_unit):,}"
            for cents in (ahead.cents, ahead.low_cents, ahead.high_cents)
        )
        yield f"Next: week {week} about {about}{unit}, {low} to {high}"
        likely = [tanks.get(tank, tank) for tank, chance in ahead.likely if chance >= LIKELY]
        if likely:
            yield f"  Swaps likely: {', '.join(likely)}"
    if plan.too_early:
        names = ", ".join(tanks.get(tank, tank) for tank in plan.too_early)
        yield f"  Without the swaps of {names}: too early to say. {plan.missing}."


def send(mail: Mail, subject: str, text: Path, sheet: Path, at: datetime) -> None:
    """Send a summary with its workbook, dated `at` in its zone (RFC 5322, 3.6).

    Raises:
        OSError, smtplib.SMTPException: the server cannot be reached or refuses.
    """
    message = EmailMessage()
    message["Subject"] = " ".join(subject.split())
    message["From"], message["To"] = mail.sender, ", ".join(mail.receivers)
    message["Date"], message["Message-ID"] = at, _message_id(mail.sender, text)
    message.set_content(text.read_text("utf-8"))
    message.add_attachment(
        sheet.read_bytes(), maintype="application",
        subtype="vnd.openxmlformats-officedocument.spreadsheetml.sheet", filename=sheet.name,
    )  # fmt: skip
    with smtplib.SMTP(mail.host, mail.port, timeout=LONGEST_WAIT_S) as server:
        if mail.user:
            server.starttls(context=ssl.create_default_context())
            server.login(mail.user, mail.password)
        server.send_message(message)


def _message_id(sender: str, text: Path) -> str:
    """The same for a summary that is sent again, so that a receiver can tell it is one."""
    domain = parseaddr(sender)[1].rpartition("@")[2]
    if not DOMAIN.fullmatch(domain):
        domain = NO_DOMAIN
    own = hashlib.sha256(b"\0".join((sender.encode(), text.name.encode(), text.read_bytes())))
    return f"<{own.hexdigest()[:32]}@{domain}>"
