"""The parts in the made-up room's tanks, looked at with each swap, and what was replaced."""

from datetime import datetime, timedelta
from random import Random

from app.domain.inspections.conditions import CONDITIONS
from demo_data.story import TANKS, WORKING_DAYS
from demo_data.writing import Line, Log, at

PARTS = (  # part, name, its mate
    ("impeller", "Impeller 1", "washer"),
    ("washer", "Washer 1", "impeller"),
    ("o_ring", "O-ring 1", ""),
    ("shaft_seal", "Shaft seal", ""),
    ("lid_gasket", "Lid gasket", ""),
    ("level_marks", "Level marks", ""),
    ("sensor", "Sensor", ""),
)
ITEMS = {
    "impeller": "impeller", "washer": "impeller-washer", "o_ring": "o-ring",
    "shaft_seal": "shaft-seal", "lid_gasket": "lid-gasket",
}  # fmt: skip
ON_PAPER = "Looked at on paper, before tablets came in."


def key_of(tank: str, part: str) -> str:
    return f"{tank}-{part.replace('_', '-')}-1"


def write_wear(log: Log, luck: Random) -> None:
    """Positions, and an inspection with each swap."""
    start = at(WORKING_DAYS, 5.7)
    for tank in (str(tank.line["tank"]) for tank in TANKS):
        for part, name, mate in PARTS:
            more = {"mate": key_of(tank, mate)} if mate else {}
            if part in ITEMS:
                more["item"] = ITEMS[part]
            log.add("component", start, component=key_of(tank, part), part=part, name=name,
                    tank=tank, by="Curlew", fitted_at=start, **more)  # fmt: skip
    looks: dict[str, int] = {}
    for swap in sorted((x for x in log.lines if x["kind"] == "swap"), key=lambda x: x["at"]):
        looks[swap["tank"]] = looks.get(swap["tank"], 0) + 1
        inspect(log, luck, swap, looks[swap["tank"]])


def inspect(log: Log, luck: Random, swap: Line, count: int) -> None:
    """Each position in turn; what is found is replaced while the tank is empty."""
    tank, key = swap["tank"], f"{swap['tank']}-look-{count}"
    moment = datetime.fromisoformat(swap["at"]) - timedelta(minutes=8)

    def write(kind: str, seconds: int, **values: object) -> None:
        when = (moment + timedelta(seconds=seconds)).isoformat()
        log.add(kind, when, inspection=key, by="Curlew", **values)

    positions = [
        {"component": key_of(tank, part), "part": part, "name": name} for part, name, _ in PARTS
    ]
    write("inspection_started", 0, tank=tank, positions=positions)
    for place, (part, _, _) in enumerate(PARTS, 1):
        found = finding(tank, part, count, swap, luck)
        answers = {each.key: "yes" if each.key == found else "no" for each in CONDITIONS[part]}
        more: dict[str, object] = {}
        if found and verdict_of(part, found) != "watch":
            more["no_photo"] = ON_PAPER
        write("inspection_answered", 30 * place, component=key_of(tank, part), answers=answers,
              **more)  # fmt: skip
        if found and verdict_of(part, found) == "replace":
            write("component_replaced", 30 * place + 10, component=key_of(tank, part),
                  because="finding", item=ITEMS[part])  # fmt: skip
    write("inspection_closed", 300, second="Dunlin")


def finding(tank: str, part: str, count: int, swap: Line, luck: Random) -> str:
    """What was found at a position, or nothing."""
    if part == "impeller" and swap.get("note", "").startswith("Impeller worn"):
        return "impeller_worn"
    if part == "o_ring" and luck.random() < 0.3 + 0.25 * (count % 3):
        return luck.choice(("o_ring_cracked", "o_ring_swollen"))
    if part == "impeller" and tank == "birch" and count == 4:
        return "impeller_film"
    if part == "lid_gasket" and tank == "alder" and count == 3:
        return "gasket_gap"
    return ""


def verdict_of(part: str, found: str) -> str:
    return next(each.verdict for each in CONDITIONS[part] if each.key == found)
