"""The summary of each week: written to a folder once the week is over, and sent where set up."""

import logging
import smtplib
import ssl
from collections.abc import Iterator
from datetime import datetime
from email.message import EmailMessage
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.config import Mail, Settings
from app.domain.spend.weeks import IsoWeek
from app.services.spend.sheets import amount, csv_lines, write_week
from app.services.spend.week import Week, read_week
from app.store import queries
from app.store.engine import Store
from app.store.tables import RoomRow

LONGEST_WAIT_S = 20
_log = logging.getLogger(__name__)


def write_due(store: Store, settings: Settings, now: datetime) -> list[Path]:
    """Write, and send, the last week of each room where that was not done yet.

    What fails is logged and tried again the next time.
    """
    if settings.summary_dir is None:
        return []
    written = []
    with Session(store.reader) as session:
        for room in queries.rooms(session):
            week = IsoWeek.at(now, ZoneInfo(room.time_zone)).plus(-1)
            try:
                written += _write_and_send(session, room, week, settings)
            except (OSError, smtplib.SMTPException) as error:
                _log.warning("Summary of %s for %s failed: %s", week, room.key, error)
    return written


def _write_and_send(
    session: Session, room: RoomRow, week: IsoWeek, settings: Settings
) -> list[Path]:
    folder = settings.summary_dir
    assert folder is not None
    stem = f"spend-{room.key}-{week}"
    text, sent = folder / f"{stem}.txt", folder / f"{stem}.sent"
    is_new = not text.exists()
    if is_new:
        read = read_week(session, room, week)
        if not read.lines and not read.pace.washes:
            return []
        _write(session, room, read, folder, stem)
    if settings.mail is not None and not sent.exists():
        send(settings.mail, f"{room.name}: spend of week {week}", text, folder / f"{stem}.xlsx")
        sent.touch()
    return [text] if is_new else []


def _write(session: Session, room: RoomRow, read: Week, folder: Path, stem: str) -> None:
    """The workbook and the table first: where the text stands, all of it does."""
    folder.mkdir(parents=True, exist_ok=True)
    zone = ZoneInfo(room.time_zone)
    until = read.week.span(zone)[1]
    assert room.id is not None
    board = queries.board(session, room.id, until, with_retired=True)
    tanks = {tank.key: tank.name for tank in board.tanks}
    resins = {resin.key: resin.name for resin in queries.resins(session, room.id)}
    write_week(folder / f"{stem}.xlsx", read, tanks, resins, zone)
    with (folder / f"{stem}.csv").open("w", encoding="utf-8", newline="") as table:
        table.writelines(csv_lines(read.lines, str(read.week), zone))
    part = folder / f"{stem}.part"
    part.write_text("\n".join(summary_lines(room, read, tanks)) + "\n", "utf-8")
    part.replace(folder / f"{stem}.txt")


def summary_lines(room: RoomRow, read: Week, tanks: dict[str, str]) -> Iterator[str]:
    """The week as plain text."""
    unit = f" {read.spend.prices.currency}".rstrip()

    def money(cents: int) -> str:
        return f"{amount(cents):,.2f}{unit}"

    yield f"{room.name}, week {read.week} ({read.week.monday} to {read.week.sunday})"
    yield f"Consumed: {money(read.cents)}"
    if read.budget_cents is not None:
        yield f"Budget: {money(read.budget_cents)}"
    for category, cents in read.by_category.items():
        if cents:
            yield f"  {category}: {money(cents)}"
    yield f"Bought: {money(read.bought_cents)}"
    yield "By tank:"
    for group in read.by_tank:
        yield f"  {tanks.get(group.key, group.key) or 'Whole room'}: {money(group.cents)}"
    yield f"Washes: {read.pace.washes}, past the limit: {read.late}; rejects: {read.rejects}"
    if read.uncovered:
        yield f"Fills without anything taken from the shelf: {len(read.uncovered)}"


def send(mail: Mail, subject: str, text: Path, sheet: Path) -> None:
    """Send a summary with its workbook.

    Raises:
        OSError, smtplib.SMTPException: the server cannot be reached or refuses.
    """
    message = EmailMessage()
    message["Subject"] = " ".join(subject.split())
    message["From"], message["To"] = mail.sender, ", ".join(mail.receivers)
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
