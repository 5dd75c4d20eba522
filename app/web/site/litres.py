"""The book of litres: accounts, what pages say of them, postings, the same as a file."""

import csv
import io
from collections.abc import Iterator

from fastapi import APIRouter
from starlette.responses import Response, StreamingResponse

from app.domain.litres.accounts import KINDS, kind_of
from app.domain.roomlog.cells import guarded
from app.services.filtering import require_named
from app.services.litres.reading import (
    PER_PAGE,
    Posted,
    all_postings,
    book_of,
    name_of,
    postings_of,
)
from app.web.deps import VisitDep

router = APIRouter(prefix="/rooms/{room}/litres")
TITLES = ("at", "by", "from", "to", "litres", "why", "entry")


@router.get("")
def litres_page(visit: VisitDep) -> Response:
    """All accounts with their balances, or the postings of one."""
    asked = visit.request.query_params
    book = book_of(visit.session, visit.room, visit.now)
    name, page = asked.get("account", ""), asked.get("page", "")
    require_named(visit.session, visit.room_id, account=name)
    before = int(page) if page.isascii() and page.isdigit() and len(page) < 12 else None
    found = postings_of(visit.session, visit.room_id, name, before, PER_PAGE + 1)
    context = {
        "book": book,
        "account": name,
        "title": account_words(name, book.names) if name else "",
        "balance": book.litres(name),
        "about": KINDS[kind_of(name)].about if kind_of(name) in KINDS else "",
        "postings": [one for _, one in found[:PER_PAGE]],
        "next": found[PER_PAGE - 1][0] if len(found) > PER_PAGE else None,
        "words_of": lambda one: account_words(one, book.names),
    }
    return visit.page("site/litres.html", context)


@router.get("/postings.csv")
def postings_file(visit: VisitDep) -> Response:
    """All postings as comma-separated values, the oldest first, in litres.

    Text that a spreadsheet would take for a formula is guarded.
    """
    name = f"{visit.room.key}-litres.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    lines = list(_lines(all_postings(visit.session, visit.room_id)))  # while the session is open
    return StreamingResponse(iter(lines), media_type="text/csv; charset=utf-8", headers=headers)


def _lines(postings: Iterator[Posted]) -> Iterator[str]:
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(TITLES)
    for one in postings:
        text = (one.at.isoformat(), one.by, one.source, one.target, f"{one.litres:.6f}", one.why)
        writer.writerow([guarded(cell) for cell in (*text, one.entry)])
        yield file.getvalue()
        file.seek(0)
        file.truncate()
    yield file.getvalue()


def account_words(name: str, names: dict[str, str]) -> str:
    """An account in words: its kind, and what it is of."""
    kind = KINDS.get(kind_of(name))
    if kind is None:
        return name
    of = name_of(name, names)
    return of if of == kind.words else f"{kind.words}: {of}"
