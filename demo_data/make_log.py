"""Makes `larkmoor.jsonl`, the log of the made-up room: python3 -m demo_data.make_log

The story says how loaded each bath truly was at the end of each fill. Here the washes are drawn by
chance and then sized so that the balance of resin and solvent ends there. What people wrote down is
not quite what happened: washes nobody logged, a typing slip, a sensor that drifts, a late entry,
a wrong one corrected, a double one withdrawn. The same script always makes the same log.
"""

import json
import random
from collections.abc import Iterator
from pathlib import Path

from demo_data.bath import Bath, capacity_ml, percent_to_g
from demo_data.duties import write_duties
from demo_data.lamps import write_lamps
from demo_data.paused import write_paused_swap
from demo_data.prices import write_prices
from demo_data.shelf import Shelf, takings_of
from demo_data.site import write_site
from demo_data.story import CARRY_IN_G_CM2, SHIFTS, TANKS, WORKING_DAYS, Fill, Tank
from demo_data.tracing import write_tracing
from demo_data.trouble import write_trouble
from demo_data.waste import RINSE_L, write_waste
from demo_data.wear import write_wear
from demo_data.writing import (
    Load,
    Log,
    number,
    working_day,
    write_mistakes,
    write_plans,
    write_reading,
    write_rejects,
    write_room,
    write_swap,
    write_top_up,
    write_wash,
)

LOG = Path(__file__).parent / "larkmoor.jsonl"
HEEL = 0.02


def draw_loads(tank: Tank, rng: random.Random) -> list[Load]:
    """Every wash of the tank's history, in order."""
    loads = []
    for day in range(WORKING_DAYS, tank.rest_from, -1):
        busy = tank.washes_a_day * tank.heavy_days.get(day, 1.0) * rng.uniform(0.8, 1.2)
        for person, start, end in SHIFTS:
            for _ in range(int(busy / 2 + rng.random())):
                resin = rng.choices(list(tank.resins), list(tank.resins.values()))[0]
                size = rng.lognormvariate(0, 0.35)
                loads.append(Load(day, round(rng.uniform(start, end), 2), resin, size, person))
    return sorted(loads, key=lambda load: (-load.day, load.hour))


def live(tank: Tank, loads: list[Load], log: Log | None, sizes: dict[int, float]) -> list[float]:
    """Let the tank live its history; the true saturation at the end of each fill.

    Args:
        sizes: surface in cm2 of a wash of size 1, by the first day of the fill.
        log: where people write; None lives it silently.
    """
    bath = Bath(tank, *percent_to_g(tank, tank.start_percent))
    ends = []
    for fill, end_day in fills(tank):
        if fill is not tank.fills[0]:
            ends.append(bath.percent)
            swap(bath, fill, log)
        for day in range(fill.from_day - 1, end_day - 1, -1):
            of_day = [load for load in loads if load.day == day]
            live_day(bath, day, of_day, sizes[fill.from_day], log)
    return [*ends, bath.percent]


def fills(tank: Tank) -> Iterator[tuple[Fill, int]]:
    """Each fill with the day of its last washes."""
    ends = [fill.from_day for fill in tank.fills[1:]] + [0]
    return zip(tank.fills, ends, strict=True)


def size_washes(tank: Tank, loads: list[Load]) -> dict[int, float]:
    """Surfaces with which each fill ends as the story says, found one fill after the other."""
    sizes = {fill.from_day: 1.0 for fill in tank.fills}
    for place, fill in enumerate(tank.fills):
        low, high = 1.0, 60_000.0
        for _ in range(40):
            sizes[fill.from_day] = (low + high) / 2
            if live(tank, loads, None, sizes)[place] < fill.end_percent:
                low = sizes[fill.from_day]
            else:
                high = sizes[fill.from_day]
    return sizes


def live_day(bath: Bath, day: int, loads: list[Load], size: float, log: Log | None) -> None:
    """One working day at one tank, with the Sunday before it where there was one."""
    is_monday = working_day(day).weekday() == 0
    bath.evaporate(2 if is_monday else 1)
    if day % 6 == 2 and bath.volume_ml < 0.985 * capacity_ml(bath.tank):
        litres = bath.fill_up()
        if log:
            write_top_up(log, bath, day, litres)
    chance = luck(f"{bath.tank.line['tank']}/{day}")
    written_readings = sorted(readings_of(bath.tank, day))
    for load in loads:
        while log and written_readings and written_readings[0][0] < load.hour:
            write_reading(log, bath, day, *written_readings.pop(0))
        area = size * load.size
        carry_in = CARRY_IN_G_CM2[load.resin] * chance.lognormvariate(-0.03, 0.25)
        bath.wash(area, carry_in)
        if log:
            write_wash(log, bath.tank, load, area)
    while log and written_readings:
        write_reading(log, bath, day, *written_readings.pop(0))


def readings_of(tank: Tank, day: int) -> Iterator[tuple[float, str]]:
    for method, every, on in tank.readings:
        if day % every == on:
            yield (13.75 if method != "sensor" else 6.05), method
        if method == "sensor":
            yield 21.55, method


def swap(bath: Bath, fill: Fill, log: Log | None) -> None:
    """Drain all but the heel and fill with fresh solvent."""
    drained_l = (1 - HEEL) * bath.volume_ml / 1000
    bath.resin_g *= HEEL
    bath.solvent_g *= HEEL
    filled_l = bath.fill_up()
    if log:
        write_swap(log, bath, fill, drained_l, filled_l)


def luck(of: str) -> random.Random:
    """Chance that is the same in every run."""
    return random.Random(of)  # noqa: S311 - nothing is kept secret with it


def write_books(log: Log) -> None:
    """What the books of the room hold beside its baths."""
    write_site(log)
    write_waste(log)
    shelf = Shelf(log, luck("the shelf"))
    write_lamps(log, luck("the lamps"))
    write_duties(log, luck("the checks"))
    write_prices(log)
    write_trouble(log)
    write_wear(log, luck("wear of the parts"))
    taken = takings_of(log.lines, RINSE_L)
    shelf.open_books()
    shelf.live(taken)


def make_lines() -> list[str]:
    """The whole log as lines of JSON."""
    log = Log(luck("what people wrote, 2"))
    write_room(log)
    for tank in TANKS:
        loads = draw_loads(tank, luck(f"loads of {tank.line['tank']}"))
        live(tank, loads, log, size_washes(tank, loads))
    write_books(log)
    write_rejects(log)
    write_plans(log)
    write_paused_swap(log)
    number(log)
    write_mistakes(log)
    number(log)
    write_tracing(log)
    return [json.dumps(line) for line in log.lines]


if __name__ == "__main__":
    LOG.write_text("\n".join(make_lines()) + "\n", encoding="utf-8")
