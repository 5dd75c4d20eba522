"""What an instrument of the room may be: its unit, what it shows, how far it may be off."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Sort:
    """A sort of instrument.

    Attributes:
        key: its word in room logs, never changed.
        name: what people call it.
        unit: of its offset and its uncertainty.
        most: what neither of them is above, whatever the instrument: a slip of the unit else.
        method: of the readings of baths that it takes; empty where it takes none.
        corrects: fields of such a reading that its offset is taken off; without a method those of a
            reading by any.
        widens: fields that its uncertainty is of, where they are others. A constant offset of a
            balance is gone from a difference of two weighings, so it corrects none.
        is_of_light: it reads curing stations, and its figures are a share of what it shows.
        named_as: the field of an entry that names it.
    """

    key: str
    name: str
    unit: str
    most: float
    method: str = ""
    corrects: tuple[str, ...] = ()
    widens: tuple[str, ...] = ()
    is_of_light: bool = False
    named_as: str = "instrument"

    @property
    def called(self) -> str:
        """Its name within a sentence."""
        return self.name if self.name[:2].isupper() else self.name[:1].lower() + self.name[1:]

    @property
    def fields(self) -> tuple[str, ...]:
        """Fields of a reading that it shows."""
        return self.corrects or self.widens

    def shows(self, method: str, fields: Iterable[str]) -> bool:
        """Whether a reading by that method, of those fields, may be taken with it."""
        return self.method in ("", method) and not set(fields).isdisjoint(self.fields)

    def is_named(self, named_as: str, method: str, fields: Iterable[str]) -> bool:
        """Whether that field of such a reading may name it."""
        return self.named_as == named_as and self.shows(method, fields)


_ALL = (
    Sort("hydrometer", "Hydrometer", "g/mL", 0.05, "hydrometer", ("density_g_ml",)),
    Sort("refractometer_brix", "Refractometer, Brix", "%", 5.0, "refractometer", ("brix_percent",)),
    Sort("refractometer_index", "Refractometer, index", "nD", 0.02, "refractometer", ("index",)),
    Sort("balance", "Balance", "g", 5.0, "residue", widens=("sample_g", "residue_g")),
    Sort("sensor", "In-line sensor", "%", 20.0, "sensor", ("saturation_percent",)),
    Sort("uv_meter", "UV meter", "%", 50.0, is_of_light=True),
    Sort("thermometer", "Thermometer", "°C", 10.0, corrects=("temperature_c",),
         named_as="thermometer"),
    Sort("anemometer", "Hood anemometer", "m/s", 2.0),
)  # fmt: skip
SORTS: Mapping[str, Sort] = {sort.key: sort for sort in _ALL}
SORT_WORDS: Mapping[str, str] = {
    sort.key: f"{sort.called} ({sort.unit}{' of the true value' if sort.is_of_light else ''})"
    for sort in _ALL
}
"""How a form offers them: each with the unit of its figures."""
NAMED_AS: tuple[str, ...] = tuple(dict.fromkeys(sort.named_as for sort in _ALL))
"""The fields by which an entry may name what it was measured with."""
