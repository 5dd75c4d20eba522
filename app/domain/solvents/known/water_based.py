"""A water-based wash, taken as water."""

from app.domain.solvents.density import REFERENCE_C, DensityModel, water_density_g_ml
from app.domain.solvents.model import Solvent, Source
from app.domain.solvents.sources import (
    CRC_AQUEOUS,
    CUSTOM,
    EQUATION_OF_STATE,
    sources,
)
from app.domain.solvents.waste import NO_D001, NOT_TO_DRAIN, SKIN, WATER, SpentBath

WATER_BASED = Solvent(
    key="water_based",
    name="Water-based wash",
    density=DensityModel(
        density_20c_g_ml=water_density_g_ml(REFERENCE_C),
        expansion=(0.0, 0.0, 0.0),
        sd_g_ml=0.01,
        molar_mass_g_mol=18.01528,
        is_water=True,
    ),
    boiling_point_c=100.0,
    flash_point_c=None,
    index_20c=((100, 1.3330),),
    usual_purity_percent=100.0,
    usual_limit_volume_percent=None,
    is_hygroscopic=False,
    fresh_varies=True,
    is_watery=True,
    sources=sources(
        Source(
            "Tanaka et al., Metrologia 38 (2001) 301",
            "water; what the wash itself adds is not known, hence the wide uncertainty",
            "computed",
        ),
        EQUATION_OF_STATE,
        CUSTOM,
        CRC_AQUEOUS,
    ),
    drying_minutes=60,
    place=70,
    waste=SpentBath(
        "water_wash", "Spent water-based wash with resin", "Water, cleaner, acrylate resin",
        (SKIN, WATER, NOT_TO_DRAIN),
        "water spoils a solvent stream for recovery and solvent makes this one ignitable",
        NO_D001,
        may_be_uncounted=True, place=70,
    ),
    goes_into=("water_with_alcohol",),
)  # fmt: skip
