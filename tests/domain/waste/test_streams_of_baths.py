"""Which stream a bath is, own solvents and mixed ones too; what a site decided for itself."""

from datetime import date

import pytest

from app.domain.roomlog.kinds.waste import WasteRules
from app.domain.solvents.own import Sheet, key_of
from app.domain.storage import GUESSED, category_of_stream
from app.domain.things import fold
from app.domain.waste.fitting import pour_misfits
from app.domain.waste.rulebook import RULES_BOOK
from app.domain.waste.streams import (
    CARBONATE_MIXED,
    MIXED,
    OWN_MIXED,
    STREAMS,
    WATER_MIXED,
    fits_bath,
    is_ignitable,
    mixed_stream,
    stream_of_bath,
    why_apart,
)
from tests.domain.waste.book import after, at, drum, pour

SLOW = "tripropylene_glycol_methyl_ether"
SIXTY = key_of(Sheet("Cleaner sixty", 0.9, 20.0, 60.0))


def test_a_bath_of_a_solvent_of_the_sites_own_is_a_stream_of_its_own() -> None:
    stream = STREAMS[SIXTY]
    assert (stream.key, stream.solvents) == (SIXTY, (SIXTY,))
    assert "Cleaner sixty" in stream.name
    assert stream_of_bath(SIXTY) == SIXTY
    assert fits_bath(SIXTY, SIXTY)
    assert not fits_bath(SIXTY, "isopropanol")
    with pytest.raises(KeyError):
        STREAMS["own:nothing"]


def test_a_sheet_of_another_day_is_the_same_solvent_for_its_drum() -> None:
    older = key_of(Sheet("Cleaner sixty", 0.9, 20.0, 60.0, sheet_on=date(2024, 1, 1)))
    assert older != SIXTY
    assert fits_bath(older, SIXTY)


def test_a_slow_bath_that_alcohol_came_into_is_another_stream() -> None:
    """It flashes like the alcohol: 40 CFR 261.21(a)(1)."""
    assert stream_of_bath(SLOW, is_mixed=True) == MIXED
    assert stream_of_bath(SLOW) == "glycol_ether_resin"
    # Water keeps its own: below 24 % alcohol by volume it is another liquid to 40 CFR 261.21(a)(1).
    assert stream_of_bath("water_based", is_mixed=True) == WATER_MIXED
    assert fits_bath(WATER_MIXED, "water_based")
    assert not any(fits_bath(WATER_MIXED, one) for one in ("isopropanol", "ethanol", SLOW))
    assert STREAMS[WATER_MIXED].is_flammable
    assert "24 % alcohol" in STREAMS[WATER_MIXED].status
    assert category_of_stream(WATER_MIXED) == (2, GUESSED)
    assert why_apart("water_wash", WATER_MIXED)
    assert (mixed_stream("water_based"), mixed_stream(SLOW)) == (WATER_MIXED, MIXED)
    assert mixed_stream("propylene_carbonate") == CARBONATE_MIXED
    assert mixed_stream(SIXTY) == OWN_MIXED
    assert mixed_stream("isopropanol") == MIXED  # a rinse of such a bath goes there too
    assert mixed_stream("acetone") == mixed_stream("nothing") == ""
    forty = key_of(Sheet("Cleaner forty", 0.9, 20.0, 40.0))
    assert not fits_bath(OWN_MIXED, forty)
    assert not fits_bath(OWN_MIXED, SLOW)
    # A solvent that has no part in that stream stays its own, whatever came into it.
    assert stream_of_bath("acetone", is_mixed=True) == "acetone_resin"


def test_what_flashes_at_60_degrees_is_not_ignitable_and_a_little_below_it_is() -> None:
    """40 CFR 261.21(a)(1): a flash point less than 60 °C (140 °F)."""
    assert not is_ignitable(SIXTY, 60.0)
    assert is_ignitable(key_of(Sheet("Cleaner less", 0.9, 20.0, 59.9)), 60.0)
    assert not is_ignitable(SIXTY, None)


def test_a_drum_keeps_what_it_is_made_of() -> None:
    """Flowing through plastic solvents charge: the rule of pours asks for it."""
    assert after(drum(material="plastic")).material == "plastic"


def test_a_wrong_stream_in_a_bin_of_solids_is_refused_by_the_rule_of_streams() -> None:
    solids = after(drum(stream="solids_and_sludge"))
    entry = pour(9, stream="wipes", mass_before_kg=1.0, mass_after_kg=5.0)
    found = [(one.field, one.rule) for one in pour_misfits(solids, entry, None)]
    assert ("stream", "drum_wrong_stream") in found


def chosen(**more: object) -> bool:
    entry = WasteRules(at=at(0), waste_rules="waste_rules", **more)  # type: ignore[arg-type]
    return fold(RULES_BOOK, "waste_rules", [entry]).is_chosen


def test_marks_on_labels_alone_choose_no_rules() -> None:
    """Until somebody chose, the room asks which rules hold."""
    assert not chosen(marks={})
    assert chosen()
    assert chosen(marks={}, category="lqg")
    assert chosen(marks={}, rule_set="own")
