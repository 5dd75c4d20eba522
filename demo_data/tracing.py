"""What lets the made-up room trace a batch: its instruments, its part lots, who may do what.

Cures are written down for some of the last weeks' washes; those have a part lot. It is entered
before its wash, and released the next morning by the lead: one was held back, and the lots of the
last days are still open.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

from demo_data.story import WORKING_DAYS, ZONE
from demo_data.writing import Line, Log, at, later, working_day

INSTRUMENTS = (
    {"instrument": "hydrometer-1", "name": "Hydrometer 1", "sort": "hydrometer",
     "serial": "HY-0331", "uncertainty": 0.0003, "certificate": "C-1187"},
    {"instrument": "balance-1", "name": "Balance", "sort": "balance", "serial": "BA-5520",
     "uncertainty": 0.001, "certificate": "C-1188"},
    {"instrument": "uv-meter-1", "name": "UV meter", "sort": "uv_meter", "serial": "UV-2207",
     "uncertainty": 2.0, "certificate": "C-1204"},
    {"instrument": "hood-meter", "name": "Hood meter", "sort": "anemometer", "serial": "HM-0904",
     "uncertainty": 0.03, "certificate": "C-1175"},
)  # fmt: skip
THERMOMETER = {
    "instrument": "thermometer-1", "name": "Thermometer 1", "sort": "thermometer",
    "serial": "TH-0712", "offset": 0.1, "uncertainty": 0.1, "certificate": "C-1192",
}  # fmt: skip
DUE_IN_DAYS = {"uv-meter-1": -14, "hydrometer-1": -90, "balance-1": -120, "hood-meter": -60,
               "thermometer-1": -75}  # fmt: skip
READ_WITH = {"hydrometer": "hydrometer-1", "residue": "balance-1"}
QUALIFIED = (("Wren", -9), ("Dunlin", -170), ("Curlew", -190))
"""Who cures parts, and how many working days from the end that lasts."""
SUNDAY = 6
RELEASED_BEFORE = 2  # working days: what was cured since is still open
REJECTED = 57  # place of the lot that came out white
EVERY_BUILD = 4  # lots of one build and one resin follow each other


def write_tracing(log: Log) -> None:
    """Name the instruments in what was read with them, and the lots in what was washed."""
    lines: list[Line] = []
    start = at(WORKING_DAYS, 5.4)
    lines.extend(_added(one, start) for one in INSTRUMENTS)
    for person, until in QUALIFIED:
        lines.append({"kind": "qualified", "at": at(140, 14.5), "qualifications": "qualifications",
                      "act": "cure", "person": person, "until_on": working_day(until).isoformat(),
                      "trained_on": working_day(140).isoformat(), "lead": "Curlew",
                      "by": "Curlew"})  # fmt: skip
    name_instruments(log)
    lines.extend(lots_of(log))
    lines.append(_added(THERMOMETER, start))
    for count, line in enumerate(lines, 1):
        log.lines.append({**line, "id": f"larkmoor-trace-{count:04d}"})
    log.lines.sort(key=lambda line: line["at"])


def _added(one: Line, at_start: str) -> Line:
    """An instrument as it came into the room, with its certificate."""
    due = working_day(DUE_IN_DAYS[str(one["instrument"])]).isoformat()
    calibrated = working_day(WORKING_DAYS + 4).isoformat()
    return {"kind": "instrument", "at": at_start, **one, "due_on": due,
            "calibrated_on": calibrated, "by": "Curlew"}  # fmt: skip


def name_instruments(log: Log) -> None:
    """Each reading says what it was taken with; the sensor of a tank is known by its tank."""
    for line in log.lines:
        if line["kind"] == "irradiance":
            line["instrument"] = "uv-meter-1"
        elif line["kind"] == "reading" and line["method"] in READ_WITH:
            line["instrument"] = READ_WITH[line["method"]]
            if "temperature_c" in line:
                line["thermometer"] = "thermometer-1"


def lots_of(log: Log) -> list[Line]:
    """The part lot of each cure, from its resin to its release."""
    washes = {(line["tank"], line["at"]): line for line in log.lines if line["kind"] == "wash"}
    cures = [line for line in log.lines if line["kind"] == "cure"]
    open_from = at(RELEASED_BEFORE, 0)
    lines: list[Line] = []
    for count, cure in enumerate(cures):
        wash = washes[cure["tank"], later(cure["washed_at"], -6)]
        wash["lot"] = cure["lot"]
        week = datetime.fromisoformat(wash["at"]).isocalendar()[1]
        resin_lot = f"{wash['resin'][:2].upper()}-{week:02d}"
        parts = {"parts": wash["parts"]} if "parts" in wash else {}
        lines.append({"kind": "part_lot", "at": later(wash["at"], -25), "lot": cure["lot"], **parts,
                      "resin": wash["resin"], "resin_lot": resin_lot,
                      "build": f"B-{310 + count // EVERY_BUILD}", "by": wash["by"]})  # fmt: skip
        if cure["at"] >= open_from:
            continue
        if count == REJECTED:
            lines.append({"kind": "part_lot_rejected", "at": later(cure["at"], 40),
                          "lot": cure["lot"], "reason": "White film on all parts",
                          "by": cure["by"]})  # fmt: skip
            continue
        lines.append({"kind": "part_lot_released", "at": released_at(cure["at"]),
                      "lot": cure["lot"], "lead": "Curlew", "by": "Curlew"})  # fmt: skip
    return lines


def released_at(cured_at: str) -> str:
    """Ten hours after the cure, when the lead is there; never on a Sunday."""
    at_once = later(cured_at, 60 * 10)
    is_sunday = datetime.fromisoformat(at_once).astimezone(ZoneInfo(ZONE)).weekday() == SUNDAY
    return later(at_once, 60 * 24) if is_sunday else at_once
