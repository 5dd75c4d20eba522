"""A room with something of its own for every act and every door, and the faults it may have."""

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from typing import Any

from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.roles import PAIR_ONLY
from app.domain.checklists.template import Step, as_data
from app.domain.harm.acts import ACTS
from app.domain.inspections.conditions import asked
from app.domain.roomlog.kinds import Entry, SwapAbandoned, SwapStarted
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.checklists import StepDone, SwapOpened, TankContents
from app.domain.roomlog.kinds.curing import CureRecipe, Irradiance, Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import Incident, StationHeld, TankHeld
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentReplaced,
    InspectionAnswered,
    InspectionStarted,
)
from app.domain.roomlog.kinds.instruments import (
    InstrumentAdded,
    InstrumentCalibrated,
    InstrumentSetAside,
)
from app.domain.roomlog.kinds.qualifications import (
    ACTS_QUALIFIED,
    QualificationEnded,
    Qualified,
)
from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.domain.roomlog.kinds.supplies import Item, LotHeld, StockReceived
from app.domain.roomlog.kinds.waste import (
    Drum,
    DrumChanged,
    DrumChecked,
    DrumClosed,
    DrumMoved,
    DrumOpened,
    DrumQuarantined,
    PickupBooked,
    Pour,
    WasteRules,
)
from tests.factories import NOW, ROOM, START, tank, wash

DOORS = ("form", "api", "import")
OF_TANKS = tuple(
    act.key for act in ACTS.values() if act.role or act.key in (
        "wash", "top_up", "swap_start", "swap_entered", "pour", "measure")
)  # fmt: skip
OF_DRUMS = ("swap_drum", "drain", "rinse", "pour", "transfer", "close_drum", "ship")
OF_STATIONS = ("cure", "relamp")
CLEAN = "clean"
METERS = tuple(f"measure-{door}" for door in DOORS)
STEPS: tuple[Step, ...] = tuple(step for step in DEFAULT.steps if step.role)
AGO_CALIBRATED = START + timedelta(days=1)
AGO, SOON_AGO = NOW - timedelta(days=60), NOW - timedelta(hours=2)
AN_HOUR_AGO = NOW - timedelta(hours=1)


def named(act: str, door: str) -> str:
    """The key of what an act uses at a door."""
    return f"{act}-{door}"


TANKS = tuple(named(act, door) for act in OF_TANKS for door in DOORS)
DRUMS = tuple(named(act, door) for act in OF_DRUMS for door in DOORS)
SOURCES = tuple(named("source", door) for door in DOORS)
STATIONS = tuple(named(act, door) for act in OF_STATIONS for door in DOORS)
STEP_ACTS = {act.key: act.role for act in ACTS.values() if act.role}


SLOW = "tripropylene_glycol_methyl_ether"


def furniture(solvent: str = "isopropanol", stream: str = "isopropanol_resin") -> list[Entry]:
    """All that the acts use, in order; the baths are of one solvent."""
    found: list[Entry] = [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent=solvent, purity_percent=99.0),
        Item(at=START, item="ace", name="Acetone", category="solvent", unit="L",
             solvent="acetone", purity_percent=99.0),
        StockReceived(at=START, item="ipa", quantity=600, lot="A7"),
        StockReceived(at=START, item="ipa", quantity=600, lot="OLD",
                      expires_on=date(2026, 2, 20)),
        StockReceived(at=START, item="ipa", quantity=600, lot="BAD"),
        StockReceived(at=START, item="ace", quantity=600, lot="AC"),
        CureRecipe(at=START, resin="slate", dose_mj_cm2=1000.0, dry_minutes=0.0),
        *(InstrumentAdded(at=START, instrument=key, name=f"Sensor {key}", sort="sensor",
                          calibrated_on=START.date()) for key in METERS),
    ]  # fmt: skip
    found.append(tank(CLEAN, solvent=solvent))
    for key in TANKS:
        more = {"pair": f"{key}.2"} if key.startswith("move") else {}
        found += [tank(f"{key}.2", solvent=solvent)] if more else []
        found.append(tank(key, solvent=solvent, **more))
        found.append(wash(3, key, area_cm2=500.0))
    found += [
        Drum(at=START, drum=key, name=f"Drum {key}", capacity_l=200.0, area="wash_station",
             stream=stream, volume_l=40.0)
        for key in (*DRUMS, *SOURCES)
    ]  # fmt: skip
    for door in DOORS:
        found += [tank(named("sign", door), solvent=solvent), *to_sign(named("sign", door))]
    for key in STATIONS:
        found.append(
            Station(at=START, station=key, name=f"Station {key}", source="led",
                    wavelength_nm=405.0, layout="centre", new_mw_cm2=20.0, longest_minutes=30.0)
        )  # fmt: skip
        found.append(Irradiance(at=START + timedelta(days=1), station=key, centre_mw_cm2=20.0))
    for door in DOORS:
        key = named("ship", door)
        found.append(DrumClosed(at=SOON_AGO, drum=key, is_cool=True))
        found.append(PickupBooked(at=SOON_AGO, pickup=key, drums=[key], hauler="Marl Waste",
                                  pickup_on=NOW.date()))  # fmt: skip
        for act, role in STEP_ACTS.items():
            found += under_way(named(act, door), role, solvent)
    return found


