"""Edits at random, through every door that keeps a checklist: none that is dangerous is kept.

What is dangerous is found by following the list in thought, tank, pump and hands, and not by the
program's own table. Order of the work: 29 CFR 1910.147(d) and 1910.106(e)(6)(ii), from memory;
the rest is common practice, no source.
"""

import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.roles import ROLES
from app.domain.checklists.template import Step, as_data
from app.domain.errors import DomainError, FieldErrors
from app.domain.roomlog.kinds.checklists import Checklist
from app.domain.roomlog.kinds.site import CrewMember
from app.services.acts.swaps.editions import keep_checklist
from app.services.door import bring_in
from app.services.rooms import find_room
from app.services.swaps.checklists import checklist
from tests.factories import NOW, ROOM, START
from tests.visiting import visiting

Data = list[dict[str, Any]]
FEW, MANY = 300, 10_000
HANDS_IN = ("inspection", "hands", "refit")


class Follower:
    """Somebody who does what a list says, and counts on no step that may be left out."""

    def __init__(self) -> None:
        self.is_live, self.is_full = True, True
        self.has: set[str] = set()

    def follow(self, steps: tuple[Step, ...]) -> str:
        """The first harm on the way; empty where there is none."""
        for step in steps:
            if harm := self._do(step):
                return f"{step.title}: {harm}"
        left = {"drain", "fill", "leak_check", "restart", "inspection"} - self.has
        return f"never done: {sorted(left)}" if left else ""

    def _do(self, step: Step) -> str:
        role = step.role
        if role in (*HANDS_IN, "drain", "rinse", "move", "fill") and "ppe" not in self.has:
            return "no gloves, no glasses"
        if role in (*HANDS_IN, "drain", "rinse", "move", "fill") and self.is_live:
            return "the pump may start"
        if role in HANDS_IN and self.is_full:
            return "hands in a full tank"
        if role in ("drain", "rinse", "move", "fill") and "bond" not in self.has:
            return "a spark"
        harm = self._flow(role)
        self._keep(step)
        return harm

    def _flow(self, role: str) -> str:
        if role == "drain" and "drum" not in self.has:
            return "into nothing"
        if role in ("move", "fill") and (self.is_full and role == "move"):
            return "over the rim"
        if role == "fill" and not {"inspection", "refit"} <= self.has:
            return "out of the open drain"
        if role == "leak_check" and not self.is_full:
            return "nothing to see"
        if role == "restart" and not {"leak_check", "refit", "fill"} <= self.has:
            return "runs dry, or out"
        return ""

    def _keep(self, step: Step) -> None:
        if step.role == "drain":
            self.is_full = False
        if step.role in ("fill", "move"):
            self.is_full = True
        if step.role == "restart":
            self.is_live = True
        if step.is_required and step.role:
            self.has.add(step.role)
        if step.is_required and step.role == "isolate":
            self.is_live = False


