"""Isopropanol, the usual wash."""

from app.domain.solvents.density import DensityModel
from app.domain.solvents.model import Solvent, Source
from app.domain.solvents.sources import (
    CANADA,
    CRC_AQUEOUS,
    CRC_ORGANIC,
    EH40,
    ENGLAND,
    IEC_FLASH,
    NIOSH,
    ONTARIO,
    US,
    sources,
)
from app.domain.solvents.vapour import Limit, Vapour
from app.domain.solvents.waste import FLAMMABLE, IGNITABLE, SKIN, SpentBath

ISOPROPANOL = Solvent(
    key="isopropanol",
    name="Isopropanol (2-propanol)",
    aliases=("ipa", "2-propanol"),
    density=DensityModel(
        density_20c_g_ml=0.78556,
        expansion=(-9.1214e-4, -1.1534e-6, -2.737e-9),
        sd_g_ml=0.0007,
        molar_mass_g_mol=60.095,
        excess_cm3_mol=(-3.4993, 2.3255, -2.1210),
        fitted_from_percent=53.0,
        sd_outside_g_ml=0.0021,
    ),
    boiling_point_c=82.2,
    flash_point_c=12.0,
    index_20c=((0, 1.3330), (20, 1.3514), (40, 1.3642), (60, 1.3717), (80, 1.3742), (100, 1.3776)),
    usual_purity_percent=99.0,
    usual_limit_volume_percent=10.0,
    is_hygroscopic=True,
    sources=sources(
        Source(
            "Lebo, J. Am. Chem. Soc. 43 (1921) 1005, and CRC Handbook, 102nd ed.",
            "concentrative properties of aqueous solutions; fitted, largest residual 0.0009 g/mL; "
            "expansion of the pure liquid from the VDI/PPDS equation of thermo 0.6.1",
            "computed",
        ),
        CRC_ORGANIC,
        IEC_FLASH,
        CRC_AQUEOUS,
    ),
    drying_minutes=30,
    place=10,
    waste=SpentBath(
        "isopropanol_resin", "Spent isopropanol with resin",
        "Isopropanol, dissolved acrylate resin",
        (FLAMMABLE, "Irritates the eyes", SKIN),
        "it is a flammable liquid, and makes whatever it is added to flammable too",
        IGNITABLE, place=10,
    ),
    goes_into=("glycol_ether_with_alcohol",),
    vapour=Vapour(
        60.095,
        ((-10, 462.2), (0, 1027.4), (5, 1494.5), (10, 2140.8), (15, 3022.1), (20, 4207.2),
         (25, 5779.9), (30, 7840.7), (40, 13924.6), (50, 23668.1), (60, 38655.3)),
        2.0, 12.7, str(NIOSH),
        (Limit("8 hours", 200, ONTARIO, where=CANADA), Limit("8 hours", 400, NIOSH, where=US),
         Limit("15 minutes", 500, NIOSH, where=US),
         Limit("8 hours", 400, EH40, where=ENGLAND), Limit("15 minutes", 500, EH40, where=ENGLAND),
         Limit("danger to life", 2000, NIOSH, is_danger=True)),
    ),
)  # fmt: skip