def to_sign(key: str) -> list[Entry]:
    """An inspection of a tank in which all is answered and nothing was found."""
    position = {"component": f"c-{key}", "part": "lid_gasket", "name": "Lid gasket"}
    return [
        InspectionStarted(at=SOON_AGO, inspection=f"i-{key}", tank=key, positions=[position]),
        InspectionAnswered(
            at=SOON_AGO, inspection=f"i-{key}", component=position["component"],
            answers={one.key: "no" for one in asked("lid_gasket", "empty")},
        ),
    ]  # fmt: skip


def under_way(key: str, role: str, solvent: str) -> list[Entry]:
    """A swap of a tank in which all before the step of a role is ticked."""
    place = next(i for i, step in enumerate(STEPS) if step.role == role)
    pair = f"{key}.2" if role == "move" else None
    began = SOON_AGO
    found: list[Entry] = [
        SwapStarted(at=began, tank=one, swap=f"s-{key}", by="Wren") for one in (key, pair) if one
    ]
    found.append(
        SwapOpened(
            at=began, by="Wren", swap=f"s-{key}", tank=key, checklist="swap", version=1,
            steps=as_data(STEPS), estimated_l=40.0, capacity_l=40.0, min_l=30.0,
            solvent=solvent, from_tank=pair, from_estimated_l=40.0 if pair else None,
            from_capacity_l=40.0 if pair else None, from_min_l=30.0 if pair else None,
        )
    )  # fmt: skip
    for number, step in enumerate(STEPS[:place], 1):
        at = began + timedelta(minutes=number)
        if step.role in PAIR_ONLY and pair is None:
            continue
        answers = {"drum": key if key in DRUMS else "source-form"}
        if step.role == "drain":
            answers = {"drained_l": 39.0, "heel_l": 1.0}  # type: ignore[dict-item]
        said = answers if step.role in ("drum", "drain") else None
        found.append(StepDone(at=at, by="Wren", swap=f"s-{key}", step=step.key, answers=said))
    return found


def every(keys: tuple[str, ...], make: Callable[[str], Entry]) -> Callable[[], list[Entry]]:
    return lambda: [make(key) for key in keys]


def duty(key: str, *of: str, fault: bool = False) -> Callable[[], list[Entry]]:
    """A duty that was done long ago, or found something just now."""
    outcome, at = ("fault", AN_HOUR_AGO) if fault else ("in_order", AGO)
    return lambda: [
        DutyDone(at=at, duty=key, of=one or None, outcome=outcome, note="It sticks", by="Dunlin")
        for one in (of or ("",))
    ]


def full() -> list[Entry]:
    return [Pour(at=AN_HOUR_AGO, drum=key, volume_l=155.0) for key in DRUMS]


def unsaid() -> list[Entry]:
    """Nobody has said what is in the tanks: in a swap that is under way, or after one given up."""
    found: list[Entry] = []
    for key in TANKS:
        act = key.partition("-")[0]
        if act in STEP_ACTS:
            found.append(TankContents(at=AN_HOUR_AGO, tank=key, swap=f"s-{key}", found="asked"))
        else:
            found += [
                SwapStarted(at=SOON_AGO, tank=key),
                SwapAbandoned(at=AN_HOUR_AGO, tank=key, asks_contents=True),
            ]
    return found


def checked(**more: bool) -> Callable[[str], Entry]:
    usual = {"lid_closed": True, "label_complete": True, "date_visible": True, "no_leak": True,
             "aisle_free": True}  # fmt: skip
    return lambda key: DrumChecked(at=AN_HOUR_AGO, drum=key, **{**usual, **more})


