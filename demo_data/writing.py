"""What people at the made-up room wrote down: not quite what happened."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from demo_data.bath import Bath, resin_density, solvent_density
from demo_data.story import LAST_DAY, RESINS, TANKS, WORKING_DAYS, ZONE, Fill, Tank

SUNDAY = 6
UNLOGGED_SHARE = 0.07
UNLOGGED_DAY = ("alder", 73)  # nobody wrote anything down
SLIP_DAY = ("alder", 89)
DRIFT_FROM_DAY = 14
DRIFT_PERCENT_A_DAY = 0.14
CM2_PER_PART = 140.0
CM2_PER_G = 4.1
USUAL_JOBS = {"alder": 1600, "elder": 900}

Line = dict[str, Any]


@dataclass(frozen=True)
class Load:
    """A wash before it is sized: its day, hour, resin and size against the others."""

    day: int
    hour: float
    resin: str
    size: float
    by: str


@dataclass
class Log:
    """The lines of the log, written by people with `rng`'s luck."""

    rng: random.Random
    lines: list[Line] = field(default_factory=list)

    def add(self, kind: str, at: str, **values: Any) -> Line:
        line = {"kind": kind, "at": at, **values}
        self.lines.append(line)
        return line


def working_day(days_before: int) -> date:
    """The day so many working days before the last one; negative numbers lie ahead."""
    day = date.fromisoformat(LAST_DAY)
    step = timedelta(days=-1 if days_before >= 0 else 1)
    for _ in range(abs(days_before)):
        day += step
        if day.weekday() == SUNDAY:
            day += step
    return day


