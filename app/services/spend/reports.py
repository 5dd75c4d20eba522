"""The week to take away: a workbook with live sums, and a table as CSV.

The summary of each week is written to a folder once the week is over, and sent where set up.
"""

import csv
import hashlib
import io
import logging
import re
import smtplib
import ssl
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from email.message import EmailMessage
from email.utils import parseaddr
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.config import Mail, Settings
from app.domain.money import digits_of, in_units, minor_in_unit
from app.domain.plural import thousands
from app.domain.roomlog.cells import guarded
from app.domain.solvents import SOLVENTS
from app.domain.spend import weekly_costs as verdicts
from app.domain.spend.cost_lines import CATEGORIES, CATEGORY_WORDS, CostLine
from app.domain.spend.weekly_costs import Comparison
from app.domain.spend.weeks import IsoWeek
from app.services.spend.forecast import Plan, spend_ahead
from app.services.spend.weekly_costs import Week, read_week
from app.store import queries
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import RoomRow

COLUMNS = ("Entry", "At", "Week", "Cause", "What", "Tank", "Item", "Solvent", "Amount", "Unit",
           "Price from", "Cost")  # fmt: skip
COST_COLUMN = "L"
GROUP_COLUMNS = {"By tank": "F", "By solvent": "H"}

LONGEST_WAIT_S = 20
NEXT_WEEKS, LIKELY = 2, 0.5  # a swap is named from that chance on
VERDICTS = {
    verdicts.OVER: "Over the budget by", verdicts.UNDER: "Under the budget by",
    verdicts.AHEAD: "Over the budget to date by", verdicts.SO_FAR: "Left of the budget",
}  # fmt: skip
DOMAIN = re.compile(r"[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")
NO_DOMAIN = "bathkeeper.invalid"  # RFC 2606: never anybody's
_log = logging.getLogger(__name__)


def csv_lines(lines: Iterable[CostLine], week: str, zone: ZoneInfo, currency: str) -> Iterator[str]:
    """The lines as CSV after RFC 4180, one text a line; costs in whole units of the currency."""
    for row in [COLUMNS, *(_cells(line, week, zone, currency) for line in lines)]:
        target = io.StringIO()
        csv.writer(target, lineterminator="\r\n").writerow(
            [guarded(cell) if isinstance(cell, str) else cell for cell in row]
        )
        yield target.getvalue()


def _cells(
    line: CostLine, week: str, zone: ZoneInfo, currency: str,
    causes: Mapping[str, str] | None = None,
) -> tuple[Any, ...]:  # fmt: skip
    local = line.at.astimezone(zone).strftime("%Y-%m-%d %H:%M")
    cause = (causes or {}).get(line.category, line.category)
    return (
        line.entry, local, week, cause, line.what, line.tank, line.item, line.solvent,
        line.quantity or "", line.unit, line.basis, in_units(line.cents, currency),
    )  # fmt: skip


def quality_rows(read: Week) -> list[tuple[str, int]]:
    """What stands beside the cost: name and count."""
    found, bad = read.quality, read.quality.rejects
    return [
        ("Washes", found.washes), ("Washes past the limit", found.late),
        ("Entries of rejected parts", bad.entries), ("Parts rejected", bad.parts),
        ("Parts rejected as tacky", bad.tacky), ("Parts washed again", bad.washed_again),
        ("Parts scrapped", bad.scrapped),
    ]  # fmt: skip


def workbook(
    path: Path, week: str, lines: Sequence[CostLine], groups: Mapping[str, Any], zone: ZoneInfo,
    currency: str = "",
    beside: Mapping[str, Sequence[tuple[str, int, bool]]] | None = None,
    why: Comparison | None = None,
) -> None:  # fmt: skip
    """Write the workbook: one sheet of entries, one of sums that follow it.

    Rows are written as they come and kept nowhere (constant memory), so the entries are first.
    `beside` are figures that no entry here adds up to: name, figure, and whether it is money. A
    usual week (`why`) is made of other weeks' entries and stands as values beside this one's sums.
    """
    options = {
        "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
        "strings_to_numbers": False,
    }  # fmt: skip
    import xlsxwriter  # type: ignore[import-untyped]  # noqa: PLC0415  (a start is quicker)

    with xlsxwriter.Workbook(str(path), options) as book:
        digits = digits_of(currency)
        shape = f"#,##0.{digits * '0'}".rstrip(".")
        pen = _Pen(
            book.add_format({"bold": True}), book.add_format({"num_format": shape}), currency
        )
        entries = book.add_worksheet("Entries")
        entries.set_column(0, len(COLUMNS) - 1, 16)
        for column, name in enumerate(COLUMNS):
            entries.write_string(0, column, name, pen.bold)
        for number, line in enumerate(lines, 1):
            _write_row(entries, number, _cells(line, week, zone, currency, CATEGORY_WORDS), pen)
        sheet = book.add_worksheet("Sums")
        sheet.set_column(0, 1, 30)
        row = _sums(sheet, week, lines, groups, pen)
        row = _against(sheet, row, why, pen)
        _beside(sheet, row, beside or {}, pen)


@dataclass(frozen=True)
class _Pen:
    """How cells are written: titles, and amounts in whole units of a currency."""

    bold: Any
    money: Any
    currency: str

    def value(self, cents: int) -> float:
        """An amount as a cell holds it."""
        return float(in_units(cents, self.currency))