def of_stream(stream: str, keys: tuple[str, ...] = DRUMS) -> Callable[[], list[Entry]]:
    return every(keys, lambda key: DrumChanged(at=AN_HOUR_AGO, drum=key, stream=stream))


def looked_at(key: str) -> Entry:
    return InspectionStarted(
        at=AN_HOUR_AGO, inspection=f"i-{key}", tank=key,
        positions=[{"component": f"c-{key}", "part": "impeller", "name": "Impeller"}],
    )  # fmt: skip


def new_windows() -> list[Entry]:
    """Each station has a new window, and its light was measured before."""
    return [
        entry
        for key in STATIONS
        for entry in (
            Component(at=START, component=f"w-{key}", part="lamp_window", name="Lamp window",
                      station=key),
            ComponentReplaced(at=AN_HOUR_AGO, component=f"w-{key}", because="finding"),
        )
    ]  # fmt: skip


def held(standing: str) -> Callable[[], list[Entry]]:
    return lambda: [
        LotHeld(at=AN_HOUR_AGO, item="ipa", lot="BAD", standing=standing, reason="It smells")
    ]


def nothing() -> list[Entry]:
    return []


def qualified() -> list[Entry]:
    """Somebody else may do everything."""
    return [
        Qualified(at=AN_HOUR_AGO, qualifications="qualifications", person="Curlew", act=act,
                  until_on=NOW.date(), lead="Curlew", trained_on=START.date())
        for act in ACTS_QUALIFIED
    ]  # fmt: skip


def taken_off() -> list[Entry]:
    """Wren does nothing of it any more."""
    return [
        QualificationEnded(at=AN_HOUR_AGO, qualifications="qualifications", person="Wren",
                           act=act, lead="Curlew")
        for act in ACTS_QUALIFIED
    ]  # fmt: skip


FAULTY: Mapping[str, Callable[[], list[Entry]]] = {
    "person_not_for_it": taken_off,
    "person_not_qualified": qualified,
    "interlock_fault": duty("interlock", *STATIONS, fault=True),
    "interlock_overdue": duty("interlock", *STATIONS),
    "station_held": every(STATIONS, lambda key: StationHeld(
        at=AN_HOUR_AGO, station=key, reason="The lid is cracked", cause="lead")),
    "reading_set_aside": every(STATIONS, lambda key: Irradiance(
        at=AN_HOUR_AGO, station=key, centre_mw_cm2=200.0)),
    "light_path_new": new_windows,
    "meter_overdue": duty("instrument"),
    "instrument_overdue": every(METERS, lambda key: InstrumentCalibrated(
        at=AGO_CALIBRATED, instrument=key, calibrated_on=START.date(),
        due_on=NOW.date() - timedelta(days=1))),
    "instrument_aside": every(METERS, lambda key: InstrumentSetAside(
        at=AN_HOUR_AGO, instrument=key, reason="The stem is cracked")),
    "cover_fault": duty("cover", *TANKS, fault=True),
    "cover_overdue": duty("cover", *TANKS),
    "tank_held": every(TANKS, lambda key: TankHeld(
        at=AN_HOUR_AGO, tank=key, reason="It drips", cause="lead")),
    "contents_unknown": unsaid,
    "part_unsafe": every(TANKS, lambda key: TankHeld(
        at=AN_HOUR_AGO, tank=key, reason="The impeller is cracked", cause="inspection",
        inspection="i-0")),
    "inspection_unsigned": every(TANKS, looked_at),
    "flash_lowered": every(TANKS, lambda key: Incident(
        at=AN_HOUR_AGO, incident=f"n-{key}", problem="wrong_solvent", tank=key,
        solvent="isopropanol", volume_l=1.0)),
    "bath_spoiled": every((*TANKS, *(f"{named('move', door)}.2" for door in DOORS)), lambda key: (
        Incident(at=AN_HOUR_AGO, incident=f"n-{key}", problem="wrong_solvent", tank=key,
                 solvent="acetone", volume_l=1.0))),
    "tank_heated": every(TANKS, lambda key: TankBuild(
        at=AN_HOUR_AGO, tank=key, material="metal", is_ultrasonic=True)),
    "hood_fault": duty("hood_look", fault=True),
    "hood_overdue": duty("hood_look"),
    "eyewash_fault": duty("eyewash", fault=True),
    "eyewash_overdue": duty("eyewash"),
    "spill_kit_fault": duty("spill_kit", fault=True),
    "spill_kit_overdue": duty("spill_kit"),
    "storage_over_limit": lambda: [
        SiteRules(at=AN_HOUR_AGO, site="site", flammable_limit_l=100.0)],
    "drum_wrong_stream": of_stream("acetone_resin"),
    "drum_no_liquid": of_stream("wipes", (*DRUMS, *SOURCES)),
    "drum_over_limit": full,
    "drum_warm": every(DRUMS, checked(is_warm=True)),
    "drum_unsound": every(DRUMS, checked(no_leak=False)),
    "drum_unknown": of_stream("unknown"),
    "drum_quarantined": every(DRUMS, lambda key: DrumQuarantined(
        at=AN_HOUR_AGO, drum=key, reason="Smells of something else")),
    "drum_closed": every(DRUMS, lambda key: DrumClosed(at=AN_HOUR_AGO, drum=key, is_cool=True)),
    "drum_past_day": lambda: [
        WasteRules(
            at=AN_HOUR_AGO, waste_rules="waste_rules", rule_set="own", category="own",
            edits={"storage_days": {"value": 7, "source": "Permit", "as_of": "2026-01-02"}},
        ),
        *(DrumMoved(at=START + timedelta(days=1), drum=key, area="central") for key in DRUMS),
    ],
    "drum_open": every(DRUMS, lambda key: DrumOpened(at=AN_HOUR_AGO, drum=key)),
    "lot_expired": nothing,
    "lot_quarantined": held("quarantined"),
    "lot_withdrawn": held("withdrawn"),
    "lot_wrong_solvent": nothing,
}  # fmt: skip
"""What the log says of each fault; a lot is chosen by the act itself."""
LOTS = {
    "lot_expired": ("ipa", "OLD"),
    "lot_quarantined": ("ipa", "BAD"),
    "lot_withdrawn": ("ipa", "BAD"),
    "lot_wrong_solvent": ("ace", "AC"),
}

