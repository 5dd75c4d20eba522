"""The shelf of the made-up room: what was bought, what swaps, top-ups and hands took from it.

The shelf is lived through day by day: when an item falls to its reorder level it is ordered, and
the order comes after the supplier's usual time, give or take. What is written are the entries that
people would have made.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from random import Random
from typing import Any

from demo_data.story import WORKING_DAYS
from demo_data.writing import Line, Log, at, working_day

LATE_ORDERED = 21  # working days before the end; due twelve later, and not there
FIRST_DAY = WORKING_DAYS
FIRST_ORDER = 1159


@dataclass(frozen=True)
class Item:
    """An item of the shelf and how the room lives with it.

    Attributes:
        line: its entry.
        order: how much is ordered when `low` is reached.
        at_start: what lay there when the books were opened.
        a_week: handed out in a working week, on average.
        a_swap: taken for each swap.
        unit_price_cents: of one unit at first; it rises a little with each order.
        lead_days: working days until an order comes, on average.
    """

    line: dict[str, Any]
    order: float
    low: float
    at_start: float
    a_week: float = 0
    a_swap: float = 0
    unit_price_cents: float = 0
    lead_days: int = 5
    life_days: int = 0


def solvent(key: str, name: str, solvent: str, purity: float, **more: Any) -> dict[str, Any]:
    return {
        "item": key, "name": name, "category": "solvent", "unit": "L", "solvent": solvent,
        "purity_percent": purity, "container_sizes": [18.9, 3.8], "location": "Solvent cabinet",
        "service_percent": 95, **more,
    }  # fmt: skip


def thing(key: str, name: str, category: str, unit: str, place: str, by: str) -> dict[str, Any]:
    return {
        "item": key, "name": name, "category": category, "unit": unit, "location": place,
        "supplier": by, "service_percent": 95,
    }  # fmt: skip


CHEMISTS, PARTS, SAFETY = "Sedge Solvents", "Ousel Parts", "Plover Workwear"
ITEMS = (
    Item(solvent("ipa-99", "Isopropanol 99 %", "isopropanol", 99, supplier=CHEMISTS,
                 max_on_shelf=151.2, order_cost_cents=3500),
         75.6, 85, 94.5, unit_price_cents=318, lead_days=6, life_days=730),
    Item(solvent("ipa-91", "Isopropanol 91 %", "isopropanol", 91, supplier=CHEMISTS),
         37.8, 30, 37.8, unit_price_cents=256, lead_days=6, life_days=730),
    Item(solvent("tpm", "Tripropylene glycol methyl ether",
                 "tripropylene_glycol_methyl_ether", 98.5, supplier=CHEMISTS),
         37.8, 20, 75.6, unit_price_cents=890, lead_days=9, life_days=365),
    Item({**thing("gloves-m", "Nitrile gloves M, 0.45 mm", "protection", "pair", "Rack 1", SAFETY),
          "container_sizes": [50], "used_per_swap": 4}, 100, 60, 130, 19, 4, 145),
    Item({**thing("gloves-l", "Nitrile gloves L, 0.45 mm", "protection", "pair", "Rack 1", SAFETY),
          "container_sizes": [50], "used_per_swap": 2}, 100, 45, 120, 16, 2, 145),
    Item({**thing("wipes", "Lint-free wipes", "cleaning", "piece", "Rack 1", SAFETY),
          "container_sizes": [250], "used_per_swap": 25}, 1000, 500, 900, 120, 25, 6),
    Item({**thing("pads", "Spill pads", "cleaning", "piece", "Spill kit", SAFETY),
          "container_sizes": [50]}, 50, 30, 60, 1, 1, 110),
    Item({**thing("filter-cones", "Filter cones", "cleaning", "piece", "Rack 2", CHEMISTS),
          "container_sizes": [25], "used_per_swap": 2}, 50, 20, 50, 1, 2, 85),
    Item(thing("impeller", "Impeller 90 mm", "part", "piece", "Drawer 3", PARTS), 2, 1, 2,
         unit_price_cents=4850, lead_days=12),
    Item(thing("impeller-washer", "Impeller washer, three lobes", "part", "piece", "Drawer 3",
               PARTS), 6, 2, 6, unit_price_cents=390, lead_days=12),
    Item(thing("o-ring", "O-ring 40 x 3", "part", "piece", "Drawer 3", PARTS), 12, 5, 12,
         unit_price_cents=120, lead_days=12),
    Item(thing("lid-gasket", "Lid gasket", "part", "piece", "Drawer 4", PARTS), 2, 1, 2,
         unit_price_cents=1650, lead_days=12),
    Item(thing("shaft-seal", "Shaft seal 12 mm", "part", "piece", "Drawer 4", PARTS), 3, 1, 4,
         unit_price_cents=2250, lead_days=12),
    Item({**thing("drum-55", "Empty drum 55 L", "waste_container", "piece", "Yard", CHEMISTS)},
         2, 0, 2, unit_price_cents=4200, lead_days=8),
    Item({**thing("drum-205", "Empty drum 205 L", "waste_container", "piece", "Yard", CHEMISTS)},
         1, 0, 2, unit_price_cents=6900, lead_days=8),
    Item(thing("squirt-bottle", "Squirt bottle 0.5 L", "other", "piece", "Rack 2", SAFETY), 4, 2, 5,
         a_week=0.1, unit_price_cents=380),
)  # fmt: skip
SOLVENT_OF = {
    "alder": "ipa-99", "birch": "ipa-99", "cedar": "ipa-91", "dogwood": "ipa-99", "elder": "tpm",
    "fir": "ipa-99",
}  # fmt: skip


@dataclass
class Stock:
    """An item as it lies on the shelf while the history is written."""

    item: Item
    on_hand: float
    orders: list[tuple[date, str, float]] = field(default_factory=list)
    count: int = 0
    owed: float = 0.0


class Shelf:
    """The shelf, lived through from the first day to the last."""

    def __init__(self, log: Log, luck: Random) -> None:
        self.log, self.luck = log, luck
        self.stocks = {str(item.line["item"]): Stock(item, 0.0) for item in ITEMS}
        self.placed = 0

    def open_books(self) -> None:
        start = at(FIRST_DAY, 5.6)
        for key, stock in self.stocks.items():
            self.log.add("item", start, **stock.item.line)
            self._receive(key, stock.item.at_start, at(FIRST_DAY, 5.7))

    def live(self, takings: dict[date, list[tuple[str, str, float, dict[str, Any]]]]) -> None:
        """Each working day: deliveries, what swaps and top-ups took, hand-outs, orders."""
        for days_before in range(FIRST_DAY, -1, -1):
            day = working_day(days_before)
            for key, stock in self.stocks.items():
                self._deliveries(key, stock, day, days_before)
            for moment, key, quantity, more in sorted(takings.get(day, []), key=lambda t: t[0]):
                self._use(key, quantity, moment, **more)
            if days_before == LATE_ORDERED:
                self._order_that_stays_away()
            for key, stock in self.stocks.items():
                self._hand_out(key, stock, days_before)
                self._order(key, stock, days_before)

    def _deliveries(self, key: str, stock: Stock, day: date, days_before: int) -> None:
        for order in [order for order in stock.orders if order[0] <= day]:
            stock.orders.remove(order)
            moment = at(days_before, 9.4)
            self._receive(key, order[2], moment, order=order[1])

    def _receive(self, key: str, quantity: float, moment: str, **more: Any) -> None:
        stock = self.stocks[key]
        item, stock.count = stock.item, stock.count + 1
        price = item.unit_price_cents * (1 + 0.015 * stock.count) * quantity
        lot: dict[str, Any] = {"lot": f"{key.upper()}-{stock.count:02d}"}
        if item.life_days:
            opened = datetime.fromisoformat(moment).date()
            lot["expires_on"] = (opened + timedelta(days=item.life_days)).isoformat()
        stock.on_hand = round(stock.on_hand + quantity, 2)
        self.log.add("stock_received", moment, item=key, quantity=round(quantity, 2), **lot,
                     price_cents=round(price), supplier=item.line.get("supplier", CHEMISTS),
                     by="Curlew", **more)  # fmt: skip

    def _use(self, key: str, quantity: float, moment: str, **more: Any) -> None:
        stock = self.stocks[key]
        quantity = round(min(quantity, stock.on_hand), 2)
        if quantity <= 0:
            return
        stock.on_hand = round(stock.on_hand - quantity, 2)
        self.log.add("stock_used", moment, item=key, quantity=quantity, **more)

    def _hand_out(self, key: str, stock: Stock, days_before: int) -> None:
        stock.owed += stock.item.a_week / 6 * self.luck.uniform(0.5, 1.5)
        step = 4 if stock.item.a_week >= 10 else 1
        if stock.owed >= step:
            self._use(key, int(stock.owed), at(days_before, 6.4), purpose="hand_out", by="Wren")
            stock.owed -= int(stock.owed)

    def _number(self) -> str:
        """The number of the next order, as a purchasing desk gives them."""
        self.placed += 1
        return f"R-{FIRST_ORDER + self.placed}"

    def _order_that_stays_away(self) -> None:
        self.log.add("order_placed", at(LATE_ORDERED, 10.4), item="o-ring",
                     order=self._number(), quantity=12, supplier=PARTS,
                     expected_on=working_day(9).isoformat(), by="Curlew")  # fmt: skip

    def _order(self, key: str, stock: Stock, days_before: int) -> None:
        item = stock.item
        if stock.on_hand > item.low or stock.orders or days_before == 0:
            return
        if key == "gloves-l" and days_before < 15:
            return  # nobody has noticed yet
        days = max(2, round(self.luck.gauss(item.lead_days, 0.2 * item.lead_days)))
        ahead = max(days_before - days, -days)
        comes_on = working_day(ahead)
        expected_on = working_day(days_before - item.lead_days)
        name = self._number()
        stock.orders.append((comes_on, name, item.order))
        self.log.add("order_placed", at(days_before, 10.2), item=key, order=name,
                     quantity=item.order, supplier=item.line.get("supplier", CHEMISTS),
                     expected_on=expected_on.isoformat(), by="Curlew")  # fmt: skip


def takings_of(
    lines: list[Line], swap_litres: dict[str, float]
) -> dict[date, list[tuple[str, str, float, dict[str, Any]]]]:
    """What swaps and top-ups in the log took from the shelf, by day of the room."""
    found: dict[date, list[tuple[str, str, float, dict[str, Any]]]] = {}
    for line in lines:
        day = datetime.fromisoformat(line["at"]).date()
        for taken in _taken(line, swap_litres):
            found.setdefault(day, []).append(taken)
    return found


def _taken(
    line: Line, swap_litres: dict[str, float]
) -> Iterator[tuple[str, str, float, dict[str, Any]]]:
    tank = line.get("tank")
    if line["kind"] == "top_up":
        more = {"purpose": "top_up", "tank": tank, "by": line["by"]}
        yield line["at"], SOLVENT_OF[str(tank)], line["volume_l"], more
    if line["kind"] == "swap":
        more = {"purpose": "swap", "tank": tank, "by": line["by"]}
        litres = line["filled_l"] + swap_litres[str(tank)]
        yield line["at"], SOLVENT_OF[str(tank)], litres, more
        for item in ITEMS:
            if item.a_swap:
                yield line["at"], str(item.line["item"]), item.a_swap, more
    if line["kind"] == "component_replaced":
        yield line["at"], line["item"], 1, {"purpose": "inspection", "by": line["by"]}
