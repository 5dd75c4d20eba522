"""What a pour does to the amount of its month: asked by every door where it passes the limit."""

from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.calendar_words import month_words
from app.domain.roomlog.kinds.waste import Pour
from app.domain.waste.counters import category_of, month_of
from app.domain.waste.measures import poured_kg
from app.services.waste import overview
from app.store.tables import RoomRow


def passes_limit(session: Session, room: RoomRow, pour: Pour, now: datetime) -> str:
    """That a pour takes its month over the limit of the site's category, and what that makes of
    it; empty where it does not, or the month was over it before."""
    all_ = overview(session, room, now)
    drum, month = all_.all_drums.get(pour.drum), month_of(pour.at, ZoneInfo(room.time_zone))
    judged = all_.month_rules(month)
    if drum is None or judged.limit_kg is None or not judged.rules.counts(drum.stream):
        return ""
    total = all_.totals.get(month)
    before_kg = total.counted_kg if total else 0.0
    after_kg = before_kg + poured_kg(pour, drum.stream)
    if not before_kg <= judged.limit_kg < after_kg:
        return ""
    said = (
        f"{month_words(month)} is then at {after_kg:.1f} of {judged.limit_kg:g} kg: over the limit."
    )
    reached = category_of(after_kg, judged.rules)
    if reached is None or not judged.rules.category.month_rule:
        return said
    return f"{said} That makes it a month of a “{reached.name.lower()}”."