AT = f"/rooms/{ROOM}"
BY = {"by": "Wren"}


def form_of(act: str, fault: str) -> tuple[str, dict[str, str]]:
    """The address and the fields of the form of an act."""
    key = named(act, "form")
    item, lot = LOTS.get(fault, ("ipa", "A7"))
    bottle, tanks, drums = f"{item}|{lot}", f"{AT}/tanks/{key}", f"{AT}/waste/drums"
    if act in STEP_ACTS:
        return _tick_form(act, key, bottle)
    forms: dict[str, tuple[str, dict[str, str]]] = {
        "measure": (f"{_measured(tanks, fault)}/log/reading", {
            "method": "sensor", "saturation_percent": "0.5", "instrument": key}),
        "wash": (f"{tanks}/log/wash", {"resin": "slate", "area_cm2": "520"}),
        "top_up": (f"{tanks}/log/top-up", {"volume_l": "0.5", "bottle": bottle}),
        "swap_start": (f"{tanks}/swap/start", {}),
        "swap_entered": (f"{tanks}/swap/at-once", {"drained_l": "39", "filled_l": "39",
                                                    "solvent": "isopropanol"}),
        "pour": (f"{drums}/{key}/pour", {"volume_l": "5", "tank": key}),
        "transfer": (f"{drums}/source-form/transfer", {"volume_l": "5", "to_drum": key}),
        "close_drum": (f"{drums}/{key}/do/close", {"is_cool": "on"}),
        "ship": (f"{AT}/waste/pickups/{key}/ship", {f"drum+{key}": "on", "document": "M-1"}),
        "cure": (f"{AT}/cure", {"station": key, "resin": "slate", "minutes": "0.9167",
                              "came_from": "none"}),
        "relamp": (f"{AT}/stations/{key}/log/relamp", {"new_mw_cm2": "20"}),
        "receive": (f"{AT}/shelf/items/ipa/receive", {
            "quantity": "300", "lot": "BAD" if lot == "BAD" else "N1",
            "expires_on": _expires(fault)}),
        "sign": (f"{AT}/inspections/i-{key}/close", {}),
        "order": (f"{AT}/shelf/orders", {
            "take.ipa": "on", "quantity.ipa": "5", "order": "o1", "group": "order",
            "show": "all"}),
    }  # fmt: skip
    return forms[act]


