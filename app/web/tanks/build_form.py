"""The form of how a tank is built: it begins with what was said before."""

from app.services.baths.building import build_of
from app.web.forms import text_of
from app.web.kinds.different import Asked, Different


def _start(asked: Asked) -> dict[str, str]:
    """As it stands, without the lead's word: that is given anew with each change."""
    visit = asked.visit
    state, specs = build_of(visit.session, visit.room_id, asked.thing.key), asked.kind.specs()
    heat_c = state.heated_to_c
    return {
        "material": state.material,
        "is_ultrasonic": "on" if state.is_ultrasonic else "",
        "heated_to_c": "" if heat_c is None else text_of(specs["heated_to_c"], heat_c, visit.room),
    }


BUILD = Different(start=_start)