def an_edit(draw: random.Random, steps: Data) -> Data:
    """One change such as somebody, or a program, makes of a list."""
    found = [dict(one) for one in steps]
    place, other = draw.randrange(len(found)), draw.randrange(len(found))
    one = found[place]
    match draw.choice(("move", "swap", "remove", "add", "role", "optional", "bare", "word", "key")):
        case "move":
            found.insert(other, found.pop(place))
        case "swap":
            found[place], found[other] = found[other], found[place]
        case "remove":
            found.pop(place)
        case "add":
            new = {"key": f"own_{draw.randrange(10**6)}", "title": "Something of ours"}
            found.insert(other, new | ({"role": "hands"} if draw.random() < 0.3 else {}))
        case "role":
            one["role"] = draw.choice(list(ROLES))
        case "optional":
            one["is_required"] = not one.get("is_required", True)
        case "bare":
            one.pop("confirms", None)
        case "word":
            one["title"] = draw.choice(("Tea", "Bond and earth both", one["title"] + "!"))
        case "key":
            one["key"] = f"other_{draw.randrange(10**6)}"
    return found


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A room with a lead."""
    lead = CrewMember(at=START, crew="crew", name="Curlew", role="lead")
    with visiting(tmp_path, [lead]) as client:
        yield client


def in_use(client: TestClient) -> Any:
    with Session(client.app.state.store.reader) as session:  # type: ignore[attr-defined]
        room_id = find_room(session, ROOM).id
        assert room_id is not None
        return checklist(session, room_id)


def by_page(client: TestClient, steps: Data, version: int) -> str:
    """Why the editor does not keep a list; empty where it does."""
    fields = {"draft": json.dumps(steps), "do": "keep", "by": "Curlew", "stamp": "",
              "version": str(version)}  # fmt: skip
    answer = client.post(f"/rooms/{ROOM}/checklist", data=fields, follow_redirects=False)
    assert answer.status_code in (303, 422), answer.text
    return "" if answer.status_code == 303 else answer.text


def by_api(client: TestClient, steps: Data, version: int) -> str:
    """Why the API does not keep a list; empty where it does."""
    sent = {"kind": "checklist", "checklist": "swap", "name": "Ours", "version": version,
            "steps": steps, "by": "Curlew"}  # fmt: skip
    answer = client.post(f"/api/v1/rooms/{ROOM}/entries", json=sent)
    assert answer.status_code in (201, 422), answer.text
    return "" if answer.status_code == 201 else json.dumps(answer.json(), ensure_ascii=False)


def by_service(client: TestClient, steps: Data, version: int) -> str:
    """Why the service does not keep a list; empty where it does."""
    edition = Checklist(at=NOW, by="Curlew", checklist="swap", name="Ours", version=version,
                        steps=steps)  # fmt: skip
    try:
        keep_checklist(client.app.state.store, ROOM, edition, NOW)  # type: ignore[attr-defined]
    except FieldErrors as error:
        return json.dumps(error.by_field(), ensure_ascii=False)
    except DomainError as error:
        return str(error)
    return ""


REASONS = ("Otherwise", "Without it", "so that nobody ticks it",
           "You cannot take that away from it", "Only one step",
           "Two steps have the key")  # fmt: skip


def try_edits(client: TestClient, count: int, seed: int) -> tuple[int, int]:
    """How many edits were kept and refused; none dangerous, none without words."""
    draw, doors = random.Random(seed), (by_page, by_api, by_service)
    kept = refused = 0
    for number in range(count):
        present = in_use(client)
        steps = as_data(present.steps)
        for _ in range(draw.randint(1, 3)):
            steps = an_edit(draw, steps) if len(steps) > 1 else steps
        said = doors[number % 3](client, steps, present.version + 1)
        now = in_use(client)
        assert (now.version > present.version) == (said == "")
        assert Follower().follow(now.steps) == "", as_data(now.steps)
        kept, refused = kept + (not said), refused + bool(said)
        assert not said or any(words in said for words in REASONS), said
        if len(now.steps) > 40:  # not ever longer: as a lead who starts anew
            start = as_data(DEFAULT.steps)
            bring_in(client.app.state.store, ROOM, [  # type: ignore[attr-defined]
                Checklist(at=NOW, by="Curlew", checklist="swap", name="Ours",
                          version=now.version + 1, steps=start)], NOW)  # fmt: skip
    return kept, refused


def test_no_edit_at_random_makes_a_list_dangerous(client: TestClient) -> None:
    kept, refused = try_edits(client, FEW, 1910)
    assert kept > FEW / 10
    assert refused > FEW / 10


@pytest.mark.nightly
def test_no_edit_of_ten_thousand_makes_a_list_dangerous(client: TestClient) -> None:
    kept, refused = try_edits(client, MANY, 147)
    assert kept > MANY / 10
    assert refused > MANY / 10


def test_the_default_list_hurts_nobody_who_follows_it() -> None:
    assert Follower().follow(DEFAULT.steps) == ""


def test_a_list_that_was_brought_in_begins_no_swap_until_a_lead_has_mended_it(
    client: TestClient,
) -> None:
    bad = [one for one in as_data(DEFAULT.steps) if one["key"] != "bond"]
    edition = Checklist(at=START, by="Curlew", checklist="swap", name="Old", version=2, steps=bad)
    bring_in(client.app.state.store, ROOM, [edition], NOW)  # type: ignore[attr-defined]
    swap = f"/rooms/{ROOM}/tanks/t1/swap"
    answer = client.post(f"{swap}/start", data={"by": "Wren"})
    assert answer.status_code == 422
    assert "A lead must fix the checklist first" in answer.text
    page = client.get(f"/rooms/{ROOM}/checklist").text
    assert "no swap can begin with it" in page
    assert 'value="back:bond"' in page
    stamp = client.post(f"/rooms/{ROOM}/checklist", data={
        "draft": json.dumps(bad), "do": "back:bond", "stamp": ""}).text  # fmt: skip
    assert "Bond and earth both" in stamp
    assert by_api(client, as_data(DEFAULT.steps), 3) == ""
    assert client.post(f"{swap}/start", data={"by": "Wren"}).status_code == 200
    assert "Let nothing flow until this step is done" in client.get(f"{swap}?step=bond").text


def test_a_program_begins_no_swap_with_a_list_of_its_own_that_is_dangerous(
    client: TestClient,
) -> None:
    late = as_data(DEFAULT.steps)
    late.append(late.pop([step.key for step in DEFAULT.steps].index("bond")))
    sent = {"kind": "swap_opened", "swap": "s1", "tank": "t1", "checklist": "swap", "version": 1,
            "steps": late, "estimated_l": 38.0, "capacity_l": 40.0,
            "solvent": "isopropanol"}  # fmt: skip
    answer = client.post(f"/api/v1/rooms/{ROOM}/entries", json=sent)
    assert answer.status_code == 422
    assert "“Bond and earth both” must come before" in answer.json()["errors"][0]["message"]
