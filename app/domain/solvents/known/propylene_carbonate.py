"""Propylene carbonate."""

from app.domain.solvents.density import DensityModel
from app.domain.solvents.model import Solvent
from app.domain.solvents.sources import (
    CRC_ORGANIC,
    FROM_MEMORY,
    sources,
)
from app.domain.solvents.vapour import Vapour
from app.domain.solvents.waste import HIGH_FLASH, SKIN, SpentBath

PROPYLENE_CARBONATE = Solvent(
    key="propylene_carbonate",
    name="Propylene carbonate",
    density=DensityModel(
        density_20c_g_ml=1.2045,
        expansion=(-1.0e-3, 0.0, 0.0),
        sd_g_ml=0.002,
        molar_mass_g_mol=102.089,
        sd_per_water_percent_g_ml=0.001,
    ),
    boiling_point_c=241.6,
    flash_point_c=132.0,
    index_20c=((100, 1.4189),),
    usual_purity_percent=99.5,
    usual_limit_volume_percent=None,
    is_hygroscopic=True,
    sources=sources(FROM_MEMORY, CRC_ORGANIC, FROM_MEMORY, CRC_ORGANIC),
    drying_minutes=60,
    place=50,
    goes_into=("carbonate_with_alcohol",),
    waste=SpentBath(
        "propylene_carbonate_resin", "Spent propylene carbonate with resin",
        "Propylene carbonate, dissolved acrylate resin", (SKIN, "Irritates the eyes"),
        "a few per cent of a flammable solvent bring its flash point down",
        HIGH_FLASH, may_be_uncounted=True, place=60,
    ),
    vapour=Vapour(
        102.089,
        ((-10, 0.2), (0, 0.7), (5, 1.1), (10, 1.7), (15, 2.6), (20, 4.1), (25, 6.2), (30, 9.2),
         (40, 19.8), (50, 40.5), (60, 79.6)),
    ),
)  # fmt: skip
