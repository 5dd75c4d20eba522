"""Honest entries for the demo room, made up: of each kind with figures some that anybody enters.

Each is a line of the log without its time. `today` and `later` are days; what the room already has
(tanks, drums, lots, orders) is named as the demo names it.
"""

from collections.abc import Sequence
from typing import Any

Line = dict[str, Any]


def washes() -> list[Line]:
    sizes: Sequence[tuple[str, str, dict[str, Any]]] = (
        ("alder", "slate", {"area_cm2": 520.0}), ("alder", "ember", {"area_cm2": 1180.0}),
        ("birch", "kiln", {"area_cm2": 1600.0}), ("birch", "kiln", {"area_cm2": 2500.0}),
        ("cedar", "opal", {"parts": 6}), ("cedar", "opal", {"parts": 11}),
        ("dogwood", "opal", {"parts": 7}), ("elder", "slate", {"mass_g": 420.0}),
        ("elder", "slate", {"mass_g": 260.0}),
    )  # fmt: skip
    done = [
        {"kind": "wash", "tank": tank, "resin": resin, "minutes": minutes, **size}
        for (tank, resin, size), minutes in zip(sizes, (4, 5, 8, 7, 6, 5, 6, 7, 6), strict=True)
    ]
    planned = [
        {"kind": "planned_wash", "tank": tank, "resin": resin, **size}
        for tank, resin, size in sizes[:3] + sizes[7:]
    ]
    return done + planned


def of_baths() -> list[Line]:
    return [
        {"kind": "tank", "tank": "gorse", "name": "Gorse", "capacity_l": 38, "min_l": 31,
         "solvent": "isopropanol", "fresh_purity_percent": 99, "limit_percent": 10,
         "stop_percent": 12, "life_days": 80, "life_washes": 700, "saturation_percent": 0},
        {"kind": "tank", "tank": "hazel", "name": "Hazel", "capacity_l": 25, "min_l": 20,
         "solvent": "ethanol", "fresh_purity_percent": 94, "limit_volume_percent": 9,
         "stop_volume_percent": 11, "saturation_percent": 4.2},
        {"kind": "tank", "tank": "ivy", "name": "Ivy", "capacity_l": 55, "min_l": 45,
         "solvent": "isopropanol", "limit_g_l": 80, "stop_g_l": 95},
        {"kind": "tank", "tank": "juniper", "name": "Juniper", "capacity_l": 30, "min_l": 24,
         "solvent": "isopropanol", "fresh_purity_volume_percent": 99, "limit_percent": 9},
        {"kind": "tank_build", "tank": "cedar", "material": "metal", "heated_to_c": 32,
         "lead": "Curlew", "reason": "Watched while it is warm"},
        {"kind": "own_solvent", "own_solvents": "heptane", "name": "Heptane",
         "density_g_ml": 0.684, "density_at_c": 20, "flash_point_c": -4,
         "boiling_point_c": 98, "vapour_pressure_hpa": 48, "limit_ppm": 400,
         "molar_mass_g_mol": 100.2},
        {"kind": "tank_change", "tank": "alder", "limit_percent": 9, "stop_percent": 11},
        {"kind": "tank_change", "tank": "birch", "capacity_l": 41, "min_l": 33},
        {"kind": "tank_change", "tank": "elder", "limit_volume_percent": 9.5,
         "stop_volume_percent": 11.5, "life_days": 120},
        {"kind": "tank_change", "tank": "cedar", "life_washes": 550},
        {"kind": "tank_change", "tank": "dogwood", "life_days": 80},
        {"kind": "tank_change", "tank": "fir", "limit_g_l": 82, "stop_g_l": 96},
        {"kind": "resin", "resin": "moss", "name": "Moss", "density_g_ml": 1.13},
        {"kind": "resin", "resin": "flint", "name": "Flint", "density_g_ml": 1.52, "filled": True,
         "filler_percent": 40},
        *({"kind": "top_up", "tank": tank, "volume_l": litres} for tank, litres in
          (("alder", 1.1), ("birch", 0.9), ("cedar", 0.6), ("dogwood", 0.4), ("elder", 0.5))),
        {"kind": "removal", "tank": "alder", "volume_l": 0.8},
        {"kind": "removal", "tank": "cedar", "volume_l": 0.05},
        {"kind": "planned_wash", "tank": "cedar", "resin": "opal", "parts": 9},
        {"kind": "removal", "tank": "birch", "volume_l": 1.5},
        {"kind": "solids_removed", "tank": "birch", "mass_g": 260},
        {"kind": "solids_removed", "tank": "birch", "mass_g": 190},
        {"kind": "reject", "tank": "birch", "resin": "kiln", "finding": "tacky", "parts": 3},
        {"kind": "reject", "tank": "alder", "resin": "slate", "finding": "white_film", "parts": 8},
        {"kind": "calibration", "solvent": "isopropanol", "scale": "brix_percent",
         "points": [[17.9, 0], [19.4, 4], [20.8, 8], [22.4, 12]]},
        {"kind": "calibration", "solvent": "isopropanol", "scale": "index",
         "points": [[1.3772, 0], [1.3841, 5], [1.3912, 10]]},
        *readings(),
    ]  # fmt: skip


