"""Saying what a swap has and lacks, and what to do about it by which day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from app.domain.calendar_words import day_words
from app.domain.holds import ASKS
from app.domain.planning.allotment import Parcel
from app.domain.planning.lines import Line, State
from app.domain.planning.needs import smallest_drum_l
from app.domain.planning.orders import OrderToPlace
from app.domain.planning.pickups import ProposedPickup
from app.domain.planning.readiness import Readiness
from app.domain.planning.scheduling import Proposal
from app.domain.planning.stock import SwapAhead
from app.domain.waste.drums import FILL_LIMIT_PERCENT
from app.domain.workdays import WorkCalendar
from app.store.tables import RoomRow
from app.web.filters import volume
from app.web.planning.plain import (
    containers_words,
    joined,
    solvent_words,
    stream_words,
)

SIGNS: dict[State, str] = {
    "ready": "done", "coming": "forward", "late": "soon", "short": "soon", "unknown": "check",
}  # fmt: skip
TITLES = {
    "solvent": "Fresh solvent", "drum": "Room in drums", "month": "Waste this month",
    "fire": "Flammable liquids", "day": "Day", "people": "People", "parts": "Parts and supplies",
    "hold": "Tank", "look": "Inspection",
}  # fmt: skip
WARNINGS = {
    "late": "not before its early day",
    "over_capacity": "more swaps than can be done on this day",
    "with_pair": "the same day as the other tank of its pair",
}
WAITS = {"solvent": "its solvent comes", "drum": "there is room in a drum"}
NOT_KNOWN = {
    "month": "No monthly limit has been entered, so none is checked.",
    "fire": "No limit for flammable liquids has been entered, so none is checked.",
    "parts": "No item on the shelf says what a swap takes.",
    "day": "No working day is left for it in these weeks.",
    "people": "Nobody who does swaps has been entered with a role.",
}


@dataclass(frozen=True)
class Said:
    """A line of readiness in words: sign and tag in shape and colour, what is, what to do."""

    sign: str
    tag: str
    title: str
    text: str
    todo: str = ""
    link: str = ""


class Words:
    """The words for one room at one day."""

    def __init__(self, room: RoomRow, today: date, workdays: WorkCalendar | None = None) -> None:
        self.room = room
        self.today = today
        self.workdays = workdays or WorkCalendar()

    def said(self, swap: SwapAhead, line: Line) -> Said:
        """A line in words."""
        if line.subject == "look":
            return self._look(swap, line)
        say = {
            "solvent": self._solvent, "drum": self._drum, "month": self._month, "fire": self._fire,
            "parts": self._parts, "day": self._day, "people": self._people, "hold": self._hold,
        }[line.subject]  # fmt: skip
        if line.state == "unknown":
            links = {"people": "/crew", "parts": "/shelf", "day": ""}
            link = links.get(line.subject, "/site")
            text = NOT_KNOWN[line.subject]
            return Said("check", "Not known", TITLES[line.subject], text, link=link)
        text, todo, link = say(swap, line)
        sign = SIGNS[line.state]
        if line.subject in ("fire", "month") and line.state == "short":
            sign = "over"
        return Said(sign, self._tag(line), TITLES[line.subject], text, todo, link)

    def summary(self, name: str, readiness: Readiness, line: Line) -> str:
        """One line: the swap that falls short first, and of what."""
        by_on = readiness.by_on
        early_on = readiness.swap.early_on
        by = "" if by_on is None else " today" if by_on <= self.today else f" by {self.day(by_on)}"
        if readiness.swap.waits_for == line.subject and line.state == "late" and early_on:
            by = f", due {self.day(early_on)}"
        return f"{name}{by}, {self._lack(readiness.swap, line)}"

    def waits(self, proposal: Proposal) -> str:
        """Why a swap stands on no earlier day; empty where nothing keeps it."""
        if proposal.waits_until is None:
            return ""
        until = self.day(proposal.waits_until)
        return f"Not before {until}, when {WAITS[proposal.waits_for]}"

    def warning(self, word: str, proposal: Proposal) -> str:
        """What is odd about the day of a swap."""
        if word == "not_working" and proposal.day is not None:
            why = self.workdays.why_not(proposal.day)
            return f"not a working day ({why})" if why else "not a working day"
        return WARNINGS[word]

    def lacks(self, readiness: Readiness) -> str:
        """What a later swap lacks, in short; empty where it lacks nothing."""
        short = [line for line in readiness.lines if line.state in ("short", "late")]
        return "; ".join(self._lack(readiness.swap, line) for line in short)

    def order(self, order: OrderToPlace) -> str:
        """What to order."""
        bought = containers_words(order.buy, order.total_l, self.room)
        return f"{bought} of {solvent_words(order.solvent)}"

    def streams(self, pickup: ProposedPickup) -> str:
        """Which drums a pickup fetches, and how much room is missing without it."""
        parts: dict[str, list[str]] = {w.stream: [] for w in pickup.windows}
        for key, said in parts.items():
            mine = [window for window in pickup.windows if window.stream == key]
            if gap := sum(window.missing_l for window in mine):
                said.append(f"{self._gap(gap)} more room needed")
            for window in mine:
                if window.cause == "clock":
                    drum = window.drum or "a drum filled by then"
                    said.append(f"{drum} leaves by {self.day(window.last)}")
                if window.cause == "on_site" and "more on site than allowed" not in said:
                    said.append("more on site than allowed")
        return joined([f"{stream_words(key)} ({', '.join(said)})" for key, said in parts.items()])

    def day(self, day: date) -> str:
        """A day of the plan."""
        return "today" if day == self.today else day_words(day, self.today)

    def litres(self, litres: float) -> str:
        """A volume in the room's unit."""
        return volume(litres, self.room)

    def _gap(self, litres: float) -> str:
        """What a need lacks. A gap too small to be written in figures is still a gap."""
        shown = self.litres(litres)
        return f"under 0.01{shown[1:]}" if shown.startswith("0 ") else shown

    def by(self, day: date) -> str:
        """A last day on which to act: in words where it has passed."""
        return "today, already late" if day < self.today else f"by {self.day(day)}"

    def _tag(self, line: Line) -> str:
        if line.state == "ready":
            return "Ready"
        if line.state == "short":
            return "Held" if line.subject == "hold" else "Short"
        if line.ready_on is None:
            return "Not known"
        return f"{'Late: ' if line.state == 'late' else ''}{self.day(line.ready_on)}"

    def _lack(self, swap: SwapAhead, line: Line) -> str:
        if line.state == "late":
            day = self.day(line.ready_on or self.today)
            return f"{TITLES[line.subject].lower()} comes only on {day}"
        return {
            "solvent": f"{self._gap(line.missing)} of {solvent_words(swap.solvent)} missing",
            "drum": f"{self._gap(line.missing)} more room in drums needed",
            "month": f"{line.missing:.0f} kg more waste than the month has left",
            "fire": f"{self._gap(line.missing)} too much flammable liquid on that day",
            "parts": f"{line.text} missing",
            "day": "more swaps are on its day than can be done",
            "hold": f"the tank is held: {line.text}",
            "people": "nobody is qualified to swap on that day",
        }.get(line.subject, "")

    def _parcels(self, parcels: Iterable[Parcel], unit: str = "") -> str:
        parts = [
            f"{self._amount(p.amount, unit)} {self._whence(p)}" for p in parcels if p.amount > 0
        ]
        return joined(parts) if parts else "nothing"

    def _amount(self, amount: float, unit: str) -> str:
        return f"{amount:g} {unit}" if unit else self.litres(amount)

    def _whence(self, parcel: Parcel) -> str:
        if parcel.from_on is None:
            return f"from {parcel.name}"
        return f"with order {parcel.name} on {self.day(parcel.from_on)}"

    def _solvent(self, swap: SwapAhead, line: Line) -> tuple[str, str, str]:
        need = swap.need
        if line.needed <= 0:
            return "The fresh solvent is in the tank.", "", ""
        wanted = (
            f"{self.litres(line.needed)} of {solvent_words(swap.solvent)}:"
            f" {self.litres(need.fill_l)} to fill, {self.litres(need.rinse_l)} to"
            f" rinse, {self.litres(need.squirt_l)} for the squirt bottle."
        )
        if line.state != "short":
            return f"{wanted} Set aside: {self._parcels(line.parcels)}.", "", ""
        text = (
            f"{wanted} Left for this swap: {self.litres(line.there)};"
            f" {self._gap(line.missing)} missing."
        )
        bought = containers_words(line.buy, line.missing, self.room)
        return text, self._ask(f"Order {bought}", line), "/shelf/orders"

    def _drum(self, swap: SwapAhead, line: Line) -> tuple[str, str, str]:
        if line.needed <= 0:
            return "Bath and rinse are in their drums.", "", ""
        wanted = f"{self.litres(line.needed)} to pour, rinse included."
        if line.state != "short":
            places = joined(
                [
                    f"{self.litres(p.amount)} into {p.name}"
                    + ("" if p.from_on is None else f" (pickup {self.day(p.from_on)})")
                    for p in line.parcels
                ]
            )
            return f"{wanted} {places}, under the fill limit.", "", ""
        text = (
            f"{wanted} Drums of {stream_words(swap.stream).lower()} have room for"
            f" {self.litres(line.there)} of it. {self._gap(line.missing)} more is needed."
        )
        size_l = smallest_drum_l(line.missing, FILL_LIMIT_PERCENT)
        drum = f"a drum of {self.litres(size_l)} or more" if size_l else "empty drums"
        return text, f"Set up {drum} before the day, or have drums collected: " + self._ask(
            "book the pickup", line
        ), "/waste"  # fmt: skip

    def _month(self, swap: SwapAhead, line: Line) -> tuple[str, str, str]:
        if not swap.counts:
            return "This waste does not count towards the month.", "", ""
        text = f"{line.needed:.1f} kg; {line.there:.0f} kg more may be added in its month."
        if line.state != "short" or line.ready_on is None:
            return text, "", ""
        todo = (
            f"Put it off to {self.day(line.ready_on)} or later, or ask your waste contractor and "
            "authority what a larger month means."
        )
        return f"{text} {line.missing:.1f} kg too much.", todo, ""

    def _fire(self, swap: SwapAhead, line: Line) -> tuple[str, str, str]:
        if not swap.is_flammable:
            return "Its solvent is not a flammable liquid.", "", ""
        text = (
            f"{self.litres(line.needed)} of baths, fresh containers and waste on its day;"
            f" the site's limit is {self.litres(line.there)}."
        )
        if line.state != "short":
            return text, "", ""
        todo = (
            f"Have {self.litres(line.missing)} taken out before the day: have drums collected, "
            "keep solvent elsewhere, or have it delivered later. Your fire authority decides "
            "what counts."
        )
        return text, todo, ""

    def _parts(self, _: SwapAhead, line: Line) -> tuple[str, str, str]:
        if line.state == "ready":
            text = f"On the shelf: {line.text}." if line.text else "Nothing else is needed."
            return text, "", ""
        if line.state != "short":
            return f"{line.text}: {line.needed:g} needed, on order.", "", ""
        text = f"{line.text}: {line.needed:g} needed, {line.there:g} left for this swap."
        return text, self._ask("Order it", line), "/shelf"

    def _day(self, _: SwapAhead, line: Line) -> tuple[str, str, str]:
        day = self.day(line.ready_on or self.today)
        said = f"{day[0].upper()}{day[1:]}"
        if line.state != "short":
            return f"{said}.", "", ""
        todo = "Move one of them, or accept it and say so."
        return f"{said}: more swaps than can be done, or the other tank of its pair.", todo, ""

    def _people(self, _: SwapAhead, line: Line) -> tuple[str, str, str]:
        day = self.day(line.ready_on or self.today)
        day = day if day == "today" else f"on {day}"
        if line.state == "short":
            text = f"Nobody here is qualified to swap baths {day}."
            return text, "Qualify somebody, or choose another day.", "/qualified"
        if line.text and line.key:
            return f"Qualified to swap baths {day}: {line.text}.", "", "/qualified"
        return f"Here: {line.text}. Swaps need no qualification here.", "", "/crew"

    def _hold(self, swap: SwapAhead, line: Line) -> tuple[str, str, str]:
        if line.text == ASKS:
            link = f"/tanks/{swap.tank}/contents"
            return f"Out of use: {line.text}.", "Look inside and say what is in it.", link
        return (
            f"Out of use: {line.text}.",
            "A lead releases it once the cause is found and fixed.",
            "",
        )

    def _look(self, swap: SwapAhead, line: Line) -> Said:
        link = f"/tanks/{swap.tank}/inspection"
        if line.state == "unknown":
            text = f"Nothing could be seen of {line.text}. It has not been checked yet."
            todo = "Check it before you fill the tank again."
            return Said("check", "Not seen", TITLES["look"], text, todo, link)
        return Said("soon", "Watch", TITLES["look"], f"{line.text}: check at the swap.", "", link)

    def _ask(self, what: str, line: Line) -> str:
        if line.act_by_on is None or line.earliest_on is None:
            return f"{what}."
        if line.act_by_on < self.today:
            return f"{what} today. It comes on {self.day(line.earliest_on)} at the earliest."
        return f"{what} by {self.day(line.act_by_on)}."
