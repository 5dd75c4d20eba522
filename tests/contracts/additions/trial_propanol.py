"""A solvent that no room washes with: it tries what one module in `solvents/known` brings about."""

from app.domain.solvents.density import DensityModel
from app.domain.solvents.model import Solvent
from app.domain.solvents.sources import FROM_MEMORY, ONTARIO, sources
from app.domain.solvents.vapour import Limit, Vapour
from app.domain.solvents.waste import FLAMMABLE, IGNITABLE, SKIN, SpentBath

TRIAL_PROPANOL = Solvent(
    key="trial_propanol",
    name="Trial propanol",
    aliases=("trialol",),
    density=DensityModel(
        density_20c_g_ml=0.8036,
        expansion=(-8.0e-4, 0.0, 0.0),
        sd_g_ml=0.002,
        molar_mass_g_mol=60.095,
        sd_per_water_percent_g_ml=0.001,
    ),
    boiling_point_c=97.2,
    flash_point_c=22.0,
    index_20c=((100, 1.385),),
    usual_purity_percent=98.0,
    usual_limit_volume_percent=9.0,
    is_hygroscopic=True,
    drying_minutes=43,
    sources=sources(FROM_MEMORY, FROM_MEMORY, FROM_MEMORY, FROM_MEMORY),
    waste=SpentBath(
        "trial_propanol_resin",
        "Spent trial propanol with resin",
        "Trial propanol, dissolved acrylate resin",
        (FLAMMABLE, SKIN),
        "it is a flammable liquid with its own profile",
        IGNITABLE,
    ),
    goes_into=("glycol_ether_with_alcohol",),
    vapour=Vapour(
        60.095,
        ((0, 500.0), (20, 2000.0), (40, 7000.0)),
        2.1,
        14.0,
        ONTARIO,
        (Limit("8 hours", 100, ONTARIO),),
    ),
)