def at(days_before: int, hour: float) -> str:
    """An instant of the room's own clock, as the log writes it."""
    minute = round(60 * hour)
    local = datetime.combine(working_day(days_before), time(minute // 60, minute % 60))
    return local.replace(tzinfo=ZoneInfo(ZONE)).astimezone(UTC).isoformat()


def write_wash(log: Log, tank: Tank, load: Load, area_cm2: float) -> None:
    key = str(tank.line["tank"])
    if (key, load.day) == UNLOGGED_DAY or log.rng.random() < UNLOGGED_SHARE:
        return
    sizes = {
        "area_cm2": round(area_cm2, -1),
        "parts": max(1, round(area_cm2 / CM2_PER_PART)),
        "mass_g": round(area_cm2 / CM2_PER_G),
    }
    minutes = log.rng.choice((4, 5, 6, 8))
    log.add("wash", at(load.day, load.hour), tank=key, resin=load.resin,
            **{tank.load: sizes[tank.load]}, minutes=minutes, by=load.by)  # fmt: skip


def write_top_up(log: Log, bath: Bath, day: int, litres: float) -> None:
    shown = round(max(0.1, litres * log.rng.gauss(1, 0.05)), 1)
    key = bath.tank.line["tank"]
    log.add("top_up", at(day, 5.95), tank=key, volume_l=shown, to_mark=True, by="Wren")
    if key == "birch":
        mass_g = round(log.rng.uniform(150, 420))
        log.add("solids_removed", at(day, 5.9), tank=key, mass_g=mass_g, by="Wren")


def write_reading(log: Log, bath: Bath, day: int, hour: float, method: str) -> None:
    key = str(bath.tank.line["tank"])
    values: Line = {}
    if method == "hydrometer":
        values["density_g_ml"], values["temperature_c"] = show_density(log.rng, bath)
        if (key, day) == SLIP_DAY:
            values["density_g_ml"] = 0.879  # 0.789, with two digits changed about
    elif method == "residue":
        sample_g = round(log.rng.uniform(4.6, 5.6), 3)
        share = max(0.0005, bath.percent / 100 + log.rng.gauss(0, 0.0012))
        values = {"sample_g": sample_g, "residue_g": round(sample_g * share, 3)}
    else:
        drift = DRIFT_PERCENT_A_DAY * max(0, DRIFT_FROM_DAY - day)
        shown = bath.percent + drift + log.rng.gauss(0, 0.25)
        values["saturation_percent"] = round(max(0.0, shown), 2)
    by = {} if method == "sensor" else {"by": "Curlew"}
    log.add("reading", at(day, hour), tank=key, method=method, **values, **by)


def show_density(rng: random.Random, bath: Bath) -> tuple[float, float]:
    """What a hydrometer and a thermometer in the bath show."""
    temperature_c = round(rng.gauss(21, 1.2), 1)
    share = bath.percent / 100
    volume = share / resin_density(bath.tank)
    volume += (1 - share) / solvent_density(bath.tank, temperature_c)
    return round((1 / volume + rng.gauss(0, 0.0006)) * 2000) / 2000, temperature_c


def write_room(log: Log) -> None:
    """The tanks, and the resins before them."""
    start = at(WORKING_DAYS, 5.5)
    for resin in RESINS:
        log.add("resin", start, **resin)
    for tank in TANKS:
        filled = {"saturation_percent": tank.start_percent} if tank.start_percent else {}
        log.add("tank", start, **tank.line, **filled)


def write_rejects(log: Log) -> None:
    """A few parts come out bad, more of them the more loaded the bath."""
    for line in [line for line in log.lines if line["kind"] == "wash"]:
        loaded = {"birch": 0.02, "alder": 0.012}.get(line["tank"], 0.006)
        if log.rng.random() < loaded:
            after = datetime.fromisoformat(line["at"]) + timedelta(minutes=12)
            log.add("reject", after.isoformat(), tank=line["tank"], resin=line["resin"],
                    finding=log.rng.choice(("tacky", "tacky", "white_film", "residue_in_detail")),
                    by=line["by"])  # fmt: skip


def write_plans(log: Log) -> None:
    """Large jobs are planned some days ahead; most of them were washed as planned."""
    washes = {(line["tank"], line["at"][:10]): line for line in log.lines if line["kind"] == "wash"}
    for count, (tank, day) in enumerate(planned_days(), 1):
        key, resin, plan = str(tank.line["tank"]), next(iter(tank.resins)), f"job-{count:02d}"
        size, planned_at = USUAL_JOBS[key], at(day, 10.5)
        washed = washes.get((key, planned_at[:10]))
        if washed is not None:
            resin, size = washed["resin"], round(washed[tank.load], -1)
            if count % 5:
                washed["plan"] = plan
        log.add("planned_wash", planned_at, tank=key, resin=resin, **{tank.load: size},
                plan=plan, known_from=at(day + 4, 9.5), by="Heron")  # fmt: skip


def planned_days() -> Iterator[tuple[Tank, int]]:
    by_key = {str(tank.line["tank"]): tank for tank in TANKS}
    for day in range(30, 0, -7):
        yield by_key["alder"], day
        yield by_key["elder"], day + 2
    for key, day in (("alder", -1), ("elder", -2), ("alder", -3)):
        yield by_key[key], day


def write_mistakes(log: Log) -> None:
    """A late entry, a count with a digit too many, a double tap; the last two set right."""
    cedar = [line for line in log.lines if line["kind"] == "wash" and line["tank"] == "cedar"]
    wrong, late, double = cedar[-60], cedar[-25], cedar[-90]
    log.add("wash", wrong["at"], **_own(wrong), id=f"{wrong['id']}-right", corrects=wrong["id"],
            entered_at=later(wrong["at"], minutes=20))  # fmt: skip
    wrong["parts"] *= 10
    late["entered_at"] = later(late["at"], minutes=60 * 15)
    late["note"] = "Entered the next morning."
    again = log.add("wash", later(double["at"], minutes=1), **_own(double))
    again["id"] = f"{double['id']}-double"
    log.add("withdrawal", later(double["at"], minutes=6), withdraws=again["id"],
            id=f"{double['id']}-undone",
            note="Tapped twice.", by=double["by"])  # fmt: skip


def _own(line: Line) -> Line:
    return {name: value for name, value in line.items() if name not in ("kind", "at", "id")}


def later(moment: str, minutes: float) -> str:
    return (datetime.fromisoformat(moment) + timedelta(minutes=minutes)).isoformat()


def number(log: Log) -> None:
    """Sort the lines by time and give each an id."""
    log.lines.sort(key=lambda line: line["at"])
    for count, line in enumerate(log.lines, 1):
        line.setdefault("id", f"larkmoor-{count:05d}")


def write_swap(log: Log, bath: Bath, fill: Fill, drained_l: float, filled_l: float) -> None:
    key = bath.tank.line["tank"]
    log.add("swap_started", at(fill.from_day, 21.6), tank=key, by="Curlew")
    note = {"note": fill.note} if fill.note else {}
    log.add("swap", at(fill.from_day, 21.8), tank=key, drained_l=round(drained_l, 1),
            filled_l=round(filled_l, 1), by="Curlew", **note)  # fmt: skip
    if any(method == "hydrometer" for method, _, _ in bath.tank.readings):
        density, temperature = show_density(log.rng, bath)
        log.add("reading", at(fill.from_day, 21.9), tank=key, method="hydrometer", of_fresh=True,
                density_g_ml=density, temperature_c=temperature, by="Curlew")  # fmt: skip
