"""How the made-up site works, and who its people are."""

from demo_data.story import WORKING_DAYS
from demo_data.writing import Log, at

PEOPLE = (
    ("Wren", "technician"), ("Dunlin", "technician"), ("Curlew", "lead"), ("Heron", "manager"),
)  # fmt: skip


def write_site(log: Log) -> None:
    start = at(WORKING_DAYS, 5.5)
    log.add("site_rules", start, site="site", working_days="1,2,3,4,5,6", swaps_per_day=2,
            swap_minutes=80, solvent_lead_days=6, pickup_lead_days=15, waste_month_limit_kg=1000,
            waste_on_site_limit_kg=6000, flammable_limit_l=620, cabinet_limit_l=227,
            room_volume_m3=140, air_changes_per_hour=6, emergency_number="112",
            site_address="Larkmoor Print Works, Unit 4, Heathside", generator_id="LPW-0417",
            by="Curlew")  # fmt: skip
    for name, role in PEOPLE:
        log.add("crew_member", start, crew="crew", name=name, role=role, by="Curlew")
