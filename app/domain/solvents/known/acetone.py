"""Acetone."""

from app.domain.solvents.density import DensityModel
from app.domain.solvents.model import Solvent
from app.domain.solvents.sources import (
    CAL_PEL,
    CALIFORNIA,
    CANADA,
    CRC_ORGANIC,
    EH40,
    ENGLAND,
    EQUATION_OF_STATE,
    EU_2000,
    EUROPE,
    IEC,
    IEC_FLASH,
    ONTARIO,
    OSHA_ACETONE,
    US,
    sources,
)
from app.domain.solvents.vapour import Limit, Vapour
from app.domain.solvents.waste import FLAMMABLE, SKIN, SpentBath

ACETONE = Solvent(
    key="acetone",
    name="Acetone",
    density=DensityModel(
        density_20c_g_ml=0.79027,
        expansion=(-1.10966e-3, -8.085e-7, -4.946e-9),
        sd_g_ml=0.0005,
        molar_mass_g_mol=58.079,
        sd_per_water_percent_g_ml=0.001,
    ),
    boiling_point_c=56.1,
    flash_point_c=-20.0,
    index_20c=((100, 1.3588),),
    usual_purity_percent=99.5,
    usual_limit_volume_percent=None,
    is_hygroscopic=True,
    sources=sources(EQUATION_OF_STATE, EQUATION_OF_STATE, IEC_FLASH, CRC_ORGANIC),
    drying_minutes=15,
    place=60,
    waste=SpentBath(
        "acetone_resin", "Spent acetone with resin", "Acetone, dissolved acrylate resin",
        (FLAMMABLE, "Irritates the eyes", SKIN),
        "acetone is a listed solvent, and any drum it is added to takes over its waste code",
        "commonly D001 and F003 (40 CFR 261.31)", place=30,
    ),
    vapour=Vapour(
        58.079,
        ((-10, 5345.0), (0, 9299.1), (5, 12052.6), (10, 15454.1), (15, 19615.8), (20, 24661.6),
         (25, 30727.1), (30, 37960.4), (40, 56581.5), (50, 81947.2), (60, 115666.2)),
        2.5, 14.3, IEC,
        (Limit("8 hours", 250, OSHA_ACETONE, where=US),
         Limit("8 hours", 500, ONTARIO, where=CANADA),
         Limit("8 hours", 1000, OSHA_ACETONE, where=US),
         Limit("15 minutes", 750, ONTARIO, where=CANADA),
         Limit("8 hours", 500, CAL_PEL, where=CALIFORNIA),
         Limit("15 minutes", 750, CAL_PEL, where=CALIFORNIA),
         Limit("8 hours", 500, EU_2000, where=EUROPE), Limit("8 hours", 500, EH40, where=ENGLAND),
         Limit("15 minutes", 1500, EH40, where=ENGLAND),
         Limit("danger to life", 2500, OSHA_ACETONE, is_danger=True)),
    ),
)  # fmt: skip
