"""Scales that instruments are marked in, and what they mean in g/mL or as refractive index."""

from app.domain.errors import FieldError
from app.domain.solvents.density import root, water_density_g_ml

WATER_20C_G_ML = water_density_g_ml(20.0)
WATER_60F_G_ML = water_density_g_ml(140 / 9)

# Refractive index at 20 C and 589 nm of sucrose in water, fitted to the ICUMSA table of 1974 from
# 0 to 85 %; largest residual 0.00001.
_ICUMSA_1974 = (1.33299, 0.142753, 0.054744, 0.0120001, 0.0134027, -0.00961397)
MOST_BRIX_PERCENT = 85.0


def density_of_specific_gravity_20_20(specific_gravity: float) -> float:
    """g/mL at 20 C of a specific gravity 20/20 C, water at 20 C being 1.

    >>> round(density_of_specific_gravity_20_20(0.8120), 4)
    0.8105
    """
    return specific_gravity * WATER_20C_G_ML


def density_of_specific_gravity_60_60(specific_gravity: float) -> float:
    """g/mL at 60 F of a specific gravity 60/60 F, water at 60 F being 1.

    >>> round(density_of_specific_gravity_60_60(0.8120), 4)
    0.8112
    """
    return specific_gravity * WATER_60F_G_ML


def density_of_light_baume(degrees: float) -> float:
    """g/mL at 60 F of degrees Baumé for liquids lighter than water: SG = 140/(130 + B).

    >>> round(density_of_light_baume(45.0), 4)
    0.7992
    """
    return density_of_specific_gravity_60_60(140 / (130 + degrees))


def density_of_api(degrees: float) -> float:
    """g/mL at 60 F of API degrees: SG = 141.5/(131.5 + API).

    >>> round(density_of_api(45.0), 4)
    0.8009
    """
    return density_of_specific_gravity_60_60(141.5 / (131.5 + degrees))


def index_of_brix(brix_percent: float) -> float:
    """Refractive index at 20 C of a Brix reading. Source: ICUMSA table of 1974, fitted.

    >>> round(index_of_brix(28.0), 4)
    1.3776
    """
    share = brix_percent / 100
    return sum(a * share**power for power, a in enumerate(_ICUMSA_1974))


def brix_of_index(index: float) -> float:
    """Brix reading of a refractive index at 20 C, the inverse of `index_of_brix`.

    Raises:
        FieldError: the index lies off the Brix scale.
    """
    if not index_of_brix(0.0) <= index <= index_of_brix(MOST_BRIX_PERCENT):
        raise FieldError("index", f"{index:.4f} lies off the Brix scale.")
    return root(lambda brix: index_of_brix(brix) - index, 0.0, MOST_BRIX_PERCENT, "")
