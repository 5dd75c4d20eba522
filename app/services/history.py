"""What the site had said by an instant: its settings and its rules of waste as they stood then.

What was said first applies before it too, so that settings entered after a history was brought in
still reach that history.
"""

from collections.abc import Callable
from datetime import datetime

from sqlmodel import Session

from app.domain.roomlog.kinds.site import SITE, SiteRules
from app.domain.roomlog.kinds.waste import WASTE_RULES, WasteRules
from app.domain.site import SITE_BOOK, SiteState
from app.domain.things import in_force, steps
from app.domain.waste.rulebook import RULES_BOOK, RuleBook
from app.services.entries import counting_of_kind


def site_history(session: Session, room_id: int) -> Callable[[datetime], SiteState]:
    """The settings of the site by instant."""
    entries = counting_of_kind(session, room_id, SiteRules.kind)
    found = steps(SITE_BOOK, SITE, entries)
    return lambda moment: in_force(found, moment) or SiteState()


def rules_history(session: Session, room_id: int) -> Callable[[datetime], RuleBook]:
    """The rules of waste by instant."""
    entries = counting_of_kind(session, room_id, WasteRules.kind)
    found = steps(RULES_BOOK, WASTE_RULES, entries)
    return lambda moment: in_force(found, moment) or RuleBook()
