"""Scales that instruments are marked in, and what they mean in g/mL or as refractive index."""

from app.domain.solvents.density import water_density_g_ml

WATER_20C_G_ML = water_density_g_ml(20.0)
WATER_60F_G_ML = water_density_g_ml(140 / 9)

# Refractive index at 20 C and 589 nm of sucrose in water, fitted to the ICUMSA table of 1974 from
# 0 to 85 %; largest residual 0.00001.
_ICUMSA_1974 = (1.33299, 0.142753, 0.054744, 0.0120001, 0.0134027, -0.00961397)
MOST_BRIX_PERCENT = 85.0


def index_of_brix(brix_percent: float) -> float:
    """Refractive index at 20 C of a Brix reading. Source: ICUMSA table of 1974, fitted.

    >>> round(index_of_brix(28.0), 4)
    1.3776
    """
    share = brix_percent / 100
    return sum(a * share**power for power, a in enumerate(_ICUMSA_1974))
