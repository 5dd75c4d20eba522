"""The label of a drum, to print: words, hazards, days, contents, origin, and a code to its page."""

from collections.abc import Sequence

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.waste.rulebook import Mark, RuleBook
from app.domain.waste.streams import STREAMS
from app.services.drum_streams import streams_in
from app.services.waste import find_drum, overview
from app.store.site import site
from app.web.codes.qr import qr_svg, short_address
from app.web.deps import VisitDep
from app.web.waste import words

router = APIRouter(prefix="/rooms/{room}/waste/drums/{drum}/label")


@router.get("")
def label(visit: VisitDep, drum: str) -> Response:
    """What rules commonly ask for on a drum, from its entries and the site's settings."""
    state = find_drum(visit.session, visit.room_id, drum)
    all_ = overview(visit.session, visit.room, visit.now)
    clock = all_.clock(state, visit.zone, visit.now)
    address = short_address(visit, "d", drum)
    at_site = site(visit.session, visit.room_id)
    excess_at = all_.site.excess_at if clock is not None and clock.cause == "excess" else None
    unknown, went_in = "", list[str]()
    if (state.is_quarantined or state.is_mixed) and not state.is_empty:
        went_in = ["unknown", *streams_in(visit.session, visit.room_id, drum)]
        unknown = "; ".join(STREAMS[key].contents for key in went_in[1:])
    context = {
        "drum": state,
        "view": words.drum_view(state, all_, visit.zone, visit.now),
        "stream": STREAMS[state.stream],
        "unknown": unknown,
        "hazards": _hazards(all_.rules, went_in if unknown else [state.stream]),
        "words": all_.rules.label_words("unknown" if unknown else state.stream),
        "mark": Mark() if unknown else all_.rules.marks.get(state.stream, Mark()),
        "is_excluded": not unknown and all_.rules.excludes(state.stream),
        "is_bulk": words.is_bulk(state, all_.rules),
        "rules": all_.rules,
        "site": at_site,
        "code": qr_svg(address),
        "address": address,
        "dates": [
            ("Accumulation began (central area)", words.local_day(state.central_at, visit.zone)),
            ("Over the limit at the wash station since", words.local_day(excess_at, visit.zone)),
            ("First drop", words.local_day(state.first_pour_at, visit.zone)),
            ("Closed", words.local_day(state.closed_at, visit.zone)),
        ],
        "own_machine": visit.own_machine,
        "missing": [
            text
            for text, value in (
                ("the address of the site", at_site.site_address),
                ("the waste generator number", at_site.generator_id),
            )
            if not value
        ],
    }
    return visit.page("waste/label.html", context)


def _hazards(rules: RuleBook, streams: Sequence[str]) -> list[str]:
    """What a label says of these streams, each hazard once."""
    found = [hazard for key in streams for hazard in STREAMS[key].hazards]
    found += [text for key in streams if (text := words.ignitable(key, rules))]
    return list(dict.fromkeys(found))
