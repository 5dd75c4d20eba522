"""What is asked about, and what is not: the scale of a currency, dark places, what stands."""

from dataclasses import replace

import pytest

from app.domain.plausible import Known, unlikely
from app.domain.roomlog.kinds.curing import Irradiance
from app.domain.roomlog.kinds.spending import PriceList
from tests.factories import NOW


def asked(entry: PriceList | Irradiance, known: Known) -> list[str]:
    return [one.field for one in unlikely(entry, known)]


def test_a_range_in_cents_is_left_out_for_a_currency_of_another_scale() -> None:
    dear = PriceList(at=NOW, prices="prices", weekly_budget_cents=9_000_000)
    assert asked(dear, Known()) == ["weekly_budget_cents"]
    assert asked(dear, Known(is_euro_like=False)) == []


@pytest.mark.parametrize("name", ["disposal_cents_per_kg", "labour_cents_per_hour"])
def test_an_emptied_rate_and_one_that_stands_are_not_asked_about(name: str) -> None:
    odd = replace(PriceList(at=NOW, prices="prices"), **{name: 5})
    assert asked(odd, Known()) == [name]
    assert asked(odd, Known(facts={f"was.{name}": 5})) == []
    assert asked(replace(odd, **{name: 0}), Known()) == []


def test_a_dark_place_makes_no_other_place_unlikely() -> None:
    reading = Irradiance(
        at=NOW, station="s", centre_mw_cm2=18, back_left_mw_cm2=0, front_right_mw_cm2=19
    )
    assert asked(reading, Known()) == []
    assert asked(replace(reading, front_right_mw_cm2=190), Known()) != []