def readings() -> list[Line]:
    """Near what the demo's baths are at; where they stand moves with the estimate, not much."""
    return [
        {"kind": "reading", "tank": "alder", "method": "hydrometer", "density_g_ml": 0.808,
         "temperature_c": 19.6},
        {"kind": "reading", "tank": "elder", "method": "hydrometer", "density_g_ml": 0.9705,
         "temperature_c": 20.9},
        {"kind": "reading", "tank": "cedar", "method": "sensor", "saturation_percent": 6.9},
        {"kind": "reading", "tank": "alder", "method": "residue", "sample_g": 5.02,
         "residue_g": 0.36},
        {"kind": "reading", "tank": "birch", "method": "residue", "sample_g": 4.95,
         "residue_g": 0.3},
    ]  # fmt: skip


def of_swaps() -> list[Line]:
    return [
        {"kind": "swap", "tank": "alder", "drained_l": 40.6, "filled_l": 41.0,
         "fresh_purity_percent": 99, "heel_l": 0.6, "heel_basis": "seen"},
        {"kind": "swap", "tank": "elder", "drained_l": 57.0, "filled_l": 58.5, "heel_l": 0.9,
         "fresh_purity_percent": 98.5, "heel_basis": "seen"},
        {"kind": "swap", "tank": "dogwood", "drained_l": 19.0, "filled_l": 19.5, "heel_l": 0,
         "fresh_purity_percent": 99, "heel_basis": "seen"},
        {"kind": "swap", "tank": "cedar", "drained_l": 19.2, "filled_l": 19.6, "heel_l": 0.3,
         "fresh_purity_percent": 91, "heel_basis": "seen"},
    ]  # fmt: skip


