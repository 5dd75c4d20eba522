"""The truth of a made-up bath: a balance of resin and solvent, in grams."""

from dataclasses import dataclass

from app.domain.solvents import solvent
from demo_data.story import DENSITY_G_ML, Tank

DRAG_OUT_ML_CM2 = 0.010


@dataclass
class Bath:
    """What is truly in a tank: grams of resin and of solvent."""

    tank: Tank
    resin_g: float
    solvent_g: float

    @property
    def percent(self) -> float:
        return 100 * self.resin_g / (self.resin_g + self.solvent_g)

    @property
    def volume_ml(self) -> float:
        return self.resin_g / resin_density(self.tank) + self.solvent_g / solvent_density(self.tank)

    def wash(self, area_cm2: float, carry_in_g_cm2: float) -> None:
        share = DRAG_OUT_ML_CM2 * area_cm2 / self.volume_ml
        self.resin_g = (1 - share) * self.resin_g + area_cm2 * carry_in_g_cm2
        self.solvent_g *= 1 - share

    def evaporate(self, days: float) -> None:
        full_g = capacity_ml(self.tank) * solvent_density(self.tank)
        self.solvent_g -= full_g * self.tank.evaporation * days

    def fill_up(self) -> float:
        """Fill to the upper mark; the litres it took."""
        missing_ml = capacity_ml(self.tank) - self.volume_ml
        self.solvent_g += missing_ml * solvent_density(self.tank)
        return missing_ml / 1000


def capacity_ml(tank: Tank) -> float:
    return 1000 * float(str(tank.line["capacity_l"]))


def solvent_density(tank: Tank, temperature_c: float = 20.0) -> float:
    purity = float(str(tank.line["fresh_purity_percent"]))
    return solvent(str(tank.line["solvent"])).density_g_ml(temperature_c, purity)


def resin_density(tank: Tank) -> float:
    return sum(share * DENSITY_G_ML[resin] for resin, share in tank.resins.items())


def percent_to_g(tank: Tank, percent: float) -> tuple[float, float]:
    """Grams of resin and solvent in a full bath."""
    share = percent / 100
    volume_ml_per_g = share / resin_density(tank) + (1 - share) / solvent_density(tank)
    mass_g = capacity_ml(tank) / volume_ml_per_g
    return mass_g * share, mass_g * (1 - share)
