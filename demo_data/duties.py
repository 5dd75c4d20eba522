"""What the made-up room looks at again and again, and the one check it has let slip."""

from random import Random

from demo_data.site import PEOPLE
from demo_data.story import TANKS, WORKING_DAYS
from demo_data.writing import Log, at, working_day

WEEKLY = (  # duty, day of the week, hour, who, the last day it was done on
    ("hood_look", 0, 7.1, "Wren", 0),
    ("interlock", 1, 7.2, "Wren", 9),
    ("instrument", 2, 7.4, "Curlew", 0),
    ("eyewash", 0, 7.3, "Wren", 0),
)
FRESH_G_ML = 0.7883  # isopropanol 99 % at 20 C, the room's known sample


def write_duties(log: Log, luck: Random) -> None:
    """Weekly, monthly and quarterly checks, and the yearly training of each."""
    for days_before in range(WORKING_DAYS - 1, -1, -1):
        day = working_day(days_before)
        for duty, weekday, hour, who, last in WEEKLY:
            if day.weekday() == weekday and days_before >= last:
                sample = {}
                if duty == "instrument":
                    shown = round(FRESH_G_ML + luck.gauss(0, 0.0004), 4)
                    sample = {"expected": FRESH_G_ML, "shown": shown}
                done(log, days_before, hour, duty, who, **sample)
    for days_before in (140, 114, 88, 62, 36, 11):
        done(log, days_before, 7.6, "spill_kit", "Curlew")
    for days_before in (130, 52):
        done(log, days_before, 15.2, "hood_measured", "Curlew")
    write_closes(log)
    for place, (name, _) in enumerate(PEOPLE):
        done(log, 100 - 9 * place, 14.1, "training", "Curlew", of=name)


def write_closes(log: Log) -> None:
    """The first working day of each month the baths stand at their line; Elder was forgotten."""
    firsts = [
        days for days in range(WORKING_DAYS - 2, -1, -1)
        if working_day(days).month != working_day(days + 1).month
    ]  # fmt: skip
    for tank in (str(tank.line["tank"]) for tank in TANKS):
        since = ""
        for days_before in firsts:
            if tank == "elder" and days_before < 10:
                continue
            moment = at(days_before, 6.1)
            moved = volumes(log, tank, since, moment) if since else {}
            log.add("month_close", moment, tank=tank, is_at_line=True, by="Wren", **moved)
            since = moment


def volumes(log: Log, tank: str, since: str, until: str) -> dict[str, float]:
    """What went into a bath and out of it between two moments."""
    lines = [
        line for line in log.lines
        if line.get("tank") == tank and since < line["at"] <= until
    ]  # fmt: skip
    swaps = [line for line in lines if line["kind"] == "swap"]
    added = sum(line["volume_l"] for line in lines if line["kind"] == "top_up")
    added += sum(line["filled_l"] for line in swaps)
    removed = sum(line["drained_l"] for line in swaps)
    return {"added_l": round(added, 1), "removed_l": round(min(removed, added), 1)}


def done(log: Log, days_before: int, hour: float, duty: str, by: str, **more: object) -> None:
    log.add("duty_done", at(days_before, hour), duty=duty, outcome="in_order", by=by, **more)
