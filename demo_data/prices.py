"""What things cost at the made-up room."""

from demo_data.story import WORKING_DAYS
from demo_data.writing import Log, at


def write_prices(log: Log) -> None:
    log.add("price_list", at(WORKING_DAYS, 5.6), prices="prices", currency="EUR", locale="en_IE",
            weekly_budget_cents=42_000, labour_cents_per_hour=3_400, inspection_minutes=20,
            disposal_cents_per_kg=290, by="Heron")  # fmt: skip
    log.add("price_list", at(64, 8.5), prices="prices", weekly_budget_cents=45_000,
            by="Heron")  # fmt: skip
    log.add("other_cost", at(17, 11.0), prices="prices", cost_cents=8_600, purpose="disposal",
            what="Second visit of the waste contractor", by="Curlew")  # fmt: skip
