"""Tripropylene glycol methyl ether, a wash that hardly evaporates."""

from app.domain.solvents.density import DensityModel
from app.domain.solvents.model import Solvent
from app.domain.solvents.sources import (
    CRC_ORGANIC,
    FROM_MEMORY,
    sources,
)
from app.domain.solvents.waste import HIGH_FLASH, SKIN, WATER, SpentBath

GLYCOL_ETHER = SpentBath(
    "glycol_ether_resin", "Spent glycol ether with resin",
    "Glycol ether (TPM or DPM), dissolved acrylate resin",
    (SKIN, WATER, "Combustible"),
    "a few per cent of a flammable solvent bring its flash point down, so that the whole drum "
    "may become ignitable waste",
    HIGH_FLASH, may_be_uncounted=True, place=40,
)  # fmt: skip
"""The spent bath of any glycol ether: they may share a drum."""


TRIPROPYLENE_GLYCOL_METHYL_ETHER = Solvent(
    key="tripropylene_glycol_methyl_ether",
    name="Tripropylene glycol methyl ether (TPM)",
    aliases=("tpm",),
    density=DensityModel(
        density_20c_g_ml=0.966,
        expansion=(-9.0e-4, 0.0, 0.0),
        sd_g_ml=0.002,
        molar_mass_g_mol=206.279,
        sd_per_water_percent_g_ml=0.001,
    ),
    boiling_point_c=242.4,
    flash_point_c=120.0,
    index_20c=((100, 1.430),),
    usual_purity_percent=99.0,
    usual_limit_volume_percent=15.0,
    is_hygroscopic=True,
    sources=sources(FROM_MEMORY, CRC_ORGANIC, FROM_MEMORY, FROM_MEMORY),
    drying_minutes=60,
    place=30,
    waste=GLYCOL_ETHER,
    goes_into=("glycol_ether_with_alcohol",),
)
