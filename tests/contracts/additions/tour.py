"""What a room shows of an added instrument, solvent, part and step; run in a copy that has them.

Prints one JSON object: each claim, and whether it holds. The copy is made by `test_additions.py`.
"""

import json
import sys
import tempfile
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

from app.config import Settings
from app.domain.curing.drying import advice, asked_minutes
from app.domain.roomlog.lines import parse_entry
from app.domain.roomlog.table import TableForm, guess_columns, mapping_of
from app.domain.waste.streams import stream_of_bath
from app.main import create_app
from tests.domain.roomlog.page import CURING, FORMULAS, PAGE, WRITTEN
from tests.factories import NOW, ROOM, furnish

AT, API = f"/rooms/{ROOM}", f"/api/v1/rooms/{ROOM}"


def mean_of(client: TestClient) -> float:
    """Resin in the bath of t1, mass percent."""
    mean: float = client.get(f"{API}/tanks/t1").json()["estimate"]["mean"]["mass_percent"]
    return mean


def instrument(client: TestClient, schema: str) -> dict[str, bool]:
    """The instrument on its form, in the API, the import, the estimate and the pages of docs."""
    key, form = "trial_opacimeter", client.get(f"{AT}/tanks/t1/log/reading").text
    fields = client.get(f"{AT}/tanks/t1/log/reading?method={key}").text
    column, *_ = guess_columns(["Cloudiness"])
    raw = mapping_of(["12"], TableForm((column,), kind="reading"))
    before = mean_of(client)
    sent = {"kind": "reading", "tank": "t1", "method": key, "opacity_percent": 3}
    taken = client.post(f"{API}/entries", json=sent)
    typed = {"method": key, "opacity_percent": "300"}
    wrong = client.post(f"{AT}/tanks/t1/log/reading", data=typed)
    return {
        "instrument: its tile stands on the reading form": "Trial opacimeter" in form,
        "instrument: its field stands on the form": "Opacity" in fields,
        "instrument: a value out of range is refused": wrong.status_code == 422,
        "instrument: the API's schema has it": "opacity_percent" in schema and key in schema,
        "instrument: the API takes a reading": taken.status_code == 201,
        "instrument: the estimate follows its reading": mean_of(client) > before + 0.1,
        "instrument: the log names it": "trial opacimeter" in client.get(f"{AT}/log").text.lower(),
        "instrument: an import knows its column": raw.get("opacity_percent") == 12,
        "instrument: an import knows its method": raw.get("method") == key,
        "instrument: the page of room logs has it": f"`{key}` (Trial opacimeter):" in page(PAGE),
        "instrument: the page of formulas has it": f"| `{key}` | Trial" in page(FORMULAS),
    }


def solvent(client: TestClient, schema: str) -> dict[str, bool]:
    """The solvent on forms, in the API, the import, as vapour, as waste and in the docs."""
    key = "trial_propanol"
    line = {"kind": "tank", "at": "2026-03-01T00:00:00Z", "tank": "t9", "name": "T9",
            "capacity_l": 40, "min_l": 30, "solvent": "trialol", "limit_percent": 10}  # fmt: skip
    entry: Any = parse_entry(line)
    made = client.post(f"{API}/entries", json={**line, "solvent": key, "at": NOW.isoformat()})
    air = client.get(f"{AT}/storage", params={"solvent": key}).text
    return {
        "solvent: the form of a tank offers it": "Trial propanol"
        in client.get(f"{AT}/tanks/new").text,
        "solvent: the API takes a tank of it": made.status_code == 201,
        "solvent: a calibration offers it": "Trial propanol"
        in client.get(f"{AT}/calibrations").text,
        "solvent: an import knows its other name": entry.solvent == "trialol",
        "solvent: it dries its own time": asked_minutes(key) == 43,
        "solvent: its vapour is warned of": "hood" in advice(key),
        "solvent: its vapour can be reckoned": f'value="{key}"' in air,
        "solvent: its bath is a stream of its own": stream_of_bath(key) == f"{key}_resin",
        "solvent: a drum can hold it": "Spent trial propanol" in client.get(f"{AT}/waste/new").text,
        "solvent: the API's schema has its stream": f"{key}_resin" in schema,
        "solvent: the page of formulas has it": f"| `{key}` | 0.8036" in page(FORMULAS),
        "solvent: the page of curing has its wait": "| Trial propanol | 43 min |" in page(CURING),
        "solvent: the page of room logs has its stream": f"`{key}_resin`" in page(PAGE),
    }


def part(client: TestClient, schema: str) -> dict[str, bool]:
    """The part where parts are set up, in an inspection, in the API, the import and the docs."""
    key = "trial_valve"
    offered = client.get(f"{AT}/tanks/t1/parts").text
    typed = {"impellers": "0", f"with_{key}": "on", "by": "Wren"}
    added = client.post(f"{AT}/tanks/t1/parts", data=typed)
    begun = client.post(f"{AT}/tanks/t1/inspection", data={"by": "Wren", "submission": "s1" * 8})
    at = begun.url.path
    asked = client.get(f"{at}/parts/t1-{key}-1").text
    said = {"trial_valve_drips": "yes", "trial_valve_stiff": "no", "by": "Wren", "view": "close",
            "no_photo": "Wet gloves"}  # fmt: skip
    client.post(f"{at}/parts/t1-{key}-1", data=said)
    line = {"kind": "component", "at": "2026-03-01T00:00:00Z", "component": "c9", "part": key,
            "name": "Valve", "tank": "t1"}  # fmt: skip
    entry: Any = parse_entry(line)
    return {
        "part: it is offered where parts are set up": "Trial valve" in offered,
        "part: it can be set up": added.status_code == 200,
        "part: it is asked about": "Does a drop hang from its spout?" in asked,
        "part: its answer leads to its verdict": "empties the bath" in client.get(at).text,
        "part: the API's schema has it": key in schema,
        "part: an import knows it": entry.part == key,
        "part: the page of room logs has it": f"`{key}`" in page(PAGE),
    }


def step(client: TestClient) -> dict[str, bool]:
    """The step in the checklist, in a swap, on paper, and among what the API gives of a swap."""
    title = "Weigh the trial sludge"
    client.post(f"{AT}/tanks/t2/swap/start", data={"by": "Wren"})
    client.post(f"{AT}/tanks/t2/swap/start", data={"by": "Wren", "submission": "s2" * 8})
    books = client.get(f"{API}/entries", params={"kind": "swap_opened"}).text
    return {
        "step: the checklist has it": title in client.get(f"{AT}/checklist").text,
        "step: a swap has it": title in client.get(f"{AT}/tanks/t2/swap").text,
        "step: its question is on paper": "Sludge" in client.get(f"{AT}/tanks/t2/swap/paper").text,
        "step: the API tells of it": "trial_weigh_sludge" in books,
    }


def page(path: Path) -> str:
    """A page of docs as it would be written."""
    return WRITTEN[path](path.read_text("utf-8"))


def tour(folder: Path) -> dict[str, bool]:
    """Every claim, and whether it holds."""
    app = create_app(Settings(data_dir=folder, allowed_hosts=("room.test",)), clock=lambda: NOW)
    furnish(app.state.store, tanks=2)
    with TestClient(app, base_url="http://room.test") as client:
        schema = client.get("/api/v1/openapi.json").text
        return {
            **instrument(client, schema),
            **solvent(client, schema),
            **part(client, schema),
            **step(client),
        }


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        sys.stdout.write(json.dumps(tour(Path(folder))))
