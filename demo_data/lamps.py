"""The curing stations of the made-up room: one steady, one aged, one just relamped."""

import math
from dataclasses import dataclass
from random import Random

from demo_data.story import WORKING_DAYS
from demo_data.writing import Log, at, later, working_day


@dataclass(frozen=True)
class Lamp:
    """A station and how its lamp truly fares.

    Attributes:
        hours_at_start, hours_a_day: of the lamp.
        new_mw_cm2: mean output when new.
        decay_per_h: share of the output lost in an hour.
        corner: output at the corners against the centre.
        relamped_on: working days before the end.
    """

    line: dict[str, object]
    hours_at_start: float
    hours_a_day: float
    new_mw_cm2: float
    decay_per_h: float
    corner: float
    relamped_on: int | None = None


LAMPS = (
    Lamp({"station": "lamp-house-1", "name": "Lamp House 1", "source": "led",
          "wavelength_nm": 405, "layout": "centre_and_corners", "light_sources": 48,
          "chamber_temperature_c": 60, "relamp_percent": 75, "longest_minutes": 60,
          "has_turntable": True}, 1400, 6.5, 24.0, 2.4e-5, 0.86),
    Lamp({"station": "lamp-house-2", "name": "Lamp House 2", "source": "led",
          "wavelength_nm": 405, "layout": "centre_and_corners", "light_sources": 48,
          "chamber_temperature_c": 60, "relamp_percent": 75, "longest_minutes": 60,
          "has_turntable": True}, 4300, 6.5, 24.0, 5.0e-5, 0.74),
    Lamp({"station": "drawer", "name": "Drawer", "source": "led", "wavelength_nm": 405,
          "layout": "centre", "light_sources": 12, "chamber_temperature_c": 35,
          "relamp_percent": 70, "longest_minutes": 30}, 5200, 2.5, 11.0, 6.0e-5, 1.0, 4),
)  # fmt: skip
RECIPES = (
    {"resin": "slate", "dose_mj_cm2": 9000, "temperature_c": 60, "turn_half_way": True},
    {"resin": "kiln", "dose_mj_cm2": 14000, "temperature_c": 60, "turn_half_way": True},
    {"resin": "opal", "dose_mj_cm2": 12000, "temperature_c": 60, "least_mw_cm2": 12},
    {"resin": "reed", "dose_mj_cm2": 7000, "temperature_c": 35},
    {"resin": "ember", "reference_minutes": 10, "reference_mw_cm2": 20, "temperature_c": 60},
    {"resin": "wax", "dose_mj_cm2": 5000, "temperature_c": 35, "dry_minutes": 45},
)
CENTRE = 1.08  # of what is meant for the chamber
CURED_DAYS = 20  # cures are written down since the stations have a page


def write_lamps(log: Log, luck: Random) -> None:
    """Stations, recipes, radiometer readings every other week, hours, cures of late."""
    for lamp in LAMPS:
        start = at(WORKING_DAYS, 5.6)
        log.add("station", start, **lamp.line, hours_h=lamp.hours_at_start,
                new_mw_cm2=mean_when_new(lamp), by="Curlew")  # fmt: skip
        for days_before in range(WORKING_DAYS - 1, 0, -12):
            measure(log, luck, lamp, days_before)
        if lamp.relamped_on is not None:
            log.add("relamped", at(lamp.relamped_on, 15.1), station=lamp.line["station"],
                    hours_h=0, new_mw_cm2=mean_when_new(lamp), by="Curlew")  # fmt: skip
            measure(log, luck, lamp, lamp.relamped_on - 1, 0.0)
    for recipe in RECIPES:
        log.add("cure_recipe", at(WORKING_DAYS, 5.8), **recipe, by="Curlew")
    write_cures(log, luck)


def mean_when_new(lamp: Lamp) -> float:
    """Over the marked positions, in mW/cm2."""
    share = 1.0 if lamp.line["layout"] == "centre" else (1 + 4 * lamp.corner) / 5
    return round(CENTRE * lamp.new_mw_cm2 * share, 1)


def measure(
    log: Log, luck: Random, lamp: Lamp, days_before: int, hours: float | None = None
) -> None:
    """The radiometer at each marked position, good to about one in a hundred."""
    hours = hours_of(lamp, days_before) if hours is None else hours
    centre = CENTRE * lamp.new_mw_cm2 * math.exp(-lamp.decay_per_h * hours)
    shown = {"centre_mw_cm2": round(centre * luck.gauss(1, 0.008), 2)}
    if lamp.line["layout"] != "centre":
        for corner in ("back_left", "back_right", "front_left", "front_right"):
            value = centre * lamp.corner * luck.gauss(1, 0.012)
            shown[f"{corner}_mw_cm2"] = round(value, 2)
    log.add("irradiance", at(days_before, 13.1), station=lamp.line["station"], **shown,
            hours_h=round(hours, 1), band_nm=405, by="Curlew")  # fmt: skip


def hours_of(lamp: Lamp, days_before: int) -> float:
    if lamp.relamped_on is not None and days_before < lamp.relamped_on:
        return (lamp.relamped_on - days_before) * lamp.hours_a_day
    return lamp.hours_at_start + (WORKING_DAYS - days_before) * lamp.hours_a_day


def write_cures(log: Log, luck: Random) -> None:
    """Some of the last weeks' washes with their cures; one too soon after its wash."""
    first = working_day(CURED_DAYS).isoformat()
    washes = [line for line in log.lines if line["kind"] == "wash" and line["at"][:10] >= first]
    for count, wash in enumerate(washes[::3]):
        station = "drawer" if wash["resin"] == "wax" else f"lamp-house-{1 + count % 2}"
        minutes = {"slate": 8.5, "kiln": 13, "opal": 11.5, "reed": 7, "ember": 11.5, "wax": 10}
        slow = 1.45 if station == "lamp-house-2" else 1.0
        dried = 8 if count == 30 else luck.randint(36, 90)
        log.add("cure", later(wash["at"], dried + 6), station=station, resin=wash["resin"],
                minutes=round(minutes[wash["resin"]] * slow, 1), tank=wash["tank"],
                washed_at=later(wash["at"], 6), dried_minutes=dried, dry_asked_minutes=30,
                lot=f"L{2100 + count}", by=wash["by"])  # fmt: skip