def of_curing() -> list[Line]:
    light = {"back_left_mw_cm2": 20.9, "back_right_mw_cm2": 21.1, "front_left_mw_cm2": 21.0,
             "front_right_mw_cm2": 20.7, "centre_mw_cm2": 24.3}  # fmt: skip
    nine = {**light, "back_mw_cm2": 22.0, "left_mw_cm2": 21.8, "right_mw_cm2": 22.1,
            "front_mw_cm2": 21.9}  # fmt: skip
    return [
        {"kind": "station", "station": "bench", "name": "Bench", "source": "led",
         "wavelength_nm": 405, "layout": "centre", "light_sources": 36,
         "chamber_temperature_c": 45, "hours_h": 2100, "new_mw_cm2": 18.5, "relamp_percent": 70,
         "longest_minutes": 45, "width_nm": 14},
        {"kind": "station", "station": "new-one", "name": "New one", "source": "led",
         "wavelength_nm": 385, "layout": "centre", "light_sources": 60,
         "chamber_temperature_c": 55, "hours_h": 0, "new_mw_cm2": 26, "relamp_percent": 75,
         "longest_minutes": 60},
        {"kind": "station_changed", "station": "drawer", "chamber_temperature_c": 40,
         "relamp_percent": 72, "longest_minutes": 40, "light_sources": 14,
         "wavelength_nm": 400, "new_mw_cm2": 12.2, "width_nm": 16},
        {"kind": "relamped", "station": "lamp-house-2", "hours_h": 20, "new_mw_cm2": 21.5},
        {"kind": "lamp_hours", "station": "lamp-house-1", "hours_h": 2420},
        {"kind": "irradiance", "station": "lamp-house-1", **nine, "hours_h": 2425, "band_nm": 405},
        {"kind": "irradiance", "station": "lamp-house-1", **light, "band_nm": 400},
        {"kind": "cure_recipe", "resin": "slate", "dose_mj_cm2": 8500, "wavelength_nm": 405,
         "temperature_c": 55, "longest_minutes": 45, "dry_minutes": 35, "least_mw_cm2": 10,
         "working_curve": [[50, 0.12], [100, 0.21], [200, 0.3], [400, 0.39]]},
        {"kind": "cure_recipe", "resin": "ember", "reference_minutes": 9,
         "reference_mw_cm2": 21, "temperature_c": 60, "dry_minutes": 40},
        *({"kind": "cure", "station": station, "resin": resin, "minutes": minutes, "parts": parts,
           "dried_minutes": dried, "dry_asked_minutes": 30} for station, resin, minutes, parts,
          dried in (("lamp-house-1", "slate", 7.4, 6, 70), ("lamp-house-2", "slate", 9.6, 4, 64),
                    ("lamp-house-1", "kiln", 11.2, 3, 80), ("lamp-house-1", "opal", 9.8, 9, 75))),
        {"kind": "cure", "station": "lamp-house-1", "resin": "slate", "minutes": 7.2,
         "dose_mj_cm2": 9100, "weakest_dose_mj_cm2": 9000, "dose_asked_mj_cm2": 9000},
    ]  # fmt: skip


def of_shelf(later: str) -> list[Line]:
    return [
        {"kind": "item", "item": "ethanol", "name": "Ethanol 94 %", "category": "solvent",
         "unit": "L", "solvent": "ethanol", "purity_percent": 94, "container_sizes": [18.9],
         "list_price_cents": 420, "order_cost_cents": 3000, "holding_percent": 20,
         "lead_days": 6, "lead_sd_days": 2, "service_percent": 95, "order_minimum": 18.9,
         "max_on_shelf": 113.4, "shelf_life_days": 730, "opened_life_days": 180,
         "used_per_swap": 2, "reorder_at": 37.8},
        {"kind": "item", "item": "aprons", "name": "Aprons", "category": "protection",
         "unit": "piece", "container_sizes": [20], "service_percent": 90, "list_price_cents": 240,
         "used_per_swap": 2, "reorder_at": 8, "max_on_shelf": 60, "order_minimum": 20},
        {"kind": "item_changed", "item": "ipa-99", "max_on_shelf": 140, "lead_days": 7,
         "lead_sd_days": 2.5, "order_cost_cents": 3900, "service_percent": 96,
         "container_sizes": [18.9, 5], "list_price_cents": 370, "holding_percent": 15,
         "order_minimum": 18.9, "shelf_life_days": 720, "opened_life_days": 200,
         "reorder_at": 40, "purity_percent": 99.5},
        {"kind": "item_changed", "item": "ipa-91", "purity_volume_percent": 92},
        {"kind": "item", "item": "ipa-70", "name": "Isopropanol 70 %", "category": "solvent",
         "unit": "L", "solvent": "isopropanol", "purity_volume_percent": 70,
         "container_sizes": [18.9]},
        {"kind": "item_changed", "item": "gloves-m", "used_per_swap": 5, "reorder_at": 40,
         "list_price_cents": 150},
        {"kind": "stock_received", "item": "ipa-99", "quantity": 75.6, "containers": 4,
         "price_cents": 27200, "expires_on": later},
        {"kind": "stock_received", "item": "gloves-m", "quantity": 100, "containers": 2,
         "price_cents": 15600, "order": "R-1190"},
        {"kind": "stock_received", "item": "tpm", "quantity": 56.7, "containers": 3,
         "price_cents": 51000},
        {"kind": "stock_used", "item": "ipa-99", "quantity": 1.2, "purpose": "top_up",
         "tank": "alder"},
        {"kind": "stock_used", "item": "gloves-m", "quantity": 5, "purpose": "hand_out"},
        {"kind": "stock_used", "item": "wipes", "quantity": 24, "purpose": "hand_out"},
        {"kind": "stock_scrapped", "item": "wipes", "quantity": 1000, "reason": "expired",
         "lot": "WIPES-05"},
        {"kind": "item", "item": "citric", "name": "Citric acid", "category": "cleaning",
         "unit": "kg", "container_sizes": [5], "shelf_life_days": 180, "lead_days": 3,
         "list_price_cents": 310},
        {"kind": "stock_scrapped", "item": "wipes", "quantity": 1, "reason": "damaged",
         "lot": "WIPES-05"},
        {"kind": "stock_scrapped", "item": "wipes", "quantity": 40, "reason": "damaged",
         "lot": "WIPES-05"},
        {"kind": "order_placed", "item": "ipa-99", "order": "o-91", "quantity": 56.7,
         "price_cents": 20600, "expected_on": later},
        {"kind": "order_placed", "item": "wipes", "order": "o-92", "quantity": 1000,
         "price_cents": 6500, "expected_on": later},
        {"kind": "order_placed", "item": "impeller", "order": "o-93", "quantity": 2,
         "price_cents": 10100, "expected_on": later},
    ]  # fmt: skip


