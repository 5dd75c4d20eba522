"""A swap led from its first step to its last in baths that no list has, and in water.

At no step does a page fail, or warn of fire where nothing burns.
"""

import re
from pathlib import Path
from typing import Any

import pytest

from app.domain.builds import CLAMPS, NO_BOND
from app.domain.roomlog.kinds import Entry, Tank
from app.domain.roomlog.kinds.supplies import Item
from app.domain.solvents import SOLVENTS
from app.domain.waste.streams import stream_of_bath
from tests.contracts.swap_walk import AT, DIRTY, furniture, walking, words

HYDROMETER, REFRACTOMETER = "hydrometer", "refractometer"
ODD: dict[str, tuple[str, str, bool]] = {
    "heptane": ("own:Heptane:0.684:20:-4:98.4:48:400:100.2:250301", HYDROMETER, True),
    "lactate": ("own:Ethyl_lactate:1.034:20:46:154::::", REFRACTOMETER, True),
    "blend": ("own:Print_wash_3_.28.mild.29.:0.95:25:none::0.4:::", HYDROMETER, False),
    "denatured": ("own:Denatured_95:0.805:20:13:78:59:1000:46.1:", HYDROMETER, True),
    "bare": ("own:Cleaner:0.9:20::::::", HYDROMETER, True),
    "own water": ("own:Aqua_clean:1.02:20:none:100::::", REFRACTOMETER, False),
    "water": ("water_based", REFRACTOMETER, False),
}
"""The key, what its fresh bath is read with, and whether it may catch fire."""
FIRE = ("Neither device is made for flammable vapour", CLAMPS, NO_BOND)


def room_of(solvent: str) -> list[Entry]:
    """All that a swap uses, with baths and a shelf of one solvent, whose sheet tells its purity."""
    found = []
    for one in furniture(solvent, stream_of_bath(solvent)):
        if isinstance(one, Tank):
            found.append(Tank(**(vars(one) | {"fresh_purity_percent": None})))
        elif isinstance(one, Item) and one.solvent == solvent:
            found.append(Item(**(vars(one) | {"purity_percent": None})))
        else:
            found.append(one)
    return found


def fresh(solvent: str, method: str) -> dict[str, Any]:
    if method == REFRACTOMETER:
        return {"method": method, "brix_percent": 8.0, "temperature_c": 20.0}
    density = SOLVENTS[solvent].density_g_ml(20.0, 100.0)
    return {"method": method, "density_g_ml": round(density, 4), "temperature_c": 20.0}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("door", ["form", "api"])
def test_a_swap_is_led_to_its_end(name: str, door: str, tmp_path: Path) -> None:
    solvent, method, may_burn = ODD[name]
    with walking(tmp_path, door, is_pair=False, of=room_of(solvent)) as walk:
        walk.fresh = fresh(solvent, method)
        seen = ""
        for step in walk.state.steps:
            if not step.is_required:
                continue
            walk.looks(step.key)
            page = walk.client.get(f"{AT}/tanks/{DIRTY}/swap", params={"step": step.key})
            assert page.status_code == 200, step.key
            seen += page.text
            walk.tick(step.key, step.role)
        said = {"by": "Wren", "note": "Walked", "swap": walk.state.key}
        path = f"{AT}/tanks/{DIRTY}/swap/complete"
        done = walk.client.post(path, data=said, follow_redirects=False)
        assert done.status_code == 303, words(done)
        for told in FIRE:
            assert (told in seen) == may_burn, told
        label = walk.client.get(f"{AT}/waste/drums/d1/label").text
        assert ("Ignitable" in label or "treat as flammable" in label) == may_burn
        assert ("never down the drain" in label) == ("water" in name)
        rows = re.findall(r"<tr>.*?W-13.*?</tr>", walk.client.get(f"{AT}/storage").text)
        assert len(rows) == 1
        assert ("not a flammable liquid" in rows[0]) == (not may_burn)
        for at in (f"{AT}/tanks/{DIRTY}", AT, f"{AT}/plan", f"{AT}/spend", f"{AT}/log"):
            assert walk.client.get(at).status_code == 200, at
