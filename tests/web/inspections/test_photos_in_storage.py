"""Photos of a room in an object storage: its pages, and what they say while it is away."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from app.store import photo_files
from app.store.engine import Store
from app.store.photo_files import AWAY, StoredFiles
from app.store.photos import Photos
from tests.object_storage import ObjectStorage, object_storage
from tests.photos import photo
from tests.web.inspections.looking import AT, inspection, look, pictures

_CONTENT = photo()


@pytest.fixture
def storage(room: TestClient, monkeypatch: pytest.MonkeyPatch) -> Iterator[ObjectStorage]:
    """The storage that the room's photos lie in."""
    monkeypatch.setattr(photo_files, "READ_WITHIN_S", 2.0)
    monkeypatch.setattr(photo_files, "LET_BE_S", 0.0)
    with object_storage() as made:
        room.app.state.photos = Photos(StoredFiles(made.where))  # type: ignore[attr-defined]
        yield made


def test_a_photo_is_shown_from_the_storage(
    room: TestClient, at: str, store: Store, storage: ObjectStorage
) -> None:
    assert look(room, at, "washer", "washer_worn", files=pictures(_CONTENT)).status_code == 200
    (taken,) = inspection(store).look("t1-washer-1").photos
    part = f"{at}/parts/t1-washer-1"
    assert f"/photos/{taken.photo}/thumb" in room.get(part).text
    answer = room.get(f"{AT}/photos/{taken.photo}/view")
    assert answer.content == storage.objects[
        f"rooms/{taken.photo[:2]}/{taken.photo}-view.jpg"
    ][0]  # fmt: skip
    assert room.get(f"{part}/photos/{taken.photo}").status_code == 200
    folder = room.app.state.settings.data_dir  # type: ignore[attr-defined]
    assert not (folder / "photos").exists()


@pytest.mark.parametrize("fault", ["down", "half", "denied"])
def test_a_form_whose_photo_is_not_taken_is_shown_again_and_nothing_is_stored(
    room: TestClient, at: str, store: Store, storage: ObjectStorage, fault: str
) -> None:
    storage.break_down(fault)
    answer = look(room, at, "washer", "washer_worn", files=pictures(_CONTENT), note="loose")
    assert answer.status_code == 422
    assert "The photo storage" in answer.text
    assert "“0.jpg” was not stored." in answer.text
    assert 'value="loose"' in answer.text
    assert not inspection(store).look("t1-washer-1").verdict
    storage.break_down("")
    assert storage.objects == {}
    assert look(room, at, "washer", "washer_worn", files=pictures(_CONTENT)).status_code == 200
    assert len(inspection(store).look("t1-washer-1").photos) == 1


def test_pages_are_shown_while_the_storage_is_away_and_say_nothing_is_damaged(
    room: TestClient, at: str, store: Store, storage: ObjectStorage
) -> None:
    look(room, at, "washer", "washer_worn", files=pictures(_CONTENT))
    (taken,) = inspection(store).look("t1-washer-1").photos
    storage.break_down("down")
    room.app.state.photos = Photos(StoredFiles(storage.where))  # type: ignore[attr-defined]
    for page in (f"{at}/parts/t1-washer-1", f"{at}/parts/t1-washer-1/photos/{taken.photo}"):
        answer = room.get(page)
        assert answer.status_code == 200
        assert "damaged" not in answer.text
    answer = room.get(f"{AT}/photos/{taken.photo}/view")
    assert answer.status_code == 503
    assert AWAY in answer.text
    assert "retry-after" in answer.headers
    before = dict(storage.objects)
    storage.break_down("")
    assert storage.objects == before
    assert room.get(f"{AT}/photos/{taken.photo}/view").status_code == 200


def test_a_kept_photo_of_an_earlier_try_is_looked_for_before_it_counts(
    room: TestClient, at: str, store: Store, storage: ObjectStorage
) -> None:
    first = look(room, at, "washer", "washer_lobe_broken", files=pictures(_CONTENT, b"none"))
    assert first.status_code == 422
    (digest,) = {key.split("/")[-1][:64] for key in storage.objects}
    storage.break_down("down")
    room.app.state.photos = Photos(StoredFiles(storage.where))  # type: ignore[attr-defined]
    again = look(room, at, "washer", "washer_worn", kept_photos=digest)
    assert again.status_code == 422
    assert AWAY in again.text
    assert not inspection(store).look("t1-washer-1").verdict
