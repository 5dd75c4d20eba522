"""QR codes that open a page of this site, and the short addresses in them."""

from collections.abc import Mapping
from typing import Annotated

import segno
from fastapi import APIRouter, Path
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from app.domain.errors import NotFound
from app.web.below import site_url
from app.web.deps import Visit, VisitDep

router = APIRouter(prefix="/q/{room}")
KEY = "{key}"
PLACES: Mapping[str, tuple[str, ...]] = {
    "d": ("waste", "drums", KEY), "i": ("shelf", "items", KEY), "s": ("stations", KEY),
    "t": ("tanks", KEY), "w": ("tanks", KEY, "log", "wash"), "r": ("tanks", KEY, "log", "reading"),
    "x": ("tanks", KEY, "log", "reject"), "h": ("tanks", KEY, "hold"), "l": ("tanks", KEY),
}  # fmt: skip
"""Where the letter of a short address leads: drum, item on the shelf, curing station, tank; at a
tank its wash, a reading, rejected parts, a hold, the wash as last. A code only opens the page:
nothing is stored until a person touches it there."""
BUTTONS = {"l": "wash-as-last"}
"""The button of its page that a code is for: it has the focus, so that Enter presses it."""
QUIET_MODULES = 4  # ISO/IEC 18004: the quiet zone around a code


def qr_svg(text: str) -> Markup:
    """The text as a QR code, an SVG for a page: no size of its own, class `qr`.

    Error correction M (about 15 % may be lost), since labels get wet.
    """
    code = segno.make(text, error="m", micro=False)
    drawn = code.svg_inline(
        border=QUIET_MODULES, svgclass="qr", lineclass=None, omitsize=True, light="#fff"
    )
    return Markup(drawn)  # noqa: S704 - drawn here, from digits


def short_address(visit: Visit, sort: str, key: str) -> str:
    """The address for a code of one of `PLACES`, with the host that this page was asked from."""
    return f"{site_url(visit.request)}/q/{visit.room.key}/{sort}/{key}"


@router.get("/{sort}/{key}")
def open_short(
    visit: VisitDep, sort: str, key: Annotated[str, Path(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.:-]*$")]
) -> Response:
    """Lead to the page that a code stands for."""
    if sort not in PLACES:
        raise NotFound("There is nothing at this address.")
    parts = (key if part == KEY else part for part in PLACES[sort])
    button = f"#{BUTTONS[sort]}" if sort in BUTTONS else ""
    return RedirectResponse(visit.address(*parts) + button, 303)
