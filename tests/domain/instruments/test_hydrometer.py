"""Resin from density: worked examples, propagated uncertainty, temperature, slips of the pen."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from app.domain.baths.conventions import bath_density
from app.domain.errors import FieldError
from app.domain.instruments import Baseline, BathLiquid, Measured, doubts, measure
from app.domain.instruments.hydrometer import uncertainty
from app.domain.solvents import solvent

IPA = solvent("isopropanol")


def read(density_g_ml: float, temperature_c: float, liquid: BathLiquid) -> Measured:
    values = {"density_g_ml": density_g_ml, "temperature_c": temperature_c}
    return measure("hydrometer", values, liquid)


def by_hand(density: float, resin: float, fresh: float) -> float:
    """A gram of bath is w of resin and 1 - w of solvent, the volumes adding."""
    return 100 * (1 / density - 1 / fresh) / (1 / resin - 1 / fresh)


# purity, reading, resin g/mL; resin mass %, standard uncertainty. Resin from by_hand with the
# fresh densities of the handbook fit; uncertainty checked by the uncertainties package below.
WORKED = (
    (99.0, 0.8000, 1.12, 4.940, 1.24),
    (99.0, 0.8200, 1.12, 13.055, 1.26),
    (99.0, 0.8103, 1.05, 10.895, 1.51),
    (99.0, 0.8103, 1.20, 7.915, 1.06),
    (99.0, 0.8300, 1.60, 9.904, 0.69),
    (91.0, 0.8300, 1.12, 9.562, 1.19),
    (99.9, 0.8000, 1.12, 5.933, 1.26),
)


@pytest.mark.parametrize("purity, density, resin, percent, sd", WORKED)
def test_worked_examples(
    purity: float, density: float, resin: float, percent: float, sd: float
) -> None:
    measured = read(density, 20, BathLiquid(IPA, purity, resin))
    fresh = IPA.density_g_ml(20, purity)
    assert measured.mass_percent == pytest.approx(by_hand(density, resin, fresh))
    assert measured.mass_percent == pytest.approx(percent, abs=0.02)
    assert measured.sd_percent == pytest.approx(sd, abs=0.03)
    assert measured.is_apparent


@pytest.mark.parametrize("purity, density, resin", [example[:3] for example in WORKED])
def test_the_propagated_uncertainty_agrees_with_the_uncertainties_package(
    purity: float, density: float, resin: float
) -> None:
    """Same four causes, propagated by automatic differentiation; 0.5 %."""
    per_degree = IPA.density_g_ml(20.5, purity) - IPA.density_g_ml(19.5, purity)
    per_water = IPA.density_g_ml(20, purity - 0.5) - IPA.density_g_ml(20, purity + 0.5)
    rho, rho_resin = ufloat(density, 0.001), ufloat(resin, 0.02)
    water, temperature = ufloat(0, 1.0), ufloat(0, 1.0)
    fresh = IPA.density_g_ml(20, purity) + per_degree * temperature + per_water * water
    share = 100 * rho_resin * (rho - fresh) / (rho * (rho_resin - fresh))
    ours = read(density, 20, BathLiquid(IPA, purity, resin))
    assert ours.sd_percent == pytest.approx(share.std_dev, rel=0.005)
    assert ours.mass_percent == pytest.approx(share.nominal_value)


def test_the_four_causes_of_uncertainty() -> None:
    """The same package, each cause alone, for a reading of 0.8000 in 99 % isopropanol."""
    parts = uncertainty(0.8000, 20, BathLiquid(IPA, 99.0, 1.12))
    assert parts.reading == pytest.approx(0.416, abs=0.002)
    assert parts.temperature == pytest.approx(0.375, abs=0.006)
    assert parts.water == pytest.approx(1.090, abs=0.005)
    assert parts.resin == pytest.approx(0.210, abs=0.002)
    total = math.sqrt(parts.reading**2 + parts.temperature**2 + parts.water**2 + parts.resin**2)
    assert parts.total == pytest.approx(total)


def test_a_warm_bath_is_read_with_warm_densities() -> None:
    """8 % of resin at 27 C; with the densities of 20 C the same reading would say 5.3 %."""
    liquid = BathLiquid(IPA, 99.0, 1.12)
    warm_resin = 1.12 - 0.0008 * 7  # from memory
    density = bath_density(0.08, warm_resin, IPA.density_g_ml(27, 99.0))
    assert density == pytest.approx(0.80099, abs=2e-4)
    assert read(density, 27, liquid).mass_percent == pytest.approx(8.0)
    assert read(density, 20, liquid).mass_percent == pytest.approx(5.35, abs=0.06)


def test_the_fills_own_baseline_takes_the_place_of_the_table() -> None:
    """0.7905 fresh and 0.8152 now, same instrument and temperature: 10.299 % by plain algebra."""
    liquid = BathLiquid(IPA, 99.0, 1.12, Baseline(0.7905, None, 20.0))
    measured = read(0.8152, 20, liquid)
    assert measured.mass_percent == pytest.approx(by_hand(0.8152, 1.12, 0.7905))
    assert measured.mass_percent == pytest.approx(10.299, abs=0.001)
    assert measured.sd_percent < read(0.8152, 20, BathLiquid(IPA, 99.0, 1.12)).sd_percent
    assert measured.is_apparent


def test_a_reading_twice_counts_twice() -> None:
    """0.42 * sqrt(2) = 0.59 % from two readings at 0.001 g/mL each."""
    liquid = BathLiquid(IPA, 99.0, 1.12, Baseline(0.7883, None, 20.0))
    parts = uncertainty(0.7883, 20, liquid)
    assert parts.reading == pytest.approx(0.59, abs=0.02)
    assert parts.water == 0


def test_a_baseline_at_another_temperature_is_corrected() -> None:
    table_shift = 0.0022
    at_30 = IPA.density_g_ml(30, 99.0) + table_shift
    liquid = BathLiquid(IPA, 99.0, 1.12, Baseline(at_30, None, 30.0))
    fresh_at_20 = IPA.density_g_ml(20, 99.0) + table_shift
    assert read(fresh_at_20, 20, liquid).mass_percent == pytest.approx(0, abs=1e-9)


def test_lighter_than_fresh_is_said_and_not_hidden() -> None:
    measured = read(0.7850, 20, BathLiquid(IPA, 99.0, 1.12))
    assert measured.mass_percent < 0
    assert "It reads lighter than fresh solvent." in measured.notes


def test_resin_and_solvent_too_alike_are_refused() -> None:
    carbonate = BathLiquid(solvent("propylene_carbonate"), 99.5, 1.15)
    with pytest.raises(FieldError, match="cannot tell this resin") as caught:
        read(1.19, 20, carbonate)
    assert caught.value.field == "density_g_ml"


def test_resin_lighter_than_its_solvent_turns_the_sign() -> None:
    """A light resin makes propylene carbonate lighter."""
    carbonate = BathLiquid(solvent("propylene_carbonate"), 100, 1.05)
    density = bath_density(0.1, 1.05, carbonate.solvent_density_at(20))
    assert read(density, 20, carbonate).mass_percent == pytest.approx(10)


def test_denser_than_the_resin_itself_is_refused() -> None:
    with pytest.raises(FieldError, match="denser than the resin"):
        read(1.2, 20, BathLiquid(IPA, 99.0, 1.12))


def test_in_a_water_based_wash_a_hydrometer_cannot_tell() -> None:
    """A cleaner of 8 Brix is as dense as sugar water of 8 %, 1.0299 g/mL at 20 C (CRC Handbook,
    102nd ed., aqueous sucrose; from memory): as resin that would be a quarter of the bath."""
    assert by_hand(1.0299, 1.12, 0.99821) > 25
    for baseline in (None, Baseline(1.0299, None, 20.0)):
        liquid = BathLiquid(solvent("water_based"), 100, 1.12, baseline)
        with pytest.raises(FieldError, match="cannot tell resin from cleaner") as caught:
            read(1.0299, 20, liquid)
        assert caught.value.field == "density_g_ml"


def test_swapped_digits_are_asked_about() -> None:
    """0.879 typed for 0.789."""
    measured = read(0.879, 20, BathLiquid(IPA, 99.0, 1.12))
    asked = doubts(measured, 0.5, 0.5)
    assert any("0.789" in question for question in asked)
    assert len(asked) == 2


def test_a_usual_reading_is_not_asked_about() -> None:
    measured = read(0.8103, 20, BathLiquid(IPA, 99.0, 1.12))
    assert doubts(measured, 8.5, 0.6) == ()


@pytest.mark.parametrize(
    "temperature_c, question",
    [
        (50.0, "50 °C is hot for a bath. Was it 50 °F, which is 10.0 °C?"),
        (-5.6, "-6 °C is cold for a bath. That is 22 °F. Was it 22 °C?"),
    ],
)
def test_a_temperature_that_may_be_in_the_other_unit_is_asked_about(
    temperature_c: float, question: str
) -> None:
    liquid = BathLiquid(IPA, 99.0, 1.12)
    measured = read(IPA.density_g_ml(temperature_c, 99), temperature_c, liquid)
    assert doubts(measured, 0.0, 2.0) == (question,)


@pytest.mark.parametrize(
    "temperature_c, message",
    [
        (72.0, "No bath is at 72 °C. Was it 72 °F, which is 22.2 °C?"),
        (-15.0, "No bath is at -15 °C. That is 5 °F. Was it 5 °C?"),
        (140.0, "No bath is at 140 °C."),
    ],
)
def test_a_temperature_that_no_bath_has_is_refused(temperature_c: float, message: str) -> None:
    with pytest.raises(FieldError) as caught:
        read(0.79, temperature_c, BathLiquid(IPA, 99.0, 1.12))
    assert caught.value.field == "temperature_c"
    assert caught.value.message == message


def test_a_missing_temperature_is_asked_for() -> None:
    with pytest.raises(FieldError, match="Temperature is missing") as caught:
        measure("hydrometer", {"density_g_ml": 0.8}, BathLiquid(IPA, 99.0, 1.12))
    assert caught.value.field == "temperature_c"


@given(
    share=st.floats(0, 0.4),
    temperature_c=st.floats(5, 40),
    purity=st.floats(85, 100),
    resin=st.floats(1.0, 1.7),
)
def test_the_share_put_in_comes_out(
    share: float, temperature_c: float, purity: float, resin: float
) -> None:
    liquid = BathLiquid(IPA, purity, resin)
    density = bath_density(
        share, liquid.resin_density_at(temperature_c), liquid.solvent_density_at(temperature_c)
    )
    measured = read(density, temperature_c, liquid)
    assert measured.mass_percent == pytest.approx(100 * share, abs=1e-8)
    assert measured.sd_percent > 0


@given(density=st.floats(0.76, 0.95), temperature_c=st.floats(10, 35))
def test_denser_means_more_resin(density: float, temperature_c: float) -> None:
    liquid = BathLiquid(IPA, 99.0, 1.12)
    less = read(density, temperature_c, liquid).mass_percent
    assert read(density + 0.001, temperature_c, liquid).mass_percent > less