def _measured(tanks: str, fault: str) -> str:
    """The tank that is read: a page asks of a spoiled bath in its own way, so another one is."""
    return f"{AT}/tanks/{CLEAN}" if fault in ("flash_lowered", "bath_spoiled") else tanks


def _expires(fault: str) -> str:
    return "2026-02-20" if fault == "lot_expired" else "2027-02-20"


def _tick_form(act: str, key: str, bottle: str) -> tuple[str, dict[str, str]]:
    step = next(step for step in STEPS if step.role == STEP_ACTS[act])
    answers = {
        "swap_drum": {"drum": key},
        "drain": {"drained_l": "39", "heel_l": "1"},
        "rinse": {"rinse_l": "2", "lot": bottle},
        "move": {"moved_l": "38"},
        "fill": {"filled_l": "38", "lot": bottle},
    }.get(act, {})
    points = {f"confirm_{place}": "on" for place in range(len(step.confirms))}
    return f"{AT}/tanks/{key}/swap/steps/{step.key}/tick", {**answers, **points}


def said_of(act: str, fault: str, door: str) -> list[dict[str, Any]]:
    """The entries of an act as a program sends them."""
    key = named(act, door)
    item, lot = LOTS.get(fault, ("ipa", "A7"))
    use = {"kind": "stock_used", "item": item, "lot": lot, "tank": key}
    if act in STEP_ACTS:
        return _tick_entries(act, key, use)
    said: dict[str, list[dict[str, Any]]] = {
        "measure": [{"kind": "reading", "tank": key, "method": "sensor", "instrument": key,
                     "saturation_percent": 0.5}],
        "wash": [{"kind": "wash", "tank": key, "resin": "slate", "area_cm2": 520.0}],
        "top_up": [{"kind": "top_up", "tank": key, "volume_l": 0.5},
                   use | {"quantity": 0.5, "purpose": "top_up"}],
        "swap_start": [{"kind": "swap_started", "tank": key}],
        "swap_entered": [{"kind": "swap", "tank": key, "drained_l": 39.0, "filled_l": 39.0}],
        "pour": [{"kind": "pour", "drum": key, "tank": key, "volume_l": 5.0}],
        "transfer": [{"kind": "drum_transfer", "drum": key, "from_drum": f"source-{door}",
                      "volume_l": 5.0, "waste_kg": 4.0}],
        "close_drum": [{"kind": "drum_closed", "drum": key, "is_cool": True}],
        "ship": [{"kind": "pickup_shipped", "pickup": key, "drums": [key], "document": "M-1"}],
        "cure": [{"kind": "cure", "station": key, "resin": "slate", "minutes": 0.9167}],
        "relamp": [{"kind": "relamped", "station": key, "new_mw_cm2": 20.0}],
        "receive": [{"kind": "stock_received", "item": "ipa", "quantity": 300.0,
                     "lot": lot if lot == "BAD" else f"N-{door}",
                     "expires_on": _expires(fault)}],
        "sign": [{"kind": "inspection_closed", "inspection": f"i-{key}"}],
        "order": [{"kind": "order_placed", "item": "ipa", "quantity": 5.0, "order": f"o-{door}"}],
    }  # fmt: skip
    return said[act]


def _tick_entries(act: str, key: str, use: dict[str, Any]) -> list[dict[str, Any]]:
    step = next(step for step in STEPS if step.role == STEP_ACTS[act])
    answers: dict[str, Any] = {
        "swap_drum": {"drum": key}, "drain": {"drained_l": 39.0}, "rinse": {"rinse_l": 2.0},
        "move": {"moved_l": 38.0}, "fill": {"filled_l": 38.0},
    }.get(act, {})  # fmt: skip
    swap = f"s-{key}"
    tick = {"kind": "step_done", "swap": swap, "step": step.key, "answers": answers or None}
    pour = {"kind": "pour", "drum": key, "tank": key, "swap": swap}
    taken = use | {"purpose": "swap", "swap": swap}
    follows: dict[str, list[dict[str, Any]]] = {
        "drain": [pour | {"volume_l": 39.0}],
        "rinse": [pour | {"volume_l": 2.0}, taken | {"quantity": 2.0}],
        "fill": [taken | {"quantity": 38.0}],
    }
    return [{name: value for name, value in tick.items() if value is not None},
            *follows.get(act, [])]  # fmt: skip
