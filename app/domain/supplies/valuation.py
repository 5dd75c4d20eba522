"""What the stock of an item is worth: first-in first-out and weighted average, in whole cents.

Both are cost-flow rules of inventory accounting (IAS 2 Inventories, paragraphs 25 and 27): they
say which cost leaves with what is used, whatever container was really taken. Every cent that comes
in is either still in the stock or has left with a use: nothing is lost to rounding.
"""

from dataclasses import dataclass, replace

from app.domain.money import exact

PLACES = 6  # of a quantity: a microlitre, and less than any instrument shows
MOST_LAYERS = 60


@dataclass(frozen=True)
class Layer:
    """What is left of one receipt: its quantity and what that cost, in cents."""

    quantity: float
    cents: int


@dataclass(frozen=True)
class Valuation:
    """The worth of what is on hand.

    Attributes:
        layers: receipts of which something is left, the oldest first.
        average_cents: worth of the whole quantity at the moving weighted average.
        used_fifo_cents, used_average_cents: what everything that left has cost, by each rule.
    """

    layers: tuple[Layer, ...] = ()
    average_cents: int = 0
    used_fifo_cents: int = 0
    used_average_cents: int = 0

    @property
    def quantity(self) -> float:
        """What is on hand, in the item's unit."""
        return rounded(sum(layer.quantity for layer in self.layers))

    @property
    def fifo_cents(self) -> int:
        """Worth of what is on hand, first in first out."""
        return sum(layer.cents for layer in self.layers)

    @property
    def average_cents_per_unit(self) -> float | None:
        """The moving average cost of one unit; None where nothing is on hand."""
        quantity = self.quantity
        return self.average_cents / quantity if quantity else None


def rounded(quantity: float) -> float:
    """A quantity without the dust of floating-point sums."""
    return round(quantity, PLACES) + 0.0


def share(cents: int, part: float, whole: float) -> int:
    """`part` of `whole` of so many cents, rounded half to even; exact for any size."""
    if whole <= 0 or part >= whole:
        return cents
    return round(cents * exact(part) / exact(whole))


def receive(worth: Valuation, quantity: float, cents: int) -> Valuation:
    """The worth after a receipt that cost `cents` in all."""
    layers = (*worth.layers, Layer(rounded(quantity), cents))
    if len(layers) > MOST_LAYERS:  # so that the state stays small: the two oldest become one
        first, second, *rest = layers
        merged = Layer(rounded(first.quantity + second.quantity), first.cents + second.cents)
        layers = (merged, *rest)
    return replace(worth, layers=layers, average_cents=worth.average_cents + cents)


def issue(worth: Valuation, quantity: float) -> Valuation:
    """The worth after `quantity` has left; no more leaves than is there."""
    whole = worth.quantity
    average_out = share(worth.average_cents, min(quantity, whole), whole)
    layers, fifo_out, wanted = list(worth.layers), 0, rounded(quantity)
    while layers and wanted > 0:
        first = layers.pop(0)
        if first.quantity <= wanted:
            fifo_out += first.cents
            wanted = rounded(wanted - first.quantity)
            continue
        out = share(first.cents, wanted, first.quantity)
        fifo_out += out
        layers.insert(0, Layer(rounded(first.quantity - wanted), first.cents - out))
        wanted = 0
    return Valuation(
        tuple(layers),
        worth.average_cents - average_out,
        worth.used_fifo_cents + fifo_out,
        worth.used_average_cents + average_out,
    )


def found(worth: Valuation, quantity: float) -> Valuation:
    """The worth after a count found more than the books had: at the present average cost."""
    per_unit = worth.average_cents_per_unit or 0.0
    return receive(worth, quantity, round(per_unit * quantity))