def _write_row(sheet: Any, number: int, cells: Sequence[Any], pen: _Pen) -> None:
    for column, cell in enumerate(cells):
        if isinstance(cell, Decimal):
            sheet.write_number(number, column, float(cell), pen.money)
        elif isinstance(cell, float | int):
            sheet.write_number(number, column, cell)
        elif cell:
            sheet.write_string(number, column, cell)


def _sums(
    sheet: Any, week: str, lines: Sequence[CostLine], groups: Mapping[str, Any], pen: _Pen
) -> int:
    last = max(len(lines) + 1, 2)
    cost = f"Entries!${COST_COLUMN}$2:${COST_COLUMN}${last}"
    sheet.write_string(0, 0, f"Week {week}", pen.bold)
    sheet.write_string(0, 1, pen.currency, pen.bold)
    row = 1
    for name in CATEGORIES:
        cents = sum(line.cents for line in lines if line.category == name)
        sheet.write_string(row, 0, CATEGORY_WORDS[name])
        formula = f"=SUMIF(Entries!$D$2:$D${last},A{row + 1},{cost})"
        sheet.write_formula(row, 1, formula, pen.money, pen.value(cents))
        row += 1
    whole = sum(line.cents for line in lines)
    sheet.write_string(row, 0, "All", pen.bold)
    sheet.write_formula(row, 1, f"=SUM(B2:B{row})", pen.money, pen.value(whole))
    row += 2
    for title, found in groups.items():
        sheet.write_string(row, 0, title, pen.bold)
        for key, name, cents in found:
            row += 1
            sheet.write_string(row, 0, name)
            if (column := GROUP_COLUMNS.get(title)) is None:
                sheet.write_number(row, 1, pen.value(cents), pen.money)
            else:  # "=" is an empty cell: what is tied to none
                keys = f"Entries!${column}$2:${column}${last}"
                formula = f'=SUMIF({keys},"{key or "="}",{cost})'
                sheet.write_formula(row, 1, formula, pen.money, pen.value(cents))
        row += 2
    return row


def _against(sheet: Any, row: int, why: Comparison | None, pen: _Pen) -> int:
    """Change, this week and the usual one by cause: the first two follow the sums above."""
    if why is None:
        return row
    titles = (f"Compared with the mean of {why.weeks} weeks", "Change", "This week", "Usual")
    for column, text in enumerate(titles):
        sheet.write_string(row, column, text, pen.bold)
    rows = [
        (CATEGORY_WORDS[one.category], CATEGORIES.index(one.category) + 2, one.cents,
         one.usual_cents)
        for one in why.drivers
    ]  # fmt: skip
    for name, place, cents, usual_cents in [
        *rows, ("All causes", len(CATEGORIES) + 2, why.cents, why.usual_cents)
    ]:  # fmt: skip
        row += 1
        sheet.write_string(row, 0, name)
        change = pen.value(cents - usual_cents)
        sheet.write_formula(row, 1, f"=C{row + 1}-D{row + 1}", pen.money, change)
        sheet.write_formula(row, 2, f"=B{place}", pen.money, pen.value(cents))
        sheet.write_number(row, 3, pen.value(usual_cents), pen.money)
    return row + 2


def _beside(sheet: Any, row: int, beside: Mapping[str, Any], pen: _Pen) -> None:
    for title, figures in beside.items():
        sheet.write_string(row, 0, title, pen.bold)
        for name, figure, is_money in figures:
            row += 1
            sheet.write_string(row, 0, name)
            value = pen.value(figure) if is_money else figure
            sheet.write_number(row, 1, value, pen.money if is_money else None)
        row += 2


def solvent_name(key: str) -> str:
    """A solvent's name."""
    return SOLVENTS[key].name if key in SOLVENTS else key


def write_week(
    path: Path, week: Week, tanks: Mapping[str, str], resins: Mapping[str, str], zone: ZoneInfo
) -> None:
    """The workbook of a week."""
    groups = {
        "By tank": [
            (group.key, tanks.get(group.key, group.key) or "Whole room", group.cents)
            for group in week.by_tank
        ],
        "By solvent": [
            (group.key, solvent_name(group.key) if group.key else "Whole room", group.cents)
            for group in week.by_solvent
        ],
        "By resin (shared out)": [
            (group.key, resins.get(group.key, group.key) or "Whole room", group.cents)
            for group in week.by_resin
        ],
    }
    counts = [*quality_rows(week), ("Taken from the shelf without a price", len(week.unpriced))]
    beside = {"Quality": [(name, count, False) for name, count in counts]}
    worth = [
        (f"{tanks.get(one.tank, one.tank)}, {one.litres:.1f} L", one.cents, True)
        for one in week.quality.losses
        if one.cents is not None
    ]
    if worth:
        beside["Lost to problems, charged when it was filled"] = worth
    currency = week.spend.prices.currency
    workbook(path, str(week.week), week.lines, groups, zone, currency, beside, week.why)


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
        usual = money(why.usual_cents)
        yield f"Compared with a usual week, the mean of the {why.weeks} before, {usual}:"
        for one in why.drivers:
            where = ", ".join(
                f"{tanks.get(tank, tank)} {amount(cents, '+')}" for tank, cents in one.tanks
            )
            mostly = f" ({where})" if where else ""
            yield f"  {CATEGORY_WORDS[one.category]}: {money(one.change_cents, '+')}{mostly}"
        yield f"  Total: {money(why.change_cents, '+')}"
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
        yield f"Fills with nothing taken from the shelf: {len(read.uncovered)}"
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
            thousands(round(cents / per_unit))
            for cents in (ahead.cents, ahead.low_cents, ahead.high_cents)
        )
        yield f"Next: week {week} should cost about {about}{unit}, likely {low} to {high}"
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
