"""What is taken off a reading, and how unsure it leaves the result, held against other sources."""

import math

import pytest
from uncertainties import ufloat

from app.domain.curing.placement import METER, Z90, with_meter
from app.domain.errors import FieldError
from app.domain.instruments import BathLiquid, measure
from app.domain.meters.correcting import in_quadrature, light_taken_off, spread_by, taken_off
from app.domain.meters.sorts import SORTS
from app.domain.solvents import solvent

LIQUID = BathLiquid(solvent("isopropanol"), 99.0, 1.12)


def test_independent_parts_add_in_quadrature_as_in_the_worked_example_of_the_guide() -> None:
    # JCGM 100:2008, H.1.4: 25, 9.7, 2.9 and 16.6 nm are 32 nm together; from memory.
    assert in_quadrature(25.0, 9.7, 2.9, 16.6) == pytest.approx(32, abs=0.5)


@pytest.mark.parametrize("value", [0.8, 0.17, 0.32, 1e-9, 12.345678901234567])
def test_nothing_added_changes_no_digit(value: float) -> None:
    assert in_quadrature(value, 0.0) == value


def test_a_density_s_uncertainty_goes_into_the_share_as_another_library_propagates_it() -> None:
    values, u = {"density_g_ml": 0.815, "temperature_c": 20.0}, 0.0005
    found = spread_by(
        values, ("density_g_ml",), u, lambda at: measure("hydrometer", at, LIQUID).mass_percent
    )
    rho = ufloat(0.815, u)  # the package `uncertainties`, linear propagation
    resin, fresh = LIQUID.resin_density_at(20.0), LIQUID.solvent_density_at(20.0)
    share = 100 * resin * (rho - fresh) / (rho * (resin - fresh))
    assert found == pytest.approx(share.std_dev, rel=1e-4)


def test_both_weighings_of_a_residue_count_as_another_library_propagates_them() -> None:
    values, u = {"sample_g": 10.0, "residue_g": 0.8}, 0.01
    found = spread_by(
        values, SORTS["balance"].fields, u,
        lambda at: measure("residue", at, LIQUID).mass_percent,
    )  # fmt: skip
    share = 100 * ufloat(0.8, u) / ufloat(10.0, u)
    assert found == pytest.approx(share.std_dev, rel=1e-4)


def test_a_constant_offset_of_a_balance_is_gone_from_a_difference_of_weighings() -> None:
    values = {"sample_g": 10.0, "residue_g": 0.8}
    assert taken_off(values, SORTS["balance"], 0.5) == values


def test_an_offset_is_taken_off_the_figure_it_is_of_and_no_other() -> None:
    values = {"density_g_ml": 0.817, "temperature_c": 21.0}
    found = taken_off(values, SORTS["hydrometer"], 0.002)
    assert found == {"density_g_ml": pytest.approx(0.815), "temperature_c": 21.0}


def test_what_cannot_be_worked_out_adds_nothing() -> None:
    def fails(_: object) -> float:
        raise FieldError("density_g_ml", "no")

    assert spread_by({"density_g_ml": 0.8}, ("density_g_ml",), 0.001, fails) == 0.0
    assert spread_by({}, ("density_g_ml",), 0.001, lambda _: 1.0) == 0.0


def test_a_uv_meter_s_offset_is_a_share_of_what_is_there() -> None:
    # first principles: a meter that reads 4 % high shows 1.04 of what is there
    assert light_taken_off(1.04 * 15.0, 4.0) == pytest.approx(15.0)
    assert light_taken_off(0.9 * 15.0, -10.0) == pytest.approx(15.0)
    assert light_taken_off(15.0, 0.0) == 15.0


def test_the_certificate_widens_a_lamp_s_interval_as_another_library_propagates_it() -> None:
    u = 0.04
    low, high = with_meter(20.0, None, None, certificate=u)
    meter = ufloat(0.0, math.log1p(METER) / Z90)
    both = (meter + ufloat(0.0, u)).std_dev  # of the logarithm, independent
    assert math.log(high / 20.0) == pytest.approx(Z90 * both)
    assert math.log(20.0 / low) == pytest.approx(Z90 * both)
    assert with_meter(20.0, None, None, certificate=0.0) == with_meter(20.0, None, None)
