"""What happened at Larkmoor Print Works: an invented room, its baths, resins and people.

Days are counted back from the last day of the history, working days only: 0 is that day, 1 the
working day before it. The physics that turns the story into a log is in `make_log`.
"""

from dataclasses import dataclass, field

ZONE = "Europe/Dublin"
LAST_DAY = "2026-03-04"
WORKING_DAYS = 157  # 26 weeks of six days and the day that has begun
SHIFTS = (("Wren", 6.2, 13.6), ("Dunlin", 14.3, 21.4))  # who washes, from and until what hour

RESINS = (
    {"resin": "slate", "name": "Larkmoor Slate", "density_g_ml": 1.12},
    {"resin": "kiln", "name": "Larkmoor Kiln", "density_g_ml": 1.58, "filled": True,
     "filler_percent": 45},
    {"resin": "opal", "name": "Larkmoor Opal", "density_g_ml": 1.10},
    {"resin": "reed", "name": "Larkmoor Reed", "density_g_ml": 1.06},
    {"resin": "ember", "name": "Larkmoor Ember", "density_g_ml": 1.15},
    {"resin": "wax", "name": "Larkmoor Wax", "density_g_ml": 1.08},
)  # fmt: skip
DENSITY_G_ML = {str(resin["resin"]): float(str(resin["density_g_ml"])) for resin in RESINS} | {
    "kiln": 1.22  # without what settles
}
CARRY_IN_G_CM2 = {
    "slate": 0.015, "kiln": 0.017, "opal": 0.016, "reed": 0.025, "ember": 0.018, "wax": 0.017,
}  # fmt: skip
"""Dissolved resin that parts bring in, as it truly is in this room."""


@dataclass(frozen=True)
class Fill:
    """A fill of a tank, from one swap to the next.

    Attributes:
        from_day: working days before the end on which it began.
        end_percent: how loaded it truly was at its end.
    """

    from_day: int
    end_percent: float
    note: str = ""


@dataclass(frozen=True)
class Tank:
    """A tank and how it is used.

    Attributes:
        line: its entry in the log.
        resins: with the share of washes that each has.
        load: the field that says how much was washed.
        washes_a_day: on average.
        evaporation: fraction of a fill a day.
        readings: method, every how many working days, and on which of them.
        heavy_days: working days before the end with more to wash, and how much more.
        rest_from: working days before the end from which nothing is washed.
    """

    line: dict[str, object]
    resins: dict[str, float]
    load: str
    washes_a_day: float
    evaporation: float
    readings: tuple[tuple[str, int, int], ...]
    fills: tuple[Fill, ...]
    start_percent: float = 0.0
    heavy_days: dict[int, float] = field(default_factory=dict)
    rest_from: int = -1


TANKS = (
    Tank(
        {"tank": "alder", "name": "Alder", "capacity_l": 42, "min_l": 34, "solvent": "isopropanol",
         "fresh_purity_percent": 99, "limit_percent": 10, "stop_percent": 12},
        {"slate": 0.6, "ember": 0.25, "reed": 0.15}, "area_cm2", 6, 0.005,
        (("hydrometer", 4, 1), ("residue", 9, 3)),
        (Fill(158, 9.7), Fill(143, 9.9), Fill(93, 10.1), Fill(43, 8.7)),
        start_percent=6.8,
    ),
    Tank(
        {"tank": "birch", "name": "Birch", "capacity_l": 42, "min_l": 34, "solvent": "isopropanol",
         "fresh_purity_percent": 99, "limit_percent": 10, "stop_percent": 11.5},
        {"kiln": 1.0}, "area_cm2", 4, 0.005,
        (("hydrometer", 6, 4), ("residue", 6, 2)),
        (Fill(158, 10.0), Fill(127, 10.2), Fill(96, 9.8), Fill(62, 10.3),
         Fill(31, 10.75, "Impeller worn at two blades, replaced.")),
        start_percent=1.0, heavy_days={1: 2.6, 0: 0.5},
    ),
    Tank(
        {"tank": "cedar", "name": "Cedar", "capacity_l": 20, "min_l": 15, "solvent": "isopropanol",
         "fresh_purity_percent": 91, "limit_percent": 8, "stop_percent": 10, "life_washes": 600,
         "pair": "dogwood"},
        {"opal": 1.0}, "parts", 7, 0.006,
        (("sensor", 1, 0), ("residue", 5, 2)),
        (Fill(158, 7.9), Fill(140, 8.1), Fill(111, 7.7), Fill(80, 8.0), Fill(50, 7.9),
         Fill(21, 5.0)),
        start_percent=3.0,
    ),
    Tank(
        {"tank": "dogwood", "name": "Dogwood", "capacity_l": 20, "min_l": 15,
         "solvent": "isopropanol", "fresh_purity_percent": 99, "limit_percent": 2,
         "stop_percent": 3, "life_days": 90},
        {"opal": 1.0}, "parts", 1.2, 0.006,
        (("residue", 6, 3),),
        (Fill(158, 1.1), Fill(120, 1.2), Fill(76, 1.3), Fill(31, 0.6)),
        start_percent=0.4,
    ),
    Tank(
        {"tank": "elder", "name": "Elder", "capacity_l": 60, "min_l": 50,
         "solvent": "tripropylene_glycol_methyl_ether", "fresh_purity_percent": 98.5,
         "limit_volume_percent": 10, "stop_volume_percent": 12},
        {"slate": 0.5, "ember": 0.5}, "mass_g", 0.8, 0.0004,
        (("hydrometer", 3, 1),),
        (Fill(158, 8.8), Fill(96, 3.0)),
        start_percent=6.0,
    ),
    Tank(
        {"tank": "fir", "name": "Fir", "capacity_l": 12, "min_l": 9, "solvent": "isopropanol",
         "fresh_purity_percent": 99, "limit_percent": 10, "stop_percent": 12, "life_days": 75},
        {"wax": 1.0}, "area_cm2", 2, 0.006,
        (("hydrometer", 5, 3), ("residue", 12, 2)),
        (Fill(158, 9.6), Fill(123, 9.9), Fill(82, 9.7), Fill(40, 9.6)),
        start_percent=2.5, rest_from=1,
    ),
)  # fmt: skip
