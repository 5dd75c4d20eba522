"""A swap that a program begins is begun as on its page: of what is there, by what is there."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from app.domain.roomlog.kinds import TankChange
from app.domain.roomlog.kinds.checklists import EXAMPLE_STEPS, SwapOpened
from tests.factories import NOW, ROOM, tank
from tests.visiting import visiting

API = f"/api/v1/rooms/{ROOM}/entries"
SLOW = "tripropylene_glycol_methyl_ether"
AGO = NOW - timedelta(hours=1)
OPENED: dict[str, Any] = {
    "kind": "swap_opened", "by": "Wren", "swap": "s9", "tank": "dirty", "checklist": "swap",
    "version": 0, "steps": EXAMPLE_STEPS, "estimated_l": 40.0, "capacity_l": 40.0, "min_l": 30.0,
    "solvent": "isopropanol",
}  # fmt: skip
PAIRED = {
    **OPENED, "from_tank": "clean", "from_estimated_l": 40.0, "from_capacity_l": 40.0,
    "from_min_l": 30.0,
}  # fmt: skip


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with visiting(tmp_path, [
        tank("clean"), tank("dirty", pair="clean"), tank("other"), tank("slow", solvent=SLOW),
        tank("apart", pair="slow"), tank("gone"), tank("busy"),
        TankChange(at=AGO, tank="gone", is_retired=True),
        SwapOpened(at=AGO, swap="s1", tank="busy", checklist="swap", version=0,
                   steps=EXAMPLE_STEPS, estimated_l=40.0, capacity_l=40.0, solvent="isopropanol"),
    ], tanks=0) as client:  # fmt: skip
        yield client


def sent(client: TestClient, **body: Any) -> Response:
    answer = client.post(API, json=body)
    names = [one["name"] for one in answer.json().get("questions", [])]
    return client.post(API, json=body, params={"confirm": names}) if names else answer


@pytest.mark.parametrize(
    "body, field, said",
    [
        (PAIRED | {"from_tank": "other"}, "from_tank", "OTHER is not its clean bath."),
        (PAIRED | {"tank": "apart", "from_tank": "slow"}, "from_tank",
         "SLOW holds another solvent. Do not move it here."),
        (OPENED | {"tank": "gone"}, "tank", "GONE is out of use."),
        (OPENED | {"solvent": "water_based"}, "solvent", "DIRTY holds Isopropanol (2-propanol)."),
        (OPENED | {"capacity_l": 400.0}, "capacity_l", "The upper mark of DIRTY is at 40.0 L."),
        (OPENED | {"estimated_l": 4.0}, "estimated_l", "DIRTY holds about 37.2 L by the log."),
        (PAIRED | {"from_capacity_l": 90.0}, "from_capacity_l",
         "The upper mark of CLEAN is at 40.0 L."),
        ({"kind": "swap_started", "tank": "gone"}, "tank", "GONE is out of use."),
        ({"kind": "swap_started", "tank": "busy"}, "tank", "A swap of “busy” is already under way"),
    ],
    ids=["no pair", "other solvent", "retired", "solvent", "mark", "too little", "clean mark",
         "started retired", "started twice"],
)  # fmt: skip
def test_a_program_begins_no_swap_that_a_form_would_not(
    client: TestClient, body: dict[str, Any], field: str, said: str
) -> None:
    answer = sent(client, **body)
    assert answer.status_code == 422, answer.text
    found = {one["field"]: one["message"] for one in answer.json()["errors"]}
    assert said in found.get(field, ""), found


@pytest.mark.parametrize("body", [OPENED, PAIRED, {"kind": "swap_started", "tank": "dirty"}])
def test_a_program_begins_a_swap_of_what_is_there(client: TestClient, body: dict[str, Any]) -> None:
    answer = sent(client, **body)
    assert answer.status_code == 201, answer.text
