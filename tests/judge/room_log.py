"""What the people of a made-up room write down."""

from numpy.random import Generator

from app.domain.roomlog import kinds
from tests.judge.families import Family
from tests.judge.truth import RoomTruth, moment


class RoomLog:
    """What people wrote down."""

    def __init__(self, truth: RoomTruth, rng: Generator) -> None:
        self.truth, self.rng = truth, rng
        self.entries: list[kinds.Entry] = []

    def set_up(self, family: Family) -> None:
        halfway = family.new_resin_share > 0
        for i, resin in enumerate(self.truth.resins):
            self.add(
                kinds.Resin,
                80.0 if halfway and i == len(self.truth.resins) - 1 else 0.0,
                resin=resin.key,
                name=resin.key.capitalize(),
                density_g_ml=resin.label_density_g_ml,
                filled=resin.filler_fraction > 0,
                filler_percent=(resin.is_filler_told and 100 * resin.filler_fraction) or None,
            )

    def add(
        self, kind: type[kinds.Entry], days: float, late_days: float = 0, **values: object
    ) -> None:
        entered_at = moment(days + late_days) if late_days else None
        self.entries.append(
            kind(at=moment(days), id=f"e{len(self.entries):06d}", entered_at=entered_at, **values)
        )

    def late_days(self) -> float:
        """Some entries are made in the evening, some days later."""
        late = self.rng.random() < self.truth.late_share
        return float(self.rng.uniform(0.1, 3)) if late else 0.0
