"""Dipropylene glycol methyl ether."""

from app.domain.solvents.density import DensityModel
from app.domain.solvents.known.tripropylene_glycol_methyl_ether import GLYCOL_ETHER
from app.domain.solvents.model import Solvent
from app.domain.solvents.sources import (
    CRC_ORGANIC,
    DANISH_DPM,
    EH40_DPM,
    ENGLAND,
    EU_2000,
    EUROPE,
    FROM_MEMORY,
    IEC,
    IEC_FLASH,
    NIOSH_DPM,
    US,
    sources,
)
from app.domain.solvents.vapour import Limit, Vapour

DIPROPYLENE_GLYCOL_METHYL_ETHER = Solvent(
    key="dipropylene_glycol_methyl_ether",
    name="Dipropylene glycol methyl ether (DPM)",
    aliases=("dpm",),
    density=DensityModel(
        density_20c_g_ml=0.953,
        expansion=(-9.0e-4, 0.0, 0.0),
        sd_g_ml=0.002,
        molar_mass_g_mol=148.200,
        sd_per_water_percent_g_ml=0.001,
    ),
    boiling_point_c=190.0,
    flash_point_c=74.0,
    index_20c=((100, 1.419),),
    usual_purity_percent=99.0,
    usual_limit_volume_percent=None,
    is_hygroscopic=True,
    sources=sources(FROM_MEMORY, DANISH_DPM, IEC_FLASH, CRC_ORGANIC),
    drying_minutes=60,
    place=40,
    waste=GLYCOL_ETHER,
    goes_into=("glycol_ether_with_alcohol",),
    vapour=Vapour(
        148.200,
        ((-10, 3.2), (0, 7.6), (5, 11.6), (10, 17.3), (15, 25.5), (20, 37.0), (25, 53.1),
         (30, 75.4), (40, 146.7), (50, 273.9), (60, 492.8)),
        1.1, 10.9, IEC,
        (Limit("8 hours", 100, NIOSH_DPM, where=US), Limit("15 minutes", 150, NIOSH_DPM, where=US),
         Limit("8 hours", 50, EU_2000, where=EUROPE), Limit("8 hours", 50, EH40_DPM, where=ENGLAND),
         Limit("danger to life", 600, NIOSH_DPM, is_danger=True)),
        has_skin_notation=True,
    ),
)  # fmt: skip
