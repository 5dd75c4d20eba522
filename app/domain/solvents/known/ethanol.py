"""Ethanol."""

from app.domain.solvents.density import DensityModel
from app.domain.solvents.model import Solvent, Source
from app.domain.solvents.sources import (
    CANADA,
    CRC_ORGANIC,
    EH40,
    ENGLAND,
    EQUATION_OF_STATE,
    IEC,
    IEC_FLASH,
    NIOSH_ETHANOL,
    ONTARIO,
    US,
    sources,
)
from app.domain.solvents.vapour import Limit, Vapour
from app.domain.solvents.waste import FLAMMABLE, IGNITABLE, SKIN, SpentBath

ETHANOL = Solvent(
    key="ethanol",
    name="Ethanol",
    density=DensityModel(
        density_20c_g_ml=0.78924,
        expansion=(-8.5528e-4, -4.224e-7, -7.204e-9),
        sd_g_ml=0.001,
        molar_mass_g_mol=46.068,
        excess_cm3_mol=(-4.3389, 1.1967, -1.4790),
        fitted_from_percent=30.0,
        sd_outside_g_ml=0.004,
    ),
    boiling_point_c=78.4,
    flash_point_c=12.0,
    index_20c=((100, 1.3611),),
    usual_purity_percent=95.0,
    usual_limit_volume_percent=10.0,
    is_hygroscopic=True,
    sources=sources(
        Source(
            "OIML R 22 (1975)",
            "density at 20 °C, fitted by three terms, largest residual 0.0003 g/mL; denatured "
            "grades differ more, hence the larger uncertainty; expansion from CoolProp 8.0.0",
            "computed",
        ),
        EQUATION_OF_STATE,
        IEC_FLASH,
        CRC_ORGANIC,
    ),
    drying_minutes=30,
    place=20,
    waste=SpentBath(
        "ethanol_resin", "Spent ethanol with resin", "Ethanol, dissolved acrylate resin",
        (FLAMMABLE, "Irritates the eyes", SKIN),
        "it is a flammable liquid with its own profile at the contractor",
        IGNITABLE, place=20,
    ),
    goes_into=("glycol_ether_with_alcohol",),
    vapour=Vapour(
        46.068,
        ((-10, 768.9), (0, 1601.8), (5, 2261.2), (10, 3148.6), (15, 4327.7), (20, 5875.7),
         (25, 7885.4), (30, 10466.6), (40, 17880.3), (50, 29408.5), (60, 46734.1)),
        3.1, 19.0, IEC,
        (Limit("8 hours", 1000, NIOSH_ETHANOL, where=US),
         Limit("15 minutes", 1000, ONTARIO, where=CANADA),
         Limit("8 hours", 1000, EH40, where=ENGLAND),
         Limit("danger to life", 3300, NIOSH_ETHANOL, is_danger=True)),
    ),
)  # fmt: skip