def of_waste(today: str) -> list[Line]:
    return [
        {"kind": "drum", "drum": "d-06", "name": "Drum 6", "capacity_l": 205,
         "stream": "isopropanol_resin", "area": "central", "fill_limit_percent": 90,
         "tare_kg": 20.5, "inner_height_cm": 84},
        {"kind": "drum", "drum": "d-07", "name": "Can 7", "capacity_l": 60,
         "stream": "glycol_ether_resin", "area": "wash_station", "fill_limit_percent": 92,
         "tare_kg": 3.6, "inner_height_cm": 56, "volume_l": 21, "waste_kg": 20.4},
        {"kind": "drum_changed", "drum": "d-05", "capacity_l": 210, "fill_limit_percent": 88,
         "tare_kg": 20.8, "inner_height_cm": 83},
        {"kind": "pour", "drum": "d-05", "tank": "alder", "volume_l": 3.1, "resin_percent": 5.5,
         "stream": "isopropanol_resin"},
        {"kind": "pour", "drum": "d-05", "tank": "birch", "volume_l": 2.4, "resin_percent": 6.2,
         "stream": "isopropanol_resin", "dip_before_cm": 41, "dip_after_cm": 42},
        {"kind": "pour", "drum": "d-04", "tank": "elder", "volume_l": 12, "resin_percent": 7.5,
         "stream": "glycol_ether_resin", "mass_before_kg": 66.4, "mass_after_kg": 78.0},
        {"kind": "pour", "drum": "d-05", "tank": "birch", "volume_l": 0.4, "resin_percent": 0.2,
         "stream": "isopropanol_resin"},
        {"kind": "drum_transfer", "drum": "d-05", "from_drum": "d-08", "volume_l": 20,
         "waste_kg": 16.2},
        {"kind": "scale_weight", "scale": "Floor", "drum": "d-05", "moment": "before",
         "shown_kg": 83.5},
        {"kind": "scale_weight", "scale": "Floor", "drum": "d-05", "moment": "after",
         "shown_kg": 114.1},
        {"kind": "scale_weight", "scale": "Bench", "tank": "alder", "moment": "after",
         "shown_kg": 4.6},
        {"kind": "pickup_shipped", "pickup": "p-09", "drums": ["d-09"], "document": "LM-2190",
         "cost_cents": 41000, "shipped_kg": 142},
        *({"kind": "other_cost", "prices": "prices", "cost_cents": cents, "purpose": "other",
           "what": what} for cents, what in ((850, "Post"), (61000, "Repair of the hood"))),
        {"kind": "other_cost", "prices": "prices", "cost_cents": 9400, "purpose": "other",
         "what": "Repair of the drain tap"},
        {"kind": "waste_rules", "waste_rules": "waste_rules", "edits": {
            "warn_days": {"value": 12, "source": "Site procedure 4", "as_of": today}}},
        {"kind": "incident", "incident": "i-91", "problem": "spill", "tank": "birch",
         "volume_l": 1.1, "done": "Absorbed"},
        {"kind": "incident", "incident": "i-93", "problem": "spill", "tank": "birch",
         "volume_l": 0.1, "done": "Wiped up"},
        {"kind": "incident", "incident": "i-94", "problem": "leak", "tank": "alder",
         "volume_l": 13, "wasted_l": 12, "waste_drum": "d-05", "done": "Tap closed"},
        {"kind": "incident", "incident": "i-92", "problem": "leak", "tank": "alder",
         "volume_l": 2.2, "wasted_l": 1.8, "waste_drum": "d-05", "done": "Tap closed"},
    ]  # fmt: skip


