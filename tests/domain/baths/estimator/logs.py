"""Short logs to try the room filter on."""

from datetime import UTC, datetime, timedelta
from typing import Any

from app.domain.baths.estimator import Effect, RoomFilter, Settings
from app.domain.roomlog import kinds

START = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)

SURE = Settings(
    carry_in_ln_sd=1e-6, resin_ln_sd=1e-6, resin_walk_ln_sd=0.0, unlogged_share=0.0, wash_ln_sd=0.0,
    evaporation_per_day=1e-15, to_mark_noise=1e-9, drag_out_noise=0.0,
    drag_out_ln_sd=1e-6,
)  # fmt: skip


def after(days: float) -> datetime:
    """An instant so many days after the start."""
    return START + timedelta(days=days)


class Log:
    """A room filter with one resin and one tank of 42 L isopropanol, and short words to feed it."""

    def __init__(self, settings: Settings | None = None, **tank: Any) -> None:
        self.room = RoomFilter(settings)
        self.entries: list[kinds.Entry] = []
        self.add(kinds.Resin, 0, resin="slate", name="Slate", density_g_ml=1.12)
        self.tank(0, **tank)

    def add(self, kind: type[kinds.Entry], days: float, **values: Any) -> Effect | None:
        entry = kind(at=after(days), **values)
        self.entries.append(entry)
        return self.room.apply(entry)

    def at_tank(self, kind: type[kinds.Entry], days: float, **values: Any) -> Effect:
        effect = self.add(kind, days, **{"tank": "alder", **values})
        assert effect is not None
        return effect

    def tank(self, days: float, **values: Any) -> Effect:
        usual = {
            "name": "Alder", "capacity_l": 42.0, "solvent": "isopropanol",
            "fresh_purity_percent": 99.0,
        }  # fmt: skip
        if not any(name.startswith("limit") for name in values):
            usual["limit_percent"] = 10.0
        return self.at_tank(kinds.Tank, days, **{**usual, **values})

    def wash(self, days: float, area_cm2: float = 2000.0, **values: Any) -> Effect:
        return self.at_tank(kinds.Wash, days, **{"resin": "slate", "area_cm2": area_cm2, **values})

    def washes(self, first: float, last: float, per_day: int = 4, **values: Any) -> None:
        """Washes evenly over days, `first` included and `last` not."""
        count = round((last - first) * per_day)
        for i in range(count):
            self.wash(first + (i + 0.5) / per_day, **values)

    def residue(self, days: float, percent: float) -> Effect:
        values = {"sample_g": 10.0, "residue_g": percent / 10}
        return self.at_tank(kinds.Reading, days, method="residue", values=values)

    def sensor(self, days: float, percent: float) -> Effect:
        values = {"saturation_percent": percent}
        return self.at_tank(kinds.Reading, days, method="sensor", values=values)

    def hydrometer(
        self, days: float, density_g_ml: float, temperature_c: float = 20.0, **more: Any
    ) -> Effect:
        values = {"density_g_ml": density_g_ml, "temperature_c": temperature_c}
        return self.at_tank(kinds.Reading, days, method="hydrometer", values=values, **more)

    def percent(self, days: float, tank: str = "alder") -> float:
        return self.room.belief(tank, after(days)).mean_percent

    def flags(self, days: float) -> tuple[str, ...]:
        return self.room.belief("alder", after(days)).flags
