"""An inspection on its pages: gone through part by part, decided, signed, printed."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.inspections.conditions import CONDITIONS
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.inspections import (
    COMPONENT,
    Component,
    ComponentChanged,
    ComponentReplaced,
    InspectionAnswered,
)
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.photos import PhotoFolder
from app.store.things import things
from tests.answers import sure
from tests.factories import NOW, ROOM, START
from tests.photos import photo
from tests.web.inspections.looking import AT, inspection, look, pictures, said, state


def test_parts_are_set_up_in_one_go_each_washer_with_its_impeller(
    room: TestClient, store: Store
) -> None:
    washer = state(store, "component", "t1-washer-1")
    assert (washer.part, washer.mate, washer.tank) == ("washer", "t1-impeller-1", "t1")
    assert washer.fitted_at is not None
    page = room.get(f"{AT}/tanks/t1/inspection").text
    for name in ("Impeller 1", "Washer 1", "O-ring 1", "Shaft seal"):
        assert name in page
    page = room.get(f"{AT}/parts/t1-washer-1").text
    assert f'<dt>Works with</dt><dd><a href="{AT}/parts/t1-impeller-1">Impeller 1</a>' in page


def test_parts_that_make_no_sense_are_refused_beside_the_field(room: TestClient) -> None:
    answer = room.post(f"{AT}/tanks/t2/parts", data={"impellers": "ninety"})
    assert answer.status_code == 422
    assert "whole number from 0 to 12" in answer.text
    assert 'value="ninety"' in answer.text
    none = room.post(f"{AT}/tanks/t2/parts", data={})
    assert "Choose which parts sit here" in none.text
    later = room.post(f"{AT}/tanks/t2/parts", data={"impellers": "1", "fitted_on": "2027-01-01"})
    assert later.status_code == 422
    assert "before this entry" in later.text


def test_an_inspection_is_gone_through_and_signed(room: TestClient, at: str, store: Store) -> None:
    for part in ("impeller", "o_ring", "shaft_seal", "washer"):
        assert look(room, at, part).status_code == 200
    answer = room.post(f"{at}/close", data={"by": "Wren", "second": "Dunlin"})
    assert answer.url.path == f"{at}/report"
    found = inspection(store)
    assert found.is_closed
    assert (found.closed_by, found.second) == ("Wren", "Dunlin")
    assert [one.verdict for one in found.looks] == ["serviceable"] * 4
    assert not state(store, "hold", "t1")


def test_each_question_shows_its_drawing(room: TestClient, at: str) -> None:
    page = room.get(f"{at}/parts/t1-washer-1").text
    for one in CONDITIONS["washer"]:
        (drawing,) = re.findall(rf'"(/static/drawings/{one.key}-\w+\.svg)"', page)
        assert room.get(drawing).status_code == 200


def test_a_question_left_out_is_named_and_the_rest_kept(
    room: TestClient, at: str, store: Store
) -> None:
    values = said("washer", "washer_worn", note="seen with a lamp") | {"washer_lobe_broken": ""}
    answer = room.post(f"{at}/parts/t1-washer-1", data=values, files=pictures(photo()))
    assert answer.status_code == 422
    assert "Is a lobe broken off? Choose Yes, No or Cannot see it." in answer.text
    assert 'value="seen with a lamp"' in answer.text
    assert 'name="washer_worn" value="yes" checked' in answer.text
    assert not inspection(store).look("t1-washer-1").verdict
    kept = re.search(r'name="kept_photos" value="([0-9a-f]{64})"', answer.text)
    assert kept is not None
    again = look(room, at, "washer", "washer_worn", kept_photos=kept[1])
    assert again.status_code == 200
    assert [one.photo for one in inspection(store).look("t1-washer-1").photos] == [kept[1]]


def test_a_cracked_washer_is_replaced_with_its_impeller_and_wants_a_photo(
    room: TestClient, at: str, store: Store
) -> None:
    answer = look(room, at, "washer", "washer_lobe_cracked")
    assert "Replace with its mate" in answer.text
    assert "needs a photo" in answer.text
    assert "Impeller 1, which works with it" in answer.text
    for part in ("impeller", "o_ring", "shaft_seal"):
        look(room, at, part)
    refused = room.post(f"{at}/close", data={"by": "Wren"})
    assert refused.status_code == 422
    assert "Add a photo, or say why there is none: Washer 1." in refused.text
    look(room, at, "washer", "washer_lobe_cracked", no_photo="Camera broken")
    assert room.post(f"{at}/close", data={"by": "Wren"}).status_code == 200
    assert inspection(store).is_closed


def test_a_part_is_taken_from_its_lot_and_its_history_starts_again(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", "washer_lobe_broken", files=pictures(photo()))
    to = f"{at}/parts/t1-washer-1/replace"
    wrong = room.post(to, data={"item_lot": "washer|none", "by": "Wren"})
    assert wrong.status_code == 422
    assert state(store, "component", "t1-washer-1").past == ()
    right = room.post(to, data={"item_lot": "washer|W7", "by": "Wren"})
    assert right.status_code == 200
    washer = state(store, "component", "t1-washer-1")
    assert (washer.lot, len(washer.past), washer.seen) == ("W7", 1, ())
    assert washer.past[0].because == "finding"
    assert state(store, "item", "washer").on_hand == 2
    assert room.get(f"{AT}/parts/t1-washer-1").status_code == 200


def test_after_a_fitting_the_questions_are_asked_of_the_new_part(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", "washer_lobe_broken", files=pictures(photo()))
    to, before = f"{at}/parts/t1-washer-1", inspection(store).look("t1-washer-1").entry
    page = room.post(f"{to}/replace", data={"item_lot": "washer|W7", "by": "Wren"}).text
    assert "Check the new part, add a photo or a note" in page
    stale = said("washer", "washer_lobe_broken", over=before, note="kept the old one")
    refused = room.post(to, data=stale)
    assert "A new part was fitted meanwhile." in refused.text
    assert state(store, "component", "t1-washer-1").verdict == ""
    assert not re.search(r'name="washer_\w+" value="\w+" checked', page)
    look(room, at, "washer", "washer_lobe_broken", no_photo="The same break")
    again = inspection(store).look("t1-washer-1")
    assert again.awaits_part
    assert state(store, "component", "t1-washer-1").verdict == again.decided
    assert "not replaced yet" in room.get(at).text
    look(room, at, "washer")
    assert not inspection(store).look("t1-washer-1").awaits_part
    assert state(store, "component", "t1-washer-1").verdict == "serviceable"


def test_an_empty_shelf_does_not_keep_a_new_part_from_being_noted(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "o_ring", "o_ring_swollen", no_photo="Wet gloves")
    answer = room.post(f"{at}/parts/t1-o_ring-1/replace", data={"item_lot": "", "by": "Wren"})
    assert answer.status_code == 200
    assert inspection(store).look("t1-o_ring-1").replaced_at == NOW


def test_a_leaking_seal_holds_the_tank_until_a_lead_releases_it(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "shaft_seal", "seal_leaks", files=pictures(photo()))
    for part in ("impeller", "o_ring", "washer"):
        look(room, at, part)
    assert inspection(store).blocks_refill
    room.post(f"{at}/close", data={"by": "Wren"})
    hold = state(store, "hold", "t1")
    assert (hold.is_held, hold.cause) == (True, "inspection")
    assert hold.holds[0].inspection == inspection(store).key
    wash = {"resin": "slate", "parts": "12", "by": "Wren"}
    assert room.post(f"{AT}/tanks/t1/log/wash", data=wash).status_code == 422
    assert "Out of service" in room.get(f"{at}/report").text


def test_a_lead_decides_otherwise_and_the_rule_stays_beside_it(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "impeller", "impeller_worn", files=pictures(photo()))
    to = f"{at}/parts/t1-impeller-1/overrule"
    values = {"verdict": "watch", "lead": "Wren", "reason": "Only just begun", "by": "Wren"}
    refused = room.post(to, data=values)
    assert refused.status_code == 422
    assert "Only a lead can do this: Curlew" in refused.text
    assert "Only just begun" in refused.text
    page = room.post(to, data=values | {"lead": "Curlew"}).text
    assert "Decided by Curlew. The rule says: replace." in page
    found = inspection(store).look("t1-impeller-1")
    assert (found.verdict, found.decided) == ("replace", "watch")
    assert state(store, "component", "t1-impeller-1").seen[-1].verdict == "watch"
    room.post(f"{at}/parts/t1-impeller-1/undo", data={"entry": found.overrule_entry})
    assert inspection(store).look("t1-impeller-1").decided == "replace"


def test_answers_can_be_taken_back_until_it_is_signed(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", "washer_worn")
    entry = inspection(store).look("t1-washer-1").entry
    room.post(f"{at}/parts/t1-washer-1/undo", data={"entry": entry})
    assert not inspection(store).look("t1-washer-1").verdict
    again = room.post(f"{at}/parts/t1-washer-1/undo", data={"entry": entry})
    assert again.status_code == 404


def test_two_people_work_on_one_inspection(room: TestClient, at: str, store: Store) -> None:
    second = room.post(f"{AT}/tanks/t1/inspection", data={"by": "Dunlin", "submission": "s2" * 8})
    assert second.status_code == 409
    assert "is already open here" in second.text
    look(room, at, "washer")
    look(room, at, "impeller", by="Dunlin")
    assert [one.by for one in inspection(store).looks if one.by] == ["Dunlin", "Wren"]


def test_nothing_is_answered_after_the_signature(room: TestClient, at: str) -> None:
    for part in ("impeller", "o_ring", "shaft_seal", "washer"):
        look(room, at, part)
    room.post(f"{at}/close", data={"by": "Wren"})
    assert look(room, at, "washer", "washer_worn").status_code == 409
    assert room.post(f"{at}/close", data={"by": "Wren"}).status_code == 409


def test_a_part_that_comes_after_the_signature_is_fitted_from_the_look_that_asks_for_it(
    room: TestClient, at: str, store: Store
) -> None:
    """The spare comes the next day: nobody starts another inspection to enter it."""
    look(room, at, "washer", "washer_lobe_broken", files=pictures(photo()))
    for part in ("impeller", "o_ring", "shaft_seal"):
        look(room, at, part)
    room.post(f"{at}/close", data={"by": "Wren"})
    to = f"{at}/parts/t1-washer-1"
    page = room.get(to).text
    assert f'action="{to}/replace"' in page
    assert "A lead decides otherwise" not in page
    assert f'action="{at}/parts/t1-impeller-1/replace"' not in room.get(
        f"{at}/parts/t1-impeller-1"
    ).text  # fmt: skip
    page = room.post(f"{to}/replace", data={"item_lot": "washer|W7", "by": "Wren"}).text
    assert "A new part was fitted" in page
    assert f'action="{to}/replace"' not in page
    assert state(store, "component", "t1-washer-1").verdict == ""


def test_signing_needs_a_name_and_a_second_person_is_somebody_else(
    room: TestClient, at: str
) -> None:
    for part in ("impeller", "o_ring", "shaft_seal", "washer"):
        look(room, at, part)
    assert "Enter who signs" in room.post(f"{at}/close", data={"by": ""}).text
    twice = room.post(f"{at}/close", data={"by": "Wren", "second": "wren"})
    assert "somebody else" in twice.text


@pytest.mark.parametrize(
    "content, words",
    [
        (b"Just text.\n", "not a readable photo"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "not a readable photo"),
        (photo()[:2500], "broken or cut off"),
    ],
)
def test_a_bad_photo_is_named_and_good_ones_are_kept(
    room: TestClient, at: str, store: Store, content: bytes, words: str
) -> None:
    answer = look(
        room, at, "washer", "washer_lobe_broken", files=pictures(photo(), content), note="x1"
    )
    assert answer.status_code == 422
    assert words in answer.text
    assert "“1.jpg”" in answer.text
    assert 'value="x1"' in answer.text
    assert not inspection(store).look("t1-washer-1").verdict
    assert re.search(r'name="kept_photos" value="[0-9a-f]{64}"', answer.text)


def test_forty_photos_at_once_are_refused_and_the_form_is_kept(
    room: TestClient, at: str, store: Store
) -> None:
    answer = look(room, at, "washer", files=pictures(*[photo()] * 40), note="many")
    assert answer.status_code == 422
    assert "At most 12 photos at once; these were 40." in answer.text
    assert 'value="many"' in answer.text
    assert inspection(store).look("t1-washer-1").photos == ()


def test_the_same_photo_twice_stands_once(room: TestClient, at: str, store: Store) -> None:
    look(room, at, "washer", "washer_worn", files=pictures(photo(), photo()))
    look(room, at, "washer", "washer_worn", files=pictures(photo()))
    assert len(inspection(store).look("t1-washer-1").photos) == 1


def test_an_upload_of_200_mb_is_refused_before_it_is_read(room: TestClient, at: str) -> None:
    headers = {
        "Content-Length": str(200 * 2**20),
        "Content-Type": "multipart/form-data; boundary=b",
    }
    answer = room.post(f"{at}/parts/t1-washer-1", content=b"--b--", headers=headers)
    assert answer.status_code == 413
    assert "Nothing was stored" in answer.text


def test_a_photo_is_served_as_a_picture_and_nothing_else(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", "washer_worn", files=pictures(photo("jpg", 6)))
    (taken,) = inspection(store).look("t1-washer-1").photos
    answer = room.get(f"{AT}/photos/{taken.photo}/view")
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "immutable" in answer.headers["cache-control"]
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert answer.content[:2] == b"\xff\xd8"
    assert room.get(f"{AT}/photos/{taken.photo}/original").status_code == 404
    assert room.get(f"{AT}/photos/{'0' * 64}/view").status_code == 404
    assert room.get(f"{AT}/photos/..%2f..%2fbathkeeper.sqlite3/view").status_code == 404


def test_pages_say_that_a_photo_is_damaged(
    room: TestClient, at: str, store: Store, tmp_path: Path
) -> None:
    look(room, at, "washer", "washer_worn", files=pictures(photo("jpg", 6)))
    (taken,) = inspection(store).look("t1-washer-1").photos
    folder = PhotoFolder(tmp_path)
    part = f"{at}/parts/t1-washer-1"
    address = f"{AT}/photos/{taken.photo}/thumb"
    assert address in room.get(part).text
    for size in ("thumb", "original"):
        folder.path(taken.photo, size).write_bytes(b"damaged")
    answer = room.get(address)
    assert answer.status_code == 404
    assert "This photo is damaged" in answer.text
    page = room.get(part).text
    assert address not in page
    assert "Photo damaged. Add the same picture again." in page
    large = room.get(f"{part}/photos/{taken.photo}")
    assert "<b>This photo is damaged.</b>" in large.text
    look(room, at, "washer", "washer_worn", files=pictures(photo("jpg", 6)))
    assert address in room.get(part).text
    assert room.get(address).status_code == 200


def test_a_mark_is_set_where_the_photo_was_touched(room: TestClient, at: str, store: Store) -> None:
    look(room, at, "washer", "washer_lobe_cracked", files=pictures(photo()))
    (taken,) = inspection(store).look("t1-washer-1").photos
    to = f"{at}/parts/t1-washer-1/photos/{taken.photo}"
    assert 'type="image"' in room.get(to).text
    touch = {"at.x": "360", "at.y": "135", "shape": "arrow", "text": "crack"}
    page = room.post(to, data=touch).text
    assert 'value="crack"' in page
    (mark,) = inspection(store).look("t1-washer-1").photos[0].marks
    assert (mark.x_percent, mark.y_percent) == (50.0, 25.0)
    assert room.post(to, data=touch | {"at.x": "9999"}).status_code == 422
    assert room.post(to, data={"shape": "ring"}).status_code == 422
    room.post(to, data={"remove": "1"})
    assert inspection(store).look("t1-washer-1").photos[0].marks == ()


def test_a_mark_gets_its_words_after_the_touch_and_marks_are_taken_away_one_by_one(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", "washer_lobe_cracked", files=pictures(photo()))
    (taken,) = inspection(store).look("t1-washer-1").photos
    to = f"{at}/parts/t1-washer-1/photos/{taken.photo}"
    room.post(to, data={"x_percent": "12.5", "y_percent": "80", "at.x": "0", "shape": "arrow"})
    room.post(to, data={"x_percent": "70", "y_percent": "20", "shape": "ring", "text_1": "crack"})
    page = room.post(to, data={"words": "1", "text_1": "crack", "text_2": "track"}).text
    assert 'value="track"' in page

    def marks() -> list[tuple[str, float, str]]:
        (shown,) = inspection(store).look("t1-washer-1").photos
        return [(one.shape, one.x_percent, one.text) for one in shown.marks]

    assert marks() == [("arrow", 12.5, "crack"), ("ring", 70.0, "track")]
    back = room.post(to, data={"words": "back", "text_1": "deep crack"}, follow_redirects=False)
    assert back.headers["location"] == to.partition("/photos/")[0]
    assert "deep crack" in room.get(to).text
    again = room.post(to, data={"words": "back"}, follow_redirects=False)  # nothing new is said
    assert again.headers["location"] == to.partition("/photos/")[0]
    long = room.post(to, data={"words": "1", "text_1": "x" * 81})
    assert long.status_code == 422
    assert "at most 80 characters" in long.text
    room.post(to, data={"remove": "1"})
    assert marks() == [("ring", 70.0, "track")]
    assert room.post(to, data={"x_percent": "nan", "y_percent": "1"}).status_code == 422


def test_each_photo_has_its_own_label_and_another_later_on(
    room: TestClient, at: str, store: Store
) -> None:
    values = {"view_0": "whole", "view_1": "after_cleaning", "view_2": "nonsense"}
    files = pictures(photo(), photo("png"), photo("webp"))
    look(room, at, "washer", "washer_worn", files=files, **values)

    def views() -> list[str]:
        return [one.view for one in inspection(store).look("t1-washer-1").photos]

    assert views() == ["whole", "after_cleaning", "close"]
    second = inspection(store).look("t1-washer-1").photos[1].photo
    to = f"{at}/parts/t1-washer-1/photos/{second}"
    assert room.post(f"{to}/label", data={"view": "scale"}).status_code == 200
    assert views() == ["whole", "scale", "close"]
    assert room.post(f"{to}/label", data={"view": "sideways"}).status_code == 422
    assert room.post(f"{to}/label", data={}).status_code == 422
    history = room.get(f"{AT}/parts/t1-washer-1").text
    assert "With a scale," in history
    assert "After cleaning," not in history
    log = room.get(f"{AT}/log").text
    assert "Photo labelled" in log


def test_labels_of_kept_photos_stand_until_the_form_is_right(
    room: TestClient, at: str, store: Store
) -> None:
    values = said("washer", view_0="scale") | {"washer_worn": ""}
    answer = room.post(f"{at}/parts/t1-washer-1", data=values, files=pictures(photo()))
    kept = re.search(r'name="kept_photos" value="([0-9a-f]{64})"', answer.text)
    assert kept is not None
    assert '<option value="scale" selected>' in answer.text
    look(room, at, "washer", kept_photos=kept[1], **{f"view_{kept[1]}": "scale"})
    assert [one.view for one in inspection(store).look("t1-washer-1").photos] == ["scale"]


def test_photos_of_earlier_inspections_stand_beside_the_new_ones(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", "washer_worn", files=pictures(photo()))
    for part in ("impeller", "o_ring", "shaft_seal"):
        look(room, at, part)
    room.post(f"{at}/close", data={"by": "Wren"})
    (taken,) = inspection(store).look("t1-washer-1").photos
    new = room.post(f"{AT}/tanks/t1/inspection", data={"by": "Wren", "submission": "s3" * 8})
    page = room.get(f"{new.url.path}/parts/t1-washer-1").text
    assert "The same place before" in page
    assert f"/photos/{taken.photo}/thumb" in page


def test_watched_parts_show_in_the_overview(room: TestClient, at: str) -> None:
    look(room, at, "washer", "washer_worn")
    page = room.get(f"{AT}/inspections").text
    assert "To check again, or replace" in page
    assert "Washer 1" in page


def test_an_inspection_started_by_mistake_is_taken_back(
    room: TestClient, at: str, store: Store
) -> None:
    assert room.post(f"{at}/discard").status_code == 200
    assert state(store, "inspection", "s1s1s1s1s1s1") is None
    assert room.get(at).status_code == 404
    again = room.post(f"{AT}/tanks/t1/inspection", data={"by": "Wren", "submission": "s4" * 8})
    assert again.status_code == 200


def test_one_started_by_mistake_goes_with_its_photos_and_not_once_something_was_answered(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", files=pictures(photo()))
    entry = inspection(store).look("t1-washer-1").entry
    assert room.post(f"{at}/discard").status_code == 409
    room.post(f"{at}/parts/t1-washer-1/undo", data={"entry": entry})
    assert inspection(store).look("t1-washer-1").photos
    assert room.post(f"{at}/discard").status_code == 200
    assert state(store, "inspection", "s1s1s1s1s1s1") is None


def test_life_says_honestly_what_it_cannot_tell(room: TestClient) -> None:
    page = room.get(f"{AT}/parts/life?part=washer").text
    assert "A Weibull fit needs at least 5 found worn out. This room has 0." in page
    assert "Work it out" not in page


def test_life_of_parts_gives_advice_with_its_assumptions(room: TestClient, store: Store) -> None:
    entries: list[Entry] = []
    for number, days in enumerate((210, 180, 240, 200, 260, 230)):
        key, end = f"old-{number}", NOW - timedelta(days=1)
        entries += [
            Component(at=START, component=key, part="washer",
                      name=f"Old {number}", tank="t1", fitted_at=end - timedelta(days=days)),
            InspectionAnswered(at=end - timedelta(days=20), inspection=f"g{number}", component=key,
                               answers={"washer_worn": "no"}, verdict="serviceable"),
            ComponentReplaced(at=end, component=key, because="finding"),
        ]  # fmt: skip
    record(store, ROOM, entries, NOW)
    page = room.get(f"{AT}/parts/life?part=washer").text
    assert "Washer: 6 found worn out" in page
    assert "They wear out: the older they are, the likelier it gets." in page
    assert re.search(r"Look (at every swap|every \d swaps)\.", page)
    assert "This assumes that wear shows after the life above" in page
    dear = room.get(f"{AT}/parts/life?part=washer&look=200&stop=10").text
    assert "Look every 8 swaps." in dear
    bad = room.get(f"{AT}/parts/life?part=washer&look=dear").text
    assert 'value="dear"' in bad
    assert 'class="field-error"' in bad


def test_a_lead_has_the_originals_deleted(room: TestClient, at: str) -> None:
    look(room, at, "washer", "washer_worn", files=pictures(photo()))
    folder = room.app.state.settings.data_dir / "photos"  # type: ignore[attr-defined]
    assert len(list(folder.glob("??/*-original"))) == 1
    refused = room.post(f"{AT}/parts/life/originals", data={"keep": "no", "lead": "Wren"})
    assert refused.status_code == 422
    assert len(list(folder.glob("??/*-original"))) == 1
    room.post(f"{AT}/parts/life/originals", data={"keep": "no", "lead": "Curlew"})
    assert list(folder.glob("??/*-original")) == []
    look(room, at, "washer", "washer_worn", files=pictures(photo("png")))
    assert list(folder.glob("??/*-original")) == []


def test_a_soak_test_is_weighed_before_and_after(room: TestClient, store: Store) -> None:
    start = {"name": "O-ring A", "tank": "t1", "mass_before_g": "10.0", "by": "Wren"}
    room.post(f"{AT}/soak", data=start | {"at": "2026-02-25T08:00", "submission": "soakone"})
    assert state(store, "soak", "soakone").name == "O-ring A"
    bad = room.post(f"{AT}/soak/soakone", data={"mass_after_g": "heavy", "looks": "soft"})
    assert bad.status_code == 422
    assert 'value="heavy"' in bad.text
    page = room.post(f"{AT}/soak/soakone", data={"mass_after_g": "11.5", "looks": "soft"}).text
    assert "+15.0 %" in page
    again = room.post(f"{AT}/soak/soakone", data={"mass_after_g": "11.5"})
    assert again.status_code == 422


def test_who_looks_is_asked_where_the_tablet_does_not_know(room: TestClient) -> None:
    page = room.get(f"{AT}/tanks/t1/inspection").text
    assert "Who looks" in page
    begun = room.post(f"{AT}/tanks/t1/inspection", data={"by": "Wren", "submission": "s8" * 8})
    assert "by Wren" in begun.text
    step = room.get(f"{begun.url.path}/parts/t1-washer-1").text
    assert 'name="by" value="Wren"' in step


def test_parts_added_later_are_numbered_on_and_take_what_their_like_take(
    room: TestClient, store: Store
) -> None:
    odd = Component(
        at=NOW, component="odd-1", part="washer", name="Washer 2", tank="t1", item="washer"
    )
    record(store, ROOM, [odd], NOW)
    room.post(f"{AT}/tanks/t1/parts", data={"impellers": "1", "by": "Wren"})
    with Session(store.reader) as session:
        found = things(session, find_room(session, ROOM).id or 0, COMPONENT)
    made = [one for one in found.values() if one.tank == "t1" and one.part == "washer"]
    assert sorted(one.name for one in made) == ["Washer 1", "Washer 2", "Washer 3"]
    assert next(one for one in made if one.name == "Washer 3").item == "washer"


def test_a_part_of_another_kind_is_asked_about_and_a_good_part_is_no_finding(
    room: TestClient, at: str, store: Store
) -> None:
    entry = ComponentChanged(at=NOW, component="t1-washer-1", item="usual")
    usual = Item(at=NOW, item="usual", name="Soft washer", category="part", unit="piece")
    record(store, ROOM, [usual, entry], NOW)
    look(room, at, "washer")
    to = f"{at}/parts/t1-washer-1"
    assert re.search(r'value="planned"[^>]*checked', room.get(to).text)
    sent = {"item_lot": "washer|W7", "by": "Wren", "because": "planned"}
    asked = room.post(f"{to}/replace", data=sent)
    assert asked.status_code == 422
    assert "usually takes Soft washer" in asked.text
    assert inspection(store).look("t1-washer-1").replaced_at is None
    sure(room, f"{to}/replace", sent)
    assert inspection(store).look("t1-washer-1").replaced_at is not None


def test_a_fitting_is_undone_and_the_part_lies_on_the_shelf_again(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", "washer_lobe_broken", files=pictures(photo()))
    to = f"{at}/parts/t1-washer-1"
    room.post(f"{to}/replace", data={"item_lot": "washer|W7", "by": "Wren"})
    assert state(store, "item", "washer").on_hand == 2
    fitted = inspection(store).look("t1-washer-1").replaced_entry
    assert room.post(f"{to}/undo", data={"entry": fitted}).status_code == 200
    assert state(store, "item", "washer").on_hand == 3
    washer = state(store, "component", "t1-washer-1")
    assert (washer.past, washer.verdict) == ((), "replace_with_mate")
    assert inspection(store).look("t1-washer-1").awaits_part


def test_fitting_the_last_spare_puts_it_on_the_list_to_order(
    room: TestClient, at: str, store: Store
) -> None:
    record(store, ROOM, [
        Item(at=START, item="seal", name="Shaft seal kit", category="part", unit="piece",
             reorder_at=1.0),
        StockReceived(at=START, item="seal", quantity=2.0, lot="S1"),
    ], NOW)  # fmt: skip
    assert "Shaft seal kit" not in room.get(f"{AT}/shelf/orders").text
    look(room, at, "shaft_seal", "seal_hard", files=pictures(photo()))
    values = {"item_lot": "seal|S1", "by": "Wren"}
    room.post(f"{at}/parts/t1-shaft_seal-1/replace", data=values)
    assert "Shaft seal kit" in room.get(f"{AT}/shelf/orders").text


def test_a_stations_inspection_warns_of_lamps_not_of_tanks(room: TestClient, store: Store) -> None:
    box = Station(
        at=START, station="s1", name="Box", source="led", wavelength_nm=405.0,
        layout="centre_and_corners",
    )  # fmt: skip
    record(store, ROOM, [box], NOW)
    page = room.get(f"{AT}/stations/s1/inspection").text
    assert "lamp off, cooled down" in page
    assert "tank drained" not in page
