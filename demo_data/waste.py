"""The waste drums of the made-up room: where each swap's old bath went, and who fetched it."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from demo_data.story import WORKING_DAYS, ZONE
from demo_data.writing import Line, Log, at, working_day

IPA, TPM = "isopropanol_resin", "glycol_ether_resin"
HAULER = "Marl Waste Carriers"


@dataclass(frozen=True)
class Use:
    """A drum, and the working days before the end between which it took which tanks' baths."""

    drum: str
    tanks: tuple[str, ...]
    first_day: int
    last_day: int


USES = (
    Use("d-01", ("alder", "birch", "cedar", "fir", "dogwood"), 158, 125),
    Use("d-02", ("cedar", "fir"), 124, 2),
    Use("d-02", ("dogwood",), 124, 60),
    Use("d-03", ("alder", "birch"), 124, 32),
    Use("d-05", ("alder", "birch", "dogwood"), 31, 2),
    Use("d-04", ("elder",), 158, 2),
)
RINSE_L = {"alder": 2.6, "birch": 3.4, "cedar": 1.4, "dogwood": 1.2, "elder": 2.0, "fir": 0.9}


def write_waste(log: Log) -> None:
    """The rules the site works by, its drums, each pour, the weekly look, the pickups."""
    start = at(WORKING_DAYS, 5.6)
    log.add("waste_rules", start, waste_rules="waste_rules", rule_set="us_federal", category="sqg",
            by="Curlew")  # fmt: skip
    drum(log, start, "d-01", "Drum 1", 205, IPA, volume_l=61, waste_kg=49.6)
    drum(log, at(126, 15.2), "d-02", "Drum 2", 205, IPA, volume_l=2, waste_kg=1.6)
    drum(log, at(94, 8.5), "d-03", "Drum 3", 205, IPA)
    drum(log, start, "d-04", "Drum 4", 120, TPM)
    drum(log, at(33, 10.1), "d-05", "Drum 5", 205, IPA)
    for line in [line for line in log.lines if line["kind"] == "swap"]:
        pour(log, line)
    pickup(log, "p-01", ("d-01",), booked=118, comes=101, cost_cents=41_500, document="LM-2061")
    late = at(33, 11.2)
    log.add("pickup_booked", late, pickup="p-02", drums=["d-03"], hauler=HAULER,
            pickup_on=working_day(19).isoformat(), by="Curlew")  # fmt: skip
    log.add("pickup_cancelled", at(20, 16.1), pickup="p-02", drums=["d-03"],
            reason="The contractor's lorry broke down.", by="Curlew")  # fmt: skip
    pickup(log, "p-03", ("d-03",), booked=20, comes=13, cost_cents=43_000, document="LM-2117")
    weekly_looks(log)


def drum(
    log: Log, moment: str, key: str, name: str, litres: float, stream: str, **more: float
) -> None:
    held = {"first_pour_at": moment, "central_at": moment} if more else {}
    log.add("drum", moment, drum=key, name=name, capacity_l=litres, stream=stream, area="central",
            fill_limit_percent=90, tare_kg=8.6 if litres < 200 else 21.5, **more, **held,
            by="Curlew")  # fmt: skip


def pour(log: Log, swap: Line) -> None:
    """The old bath and the rinse went into the drum that was in use for its tank."""
    tank, moment = str(swap["tank"]), datetime.fromisoformat(swap["at"])
    key = drum_of(tank, moment.astimezone(ZoneInfo(ZONE)).date())
    if key is None:
        return
    stream = TPM if tank == "elder" else IPA
    drained = (moment - timedelta(minutes=9)).isoformat()
    rinsed = (moment - timedelta(minutes=4)).isoformat()
    more = {"drum": key, "tank": tank, "stream": stream, "by": "Curlew"}
    log.add("pour", drained, volume_l=swap["drained_l"], resin_percent=9.5, **more)
    log.add("pour", rinsed, volume_l=RINSE_L[tank], resin_percent=2.0, **more)


def drum_of(tank: str, day: date) -> str | None:
    """The drum in use for a tank on a day."""
    for use in USES:
        if tank in use.tanks and working_day(use.first_day) <= day <= working_day(use.last_day):
            return use.drum
    return None


def pickup(
    log: Log,
    key: str,
    drums: tuple[str, ...],
    booked: int,
    comes: int,
    cost_cents: int,
    document: str,
) -> None:
    which = {"pickup": key, "drums": list(drums), "by": "Curlew"}
    log.add("pickup_booked", at(booked, 11.2), hauler=HAULER,
            pickup_on=working_day(comes).isoformat(), **which)  # fmt: skip
    for each in drums:
        log.add("drum_closed", at(comes + 1, 16.3), drum=each, is_cool=True, by="Curlew")
    log.add("pickup_shipped", at(comes, 10.6), document=document, cost_cents=cost_cents, **which)
    if comes > 60:
        log.add("pickup_copy_received", at(comes - 12, 9.1), **which)


def weekly_looks(log: Log) -> None:
    """Every Monday, but for one that was forgotten."""
    in_use = {
        "d-01": (157, 102),
        "d-02": (126, 0),
        "d-03": (94, 14),
        "d-04": (112, 0),
        "d-05": (32, 0),
    }
    for days_before in range(WORKING_DAYS - 1, -1, -1):
        if working_day(days_before).weekday() != 0 or 40 < days_before < 48:
            continue
        for key, (first, last) in in_use.items():
            if last <= days_before <= first:
                log.add("drum_checked", at(days_before, 8.2), drum=key, lid_closed=True,
                        label_complete=True, date_visible=True, no_leak=True, aisle_free=True,
                        by="Curlew")  # fmt: skip