def of_site() -> list[Line]:
    return [
        {"kind": "site_rules", "site": "site", "swaps_per_day": 3, "swap_minutes": 85,
         "solvent_lead_days": 7, "pickup_lead_days": 14, "drum_margin_days": 4,
         "rinse_percent": 6, "squirt_bottle_l": 1.5, "heel_percent": 2.5,
         "loss_tolerance_percent": 4, "waste_month_limit_kg": 900,
         "waste_on_site_limit_kg": 5500, "flammable_limit_l": 600, "cabinet_limit_l": 220,
         "room_volume_m3": 145, "air_changes_per_hour": 7, "room_temperature_c": 21},
        {"kind": "price_list", "prices": "prices", "weekly_budget_cents": 47000,
         "labour_cents_per_hour": 3550, "inspection_minutes": 25, "solvent_cents_per_l": 390,
         "disposal_cents_per_drum": 32000, "disposal_cents_per_kg": 300, "reject_cents": 2400},
        {"kind": "solvent_limit", "solvent_limits": "solvent_limits", "solvent": "isopropanol",
         "holds_for": "eight_hours", "limit_ppm": 200, "source": "Permit 7, section 3",
         "reason": "Its permit asks for less", "lead": "Curlew"},
        {"kind": "duty", "duty": "eyewash", "every_days": 7, "grace_days": 1},
        {"kind": "duty", "duty": "floor", "name": "Floor mopped", "subject": "room",
         "every_days": 14, "grace_days": 3},
        {"kind": "duty_done", "duty": "hood_measured", "outcome": "in_order", "speed_m_s": 0.52},
        {"kind": "duty_done", "duty": "instrument", "outcome": "in_order", "expected": 0.7883,
         "shown": 0.7886},
        {"kind": "soak_started", "soak": "s-9", "name": "Gasket strip", "tank": "alder",
         "mass_before_g": 2.41},
        {"kind": "soak_started", "soak": "s-6", "name": "Foil", "tank": "alder",
         "mass_before_g": 0.12},
        {"kind": "soak_started", "soak": "s-5", "name": "Hose, long", "tank": "alder",
         "mass_before_g": 95},
        {"kind": "month_close", "tank": "birch", "added_l": 0.0, "removed_l": 0.0,
         "solids_l": 0.0, "is_at_line": True},
        {"kind": "soak_started", "soak": "s-8", "name": "Seal", "tank": "alder",
         "mass_before_g": 0.31},
        {"kind": "soak_started", "soak": "s-7", "name": "Hose", "tank": "alder",
         "mass_before_g": 28.5},
        {"kind": "soak_ended", "soak": "s-1", "mass_after_g": 2.19},
        {"kind": "tank_contents", "tank": "fir", "swap": "fir-paused", "found": "partly",
         "left_l": 0.4},
        {"kind": "tank_contents", "tank": "fir", "swap": "fir-paused", "found": "partly",
         "left_l": 6.0},
        {"kind": "month_close", "tank": "dogwood", "added_l": 2.9, "removed_l": 0.8,
         "solids_l": 0.4, "is_at_line": True},
    ]  # fmt: skip


def lines(today: str, later: str) -> list[Line]:
    """All of them; `today` and `later` are days in ISO form."""
    return [
        *washes(), *of_baths(), *of_swaps(), *of_curing(), *of_shelf(later),
        *of_waste(today), *of_site(),
    ]  # fmt: skip
