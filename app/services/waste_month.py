"""What a pour does to the amount of its month: asked by every door where it passes the limit."""

from collections.abc import Sequence
from datetime import datetime, tzinfo
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.calendar_words import month_words
from app.domain.roomlog.kinds.waste import Pour
from app.domain.waste.counters import category_of, month_of
from app.domain.waste.measures import poured_kg
from app.services.waste import Overview, overview
from app.store.tables import RoomRow


def passed_limits(
    session: Session,
    room: RoomRow,
    pours: Sequence[tuple[Pour, Pour | None]],
    now: datetime,
) -> list[str]:
    """Of pours that are stored together, each that takes its month over the limit of the site's
    category, and what that makes of the month; nothing of a month that was over it before.

    Args:
        pours: each with the one that it corrects: what took the month over with that one is nothing
            new.
    """
    all_, zone = overview(session, room, now), ZoneInfo(room.time_zone)
    found, before = list[str](), list[Pour]()
    for pour, replaced in pours:
        if words := _passed(all_, zone, pour, before, replaced):
            found.append(words)
        before.append(pour)
    return found


def _passed(
    all_: Overview, zone: tzinfo, pour: Pour, before: Sequence[Pour], replaced: Pour | None
) -> str:
    month = month_of(pour.at, zone)
    judged = all_.month_rules(month)

    def counted_kg(one: Pour) -> float:
        drum = all_.all_drums.get(one.drum)
        if drum is None or month_of(one.at, zone) != month or not judged.rules.counts(drum.stream):
            return 0.0
        return poured_kg(one, drum.stream)

    added_kg, total = counted_kg(pour), all_.totals.get(month)
    if judged.limit_kg is None or not added_kg:
        return ""
    before_kg = (total.counted_kg if total else 0.0) + sum(map(counted_kg, before))
    if before_kg > judged.limit_kg:
        return ""
    if replaced is not None:
        before_kg -= counted_kg(replaced)
    after_kg = before_kg + added_kg
    if after_kg <= judged.limit_kg:
        return ""
    said = (
        f"{month_words(month)} is then at {after_kg:.1f} of {judged.limit_kg:g} kg: over the limit."
    )
    reached = category_of(after_kg, judged.rules)
    if reached is None or not judged.rules.category.month_rule:
        return said
    return f"{said} That makes it a month of a “{reached.name.lower()}”."
