"""The words of spreadsheets: what people call a field, a kind, a unit, a yes.

Units are given with a factor and an offset to the field's own unit. Sources: US gallon, pound,
ounce, inch and degree Fahrenheit from NIST Special Publication 811 (2008), appendix B.8; the
density of water at 20 °C, 0.99820 g/mL, from the CRC Handbook of Chemistry and Physics (from
memory), for a specific gravity 20/20.
"""

from collections.abc import Mapping

from app.domain.instruments import INSTRUMENTS

UNITS: Mapping[tuple[str, str], tuple[float, float]] = {
    ("ml", "L"): (0.001, 0.0),
    ("us_gal", "L"): (3.785411784, 0.0),
    ("us_qt", "L"): (0.946352946, 0.0),
    ("us_fl_oz", "L"): (0.0295735295625, 0.0),
    ("f", "C"): (5 / 9, -160 / 9),
    ("k", "C"): (1.0, -273.15),
    ("kg", "g"): (1000.0, 0.0),
    ("mg", "g"): (0.001, 0.0),
    ("oz", "g"): (28.349523125, 0.0),
    ("lb", "g"): (453.59237, 0.0),
    ("mm2", "cm2"): (0.01, 0.0),
    ("m2", "cm2"): (10_000.0, 0.0),
    ("in2", "cm2"): (6.4516, 0.0),
    ("kg_m3", "g/mL"): (0.001, 0.0),
    ("sg", "g/mL"): (0.99820, 0.0),
    ("s", "min"): (1 / 60, 0.0),
    ("h", "min"): (60.0, 0.0),
}

UNIT_WORDS: Mapping[str, str] = {
    "l": "l", "litre": "l", "litres": "l", "liter": "l", "liters": "l", "ml": "ml",
    "gal": "us_gal", "gals": "us_gal", "gallon": "us_gal", "gallons": "us_gal", "qt": "us_qt",
    "floz": "us_fl_oz", "c": "c", "°c": "c", "celsius": "c", "f": "f", "°f": "f",
    "fahrenheit": "f", "k": "k", "kelvin": "k", "g": "g", "gram": "g", "grams": "g", "kg": "kg",
    "mg": "mg", "oz": "oz", "ounces": "oz", "lb": "lb", "lbs": "lb", "cm2": "cm2", "cm²": "cm2",
    "mm2": "mm2", "mm²": "mm2", "m2": "m2", "m²": "m2", "in2": "in2", "in²": "in2",
    "sqin": "in2", "g/ml": "g/ml", "g/cm3": "g/ml", "kg/m3": "kg_m3", "kg/l": "g/ml",
    "g/cc": "g/ml", "min": "min", "mins": "min", "sec": "s", "s": "s", "h": "h",
    "%": "%", "percent": "%", "pct": "%", "wt%": "%",
}  # fmt: skip

FIELD_WORDS: Mapping[str, str] = {
    "at": "at", "when": "at", "datetime": "at", "date time": "at", "date/time": "at",
    "timestamp": "at", "date and time": "at", "logged at": "at", "date": "date", "day": "date",
    "time": "time", "clock": "time", "entered at": "entered_at", "entered": "entered_at",
    "kind": "kind", "type": "kind", "event": "kind", "entry": "kind", "action": "kind",
    "what": "kind", "tank": "tank", "bath": "tank", "vessel": "tank", "station": "tank",
    "bath no": "tank", "tank no": "tank",
    "wash tank": "tank", "wash bath": "tank", "tank name": "tank", "resin": "resin",
    "material": "resin", "resin name": "resin", "parts": "parts", "part count": "parts",
    "number of parts": "parts", "count": "parts", "qty": "parts", "quantity": "parts",
    "pieces": "parts", "pcs": "parts", "area": "area_cm2", "surface": "area_cm2",
    "surface area": "area_cm2", "mass": "mass_g", "weight": "mass_g", "part mass": "mass_g",
    "parts mass": "mass_g", "minutes": "minutes", "duration": "minutes", "wash time": "minutes",
    "temp": "temperature_c",
    "temperature": "temperature_c",
    "bath temp": "temperature_c", "bath temperature": "temperature_c", "volume": "volume_l",
    "amount": "volume_l", "added": "volume_l", "topped up": "volume_l", "vol": "volume_l",
    "litres": "volume_l", "liters": "volume_l", "drained": "drained_l", "filled": "filled_l",
    "method": "method",
    "instrument": "method", "measured with": "method", "purity": "fresh_purity_volume_percent",
    "abv": "fresh_purity_volume_percent", "purity by volume": "fresh_purity_volume_percent",
    "purity v/v": "fresh_purity_volume_percent", "purity vol%": "fresh_purity_volume_percent",
    "purity by mass": "fresh_purity_percent", "purity by weight": "fresh_purity_percent",
    "purity w/w": "fresh_purity_percent", "purity wt%": "fresh_purity_percent",
    "capacity": "capacity_l", "limit": "limit_percent", "by": "by", "who": "by",
    "operator": "by", "technician": "by", "tech": "by", "user": "by", "person": "by",
    "initials": "by", "note": "note", "notes": "note", "comment": "note", "comments": "note",
    "remark": "note", "remarks": "note", "plan": "plan", "job": "plan", "finding": "finding",
    "solvent": "solvent", "id": "id", "to mark": "to_mark",
    **{word: name for item in INSTRUMENTS.values() for word, name in item.words.items()},
}  # fmt: skip

BOTH_WORDS: Mapping[str, tuple[str, str]] = {
    "sg": ("density_g_ml", "sg"), "specific gravity": ("density_g_ml", "sg"),
    "gal": ("volume_l", "us_gal"), "gallons": ("volume_l", "us_gal"),
}  # fmt: skip
"""Titles that name a field and its unit at once."""

KIND_WORDS: Mapping[str, str] = {
    "wash": "wash", "washed": "wash", "washes": "wash", "washing": "wash", "batch": "wash",
    "reading": "reading", "measurement": "reading", "measured": "reading", "test": "reading",
    "top up": "top_up", "topup": "top_up", "topped up": "top_up", "refill": "top_up",
    "added": "top_up", "addition": "top_up", "removal": "removal", "removed": "removal",
    "taken out": "removal", "drawn off": "removal", "swap": "swap", "swapped": "swap",
    "bath change": "swap", "change": "swap", "changed": "swap", "solvent change": "swap",
    "exchange": "swap", "swap started": "swap_started", "swap given up": "swap_abandoned",
    "solids removed": "solids_removed", "solids": "solids_removed", "sludge": "solids_removed",
    "planned wash": "planned_wash", "planned": "planned_wash", "plan": "planned_wash",
    "reject": "reject", "rejected": "reject", "rejects": "reject", "tank": "tank",
    "new tank": "tank", "resin": "resin", "new resin": "resin", "tank change": "tank_change",
    "calibration": "calibration", "withdrawal": "withdrawal", "withdrawn": "withdrawal",
}  # fmt: skip

FLAG_WORDS: Mapping[str, bool] = {
    "yes": True, "y": True, "true": True, "1": True, "x": True, "on": True,
    "no": False, "n": False, "false": False, "0": False, "off": False,
}  # fmt: skip
