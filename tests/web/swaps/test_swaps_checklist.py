"""The editor of the checklist, without scripts: a draft, touch by touch, kept by a lead."""

import html
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import Session

from app.domain.checklists.books import SWAP_CHECKLIST
from app.domain.checklists.template import as_data
from app.domain.roomlog.kinds.checklists import Checklist
from app.domain.roomlog.kinds.inspections import PhotoRules
from app.domain.roomlog.kinds.site import CrewMember
from app.services.door import bring_in as record
from app.services.inspections.photos import keep as keep_photo
from app.services.rooms import find_room
from app.services.swaps.checklists import checklist
from app.store.photos import PhotoFolder
from tests.factories import NOW, ROOM, START
from tests.visiting import visiting

EDITOR = f"/rooms/{ROOM}/checklist"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A browser without scripts on a room that has a lead."""
    lead = CrewMember(at=START, crew="crew", name="Curlew", role="lead")
    with visiting(tmp_path, [lead]) as client:
        yield client


def hidden(page: str) -> dict[str, str]:
    """The hidden fields that a page sends back."""
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page)
    return {name: html.unescape(value) for name, value in found}


def titles(page: str) -> list[str]:
    """The titles of the draft on a page."""
    return [step["title"] for step in json.loads(hidden(page)["draft"])]


def touch(client: TestClient, page: str, do: str, expect: int = 200, **typed: str) -> str:
    """Touch a button of the page; the page that follows."""
    answer = client.post(EDITOR, data={**hidden(page), "do": do, **typed})
    assert answer.status_code == expect, answer.text
    return answer.text


def kept(client: TestClient) -> Any:
    """The checklist in use."""
    store = client.app.state.store  # type: ignore[attr-defined]
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id
        assert room_id is not None
        return checklist(session, room_id)


def test_it_shows_the_list_in_use_and_nothing_to_keep(client: TestClient) -> None:
    page = client.get(EDITOR).text
    assert titles(page)[0] == "Clear the place"
    assert "This is version 1, in use." in page
    assert "Keep version" not in page


def test_steps_are_moved_added_reworded_and_removed_and_kept_by_a_lead(client: TestClient) -> None:
    page = touch(client, client.get(EDITOR).text, "down:prepare")
    assert titles(page)[:2] == [
        "Put on gloves, glasses, apron",
        "Clear the place",
    ]
    page = touch(client, page, "up:prepare")
    page = touch(client, page, "add")
    assert titles(page)[-1] == "New step"
    new = hidden(page)["open"]
    page = touch(
        client, page, f"take:{new}", title="Weigh the sludge", text="On the bench scale",
        confirms="Scale shows zero\n\nTray is under it", label_0="Sludge", kind_0="number",
        unit_0="kg", low_0="0", high_0="30", must_0="on",
    )  # fmt: skip
    page = touch(client, page, "remove:sensor")
    assert kept(client).version == 1
    touch(client, page, "keep", by="Curlew", note="We weigh sludge")
    now = kept(client)
    assert now.version == 2
    assert now.steps[-1].title == "Weigh the sludge"
    assert now.steps[-1].confirms == ("Scale shows zero", "Tray is under it")
    assert (now.steps[-1].asks[0].unit, now.steps[-1].asks[0].high) == ("kg", 30.0)
    assert not now.steps[-1].is_required
    assert "sensor" not in [step.key for step in now.steps]
    assert "We weigh sludge" in client.get(EDITOR).text


def test_a_step_open_for_editing_shows_what_it_has(client: TestClient) -> None:
    page = touch(client, client.get(EDITOR).text, "edit:sensor")
    assert 'value="Clean the sensor"' in page
    assert "clean, film came off, film stays, damaged" in page


@pytest.mark.parametrize(
    "do, typed, words",
    [
        ("take:wipe", {"title": " "}, "Give the step a title"),
        ("take:wipe", {"title": "Wipe", "label_0": "A", "kind_0": "number", "low_0": "x"},
         "is not a number"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_said_beside_its_field(
    client: TestClient, do: str, typed: dict[str, str], words: str
) -> None:
    page = touch(client, client.get(EDITOR).text, "edit:wipe")
    page = touch(client, page, do, 422, **typed)
    assert words in page
    assert "Keep version" not in page or "A draft" in page


def test_a_list_without_steps_is_not_kept(client: TestClient) -> None:
    page = client.get(EDITOR).text
    fields = {**hidden(page), "draft": "[]", "do": "keep", "by": "Curlew"}
    answer = client.post(EDITOR, data=fields)
    assert answer.status_code == 422
    assert "The list has no steps" in answer.text
    assert kept(client).version == 1


def test_a_list_without_its_gates_is_not_kept(client: TestClient) -> None:
    page = touch(client, client.get(EDITOR).text, "remove:protect")
    assert "confirms protection" in html.unescape(page)
    page = touch(client, page, "keep", 422, by="Curlew")
    assert "confirms protection" in page
    assert len(titles(page)) == 20
    assert kept(client).version == 1


def test_only_a_lead_keeps_a_version(client: TestClient) -> None:
    page = touch(client, client.get(EDITOR).text, "down:wipe")
    page = touch(client, page, "keep", 422, by="Wren")
    assert "Only a lead may do this: Curlew." in page


def test_a_draft_that_somebody_kept_meanwhile_is_not_kept_again(client: TestClient) -> None:
    mine = touch(client, client.get(EDITOR).text, "down:wipe")
    theirs = touch(client, client.get(EDITOR).text, "down:sensor")
    touch(client, theirs, "keep", by="Curlew")
    page = touch(client, mine, "keep", 409, by="Curlew")
    assert "This draft was kept or dropped meanwhile." in page
    assert kept(client).version == 2


def test_a_draft_outlives_a_reload_and_shows_on_another_tablet(client: TestClient) -> None:
    client.cookies.set("person", "Wren")
    page = touch(client, client.get(EDITOR).text, "remove:sensor")
    again = client.get(EDITOR).text
    assert titles(again) == titles(page)
    assert "Clean the sensor" not in titles(again)
    assert "Last changed by Wren" in again
    assert kept(client).version == 1
    touch(client, again, "keep", by="Curlew")
    assert "This is version 2, in use." in client.get(EDITOR).text


def test_a_draft_is_dropped_by_a_touch(client: TestClient) -> None:
    page = touch(client, client.get(EDITOR).text, "remove:sensor")
    page = touch(client, page, "drop")
    assert "This is version 1, in use." in page
    assert "Clean the sensor" in titles(page)


def test_a_draft_that_is_as_the_list_in_use_is_none(client: TestClient) -> None:
    page = touch(client, client.get(EDITOR).text, "down:prepare")
    touch(client, page, "up:prepare")
    assert "This is version 1, in use." in client.get(EDITOR).text


def test_the_second_of_two_people_is_shown_what_the_first_made_of_the_draft(
    client: TestClient,
) -> None:
    mine = touch(client, client.get(EDITOR).text, "down:prepare")
    client.cookies.set("person", "Dunlin")
    theirs = touch(client, mine, "remove:sensor")
    page = touch(client, mine, "remove:wipe", 409)
    assert "Dunlin changed this draft meanwhile" in page
    assert titles(page) == titles(theirs)
    page = touch(client, page, "remove:wipe")
    assert "Wipe down tank and lid" not in titles(page)
    assert "Clean the sensor" not in titles(page)


def test_a_draft_that_a_version_overtook_says_so(client: TestClient) -> None:
    touch(client, client.get(EDITOR).text, "down:prepare")
    store = client.app.state.store  # type: ignore[attr-defined]
    steps = as_data(kept(client).steps)[:-1]
    edition = Checklist(
        at=NOW, by="Curlew", checklist=SWAP_CHECKLIST, version=2, name="Swap", steps=steps
    )
    record(store, ROOM, [edition], NOW)
    page = client.get(EDITOR).text
    assert "Version 2 was kept after this draft was begun." in page
    touch(client, page, "keep", by="Curlew")
    assert kept(client).version == 3


def test_a_file_of_a_draft_that_cannot_be_read_is_no_draft(
    client: TestClient, tmp_path: Path
) -> None:
    touch(client, client.get(EDITOR).text, "down:prepare")
    (file,) = (tmp_path / "drafts").iterdir()
    for text in (
        "{",
        "[]",
        '{"version": 2, "by": "", "at": "2026-03-02T10:00:00", "content": [1]}',
    ):
        file.write_text(text)
        assert "This is version 1, in use." in client.get(EDITOR).text


def test_a_draft_that_is_no_draft_is_refused(client: TestClient) -> None:
    for draft in (
        "",
        "{",
        "[1]",
        '{"key": "x"}',
        '[{"key": 3, "title": "x"}]',
        '[{"key": "a", "title": "x", "asks": [1]}]',
        '[{"key": "a", "title": "x", "asks": 1}]',
        '[{"key": "a", "title": "x", "confirms": 1}]',
    ):
        answer = client.post(EDITOR, data={"draft": draft, "do": "add"})
        assert answer.status_code == 422
        assert "The draft was lost" in answer.text


def picture(colour: str = "gray") -> bytes:
    """A small photo."""
    out = io.BytesIO()
    Image.new("RGB", (64, 48), colour).save(out, "JPEG")
    return out.getvalue()


def with_photo(client: TestClient) -> str:
    """The first step asks for a photo; the key of that question."""
    page = touch(client, client.get(EDITOR).text, "edit:prepare")
    page = touch(client, page, "take:prepare", title="Clear", is_required="on",
                 label_0="Photo of it", kind_0="photo", must_0="on")  # fmt: skip
    touch(client, page, "keep", by="Curlew")
    return kept(client).steps[0].asks[0].key


def test_a_step_asks_for_a_photo_and_keeps_it_with_the_answer(
    client: TestClient, tmp_path: Path
) -> None:
    ask = with_photo(client)
    swap = f"/rooms/{ROOM}/tanks/t1/swap"
    client.post(f"{swap}/start", data={"by": "Wren"})
    tick = f"{swap}/steps/prepare/tick"
    bare = client.post(tick)
    assert bare.status_code == 422
    assert "Photo of it is missing" in bare.text
    broken = client.post(tick, files={f"file_{ask}": ("a.jpg", b"no photo", "image/jpeg")})
    assert broken.status_code == 422
    assert "not a readable photo" in broken.text
    client.post(tick, files={f"file_{ask}": ("a.jpg", picture(), "image/jpeg")})
    page = client.get(f"{swap}?step=prepare").text
    assert re.search(
        r'<img class="step-photo" src="/rooms/test-room/photos/[0-9a-f]{64}/thumb"', page
    )
    assert len(list((tmp_path / "photos").glob("*/*-view.jpg"))) == 1


def test_a_step_keeps_no_original_where_the_room_keeps_none_and_takes_no_name_of_a_file(
    client: TestClient, tmp_path: Path
) -> None:
    ask = with_photo(client)
    folder = PhotoFolder(tmp_path)
    elsewhere = keep_photo(folder, io.BytesIO(picture("red"))).photo
    rules = PhotoRules(at=NOW, rules="photo_rules", lead="Curlew", keep_originals=False)
    record(client.app.state.store, ROOM, [rules], NOW)  # type: ignore[attr-defined]
    swap = f"/rooms/{ROOM}/tanks/t1/swap"
    client.post(f"{swap}/start", data={"by": "Wren"})
    tick = f"{swap}/steps/prepare/tick"
    named = client.post(tick, data={ask: f"photo:{elsewhere}"})
    assert named.status_code == 422
    assert "Photo of it is missing" in named.text
    client.post(tick, files={f"file_{ask}": ("a.jpg", picture(), "image/jpeg")})
    assert client.get(f"/rooms/{ROOM}/photos/{elsewhere}/view").status_code == 404
    (own,) = set(folder.digests()) - {elsewhere}
    assert client.get(f"/rooms/{ROOM}/photos/{own}/view").status_code == 200
    assert not folder.path(own, "original").exists()


def test_a_photo_bears_the_step_that_asked_for_it_wherever_it_is_shown(client: TestClient) -> None:
    ask = with_photo(client)
    swap, words = f"/rooms/{ROOM}/tanks/t1/swap", "Clear: Photo of it"
    client.post(f"{swap}/start", data={"by": "Wren"})
    client.post(f"{swap}/steps/prepare/tick", files={f"file_{ask}": ("a.jpg", picture(), "x")})
    close = client.get(f"{swap}?view=close").text
    assert words in close
    (alone,) = set(re.findall(r'href="([^"]+/swap/photo[^"]+)"', close))
    for page in (client.get(f"{swap}?step=prepare").text, record_of(client, close)):
        assert alone in page
    large = client.get(html.unescape(alone)).text
    assert f"<h1>{words}</h1>" in large
    assert re.search(r'<img src="/rooms/test-room/photos/[0-9a-f]{64}/view"', large)
    assert "Wren" in large
    entries = client.get(f"/api/v1/rooms/{ROOM}/entries?kind=step_done").json()["entries"]
    entry = client.get(f"/rooms/{ROOM}/entries/{entries[0]['entry']['id']}").text
    assert words in entry
    assert "/thumb" in entry
    other = html.unescape(alone).replace("step=prepare", "step=drain")
    assert client.get(other).status_code == 404


def record_of(client: TestClient, close: str) -> str:
    """The record of the swap that a close is of."""
    (key,) = set(re.findall(r'name="swap" value="([^"]+)"', close))
    return client.get(f"/rooms/{ROOM}/tanks/t1/swap/record?swap={key}").text
