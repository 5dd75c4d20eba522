"""The figures of each solvent. A new solvent is one entry here and one line in `solvents`.

`from memory` means that nobody has read the figure in the document yet: a room sets its own
supplier's density with `Solvent.with_density`.
"""

from collections.abc import Mapping

from app.domain.solvents.density import REFERENCE_C, DensityModel, water_density_g_ml
from app.domain.solvents.model import Solvent, Source

CUSTOM = Source("common practice, no source", "", "common practice")
FROM_MEMORY = Source("handbook value, not read", "", "from memory")
IEC_FLASH = Source("IEC 60079-20-1 (2010)", "as carried by chemicals 1.5.2", "computed")
CRC_ORGANIC = Source("CRC Handbook, organic compounds", "as carried by chemicals 1.5.2", "computed")
CRC_AQUEOUS = Source(
    "CRC Handbook, 102nd ed.", "concentrative properties of aqueous solutions", "read"
)
EQUATION_OF_STATE = Source(
    "reference equation of state", "as carried by CoolProp 8.0.0", "computed"
)


def _sources(
    density: Source, boiling: Source, flash: Source, index: Source
) -> Mapping[str, Source]:
    custom = ("usual_purity_percent", "usual_limit_volume_percent", "is_hygroscopic")
    return {
        "density": density,
        "boiling_point_c": boiling,
        "flash_point_c": flash,
        "index_20c": index,
        **dict.fromkeys(custom, CUSTOM),
    }


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
    sources=_sources(
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
)

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
    sources=_sources(
        Source(
            "OIML R 22 (1975)",
            "density at 20 C, fitted by three terms, largest residual 0.0003 g/mL; denatured "
            "grades differ more, hence the larger uncertainty; expansion from CoolProp 8.0.0",
            "computed",
        ),
        EQUATION_OF_STATE,
        IEC_FLASH,
        CRC_ORGANIC,
    ),
)

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
    sources=_sources(FROM_MEMORY, CRC_ORGANIC, FROM_MEMORY, FROM_MEMORY),
)

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
    boiling_point_c=203.0,
    flash_point_c=74.0,
    index_20c=((100, 1.419),),
    usual_purity_percent=99.0,
    usual_limit_volume_percent=None,
    is_hygroscopic=True,
    sources=_sources(FROM_MEMORY, CRC_ORGANIC, IEC_FLASH, CRC_ORGANIC),
)

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
    sources=_sources(FROM_MEMORY, CRC_ORGANIC, FROM_MEMORY, CRC_ORGANIC),
)

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
    sources=_sources(EQUATION_OF_STATE, EQUATION_OF_STATE, IEC_FLASH, CRC_ORGANIC),
)

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
    sources=_sources(
        Source(
            "Tanaka et al., Metrologia 38 (2001) 301",
            "water; what the wash itself adds is not known, hence the wide uncertainty",
            "computed",
        ),
        EQUATION_OF_STATE,
        CUSTOM,
        CRC_AQUEOUS,
    ),
)
