"""Photos in an object storage: the promises of the folder hold there, and when it fails too."""

import functools
import io
import itertools
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image
from sqlmodel import Session

from app.config import PhotoStorage, Settings, from_environment
from app.domain.errors import DomainError, FieldError, Unavailable
from app.services.copying import Place, copy_room
from app.services.door import bring_in
from app.services.health import examination
from app.services.inspections import drawing
from app.services.inspections import photos as services_photos
from app.services.inspections.photos import check, keep, mend, shape
from app.services.rooms import find_room
from app.store import photo_files
from app.store.backups import back_up, backups, read, restore
from app.store.engine import open_store
from app.store.migrations import upgrade
from app.store.photo_files import AWAY, HALF, REFUSED, StoredFiles
from app.store.photos import ORIGINAL, SIZES, SUMS, PhotoFolder, Photos, file_of, photos_at
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import new_store
from tests.object_storage import BUCKET, ObjectStorage, object_storage
from tests.photos import photo

CONTENT = photo()
_numbers = itertools.count()


_draw = functools.cache(drawing.draw)


@pytest.fixture(autouse=True)
def drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is shown of the same picture is drawn once: a process for each would take most."""
    monkeypatch.setattr(services_photos, "draw", _draw)


@pytest.fixture
def storage() -> Iterator[ObjectStorage]:
    """A stand-in for an object storage."""
    with object_storage() as made:
        yield made


@pytest.fixture
def stored(storage: ObjectStorage) -> Photos:
    """Photos in it."""
    return Photos(StoredFiles(storage.where))


@pytest.fixture(params=["folder", "memory", "storage"])
def photos(request: pytest.FixtureRequest, tmp_path: Path) -> Photos:
    """Photos in each of the places where they can lie."""
    if request.param == "folder":
        return PhotoFolder(tmp_path)
    if request.param == "memory":
        return Photos(StoredFiles(PhotoStorage(f"memory://rooms-{next(_numbers)}")))
    return request.getfixturevalue("stored")  # type: ignore[no-any-return]


def kept(photos: Photos, content: bytes = CONTENT) -> str:
    return keep(photos, io.BytesIO(content)).photo


# Wherever they lie ------------------------------------------------------------------------------


def test_a_photo_is_kept_once_with_all_that_is_made_of_it(photos: Photos) -> None:
    first = keep(photos, io.BytesIO(CONTENT))
    again = keep(photos, io.BytesIO(CONTENT))
    assert (first.is_new, again.is_new) == (True, False)
    assert photos.sound(first.photo, ORIGINAL) == CONTENT
    names = [file_of(first.photo, size) for size in (*SIZES, SUMS, ORIGINAL)]
    assert sorted(photos.files.names()) == sorted(names)
    assert list(photos.digests()) == [first.photo]
    assert shape(photos, first.photo) == (320, 240)
    with Image.open(io.BytesIO(photos.sound(first.photo, "thumb") or b"")) as thumb:
        assert max(thumb.size) <= 360


@pytest.mark.parametrize("size", [*SIZES, ORIGINAL])
@pytest.mark.parametrize("harm", ["emptied", "changed", "lost"])
def test_a_damaged_file_is_told_and_heals_when_the_picture_comes_again(
    photos: Photos, size: str, harm: str
) -> None:
    digest = kept(photos)
    good, name = photos.sound(digest, size), file_of(digest, size)
    if harm == "lost":
        photos.files.remove(name)
    else:
        photos.files.write(name, b"" if harm == "emptied" else b"\xff\xd8 else \xff\xd9")
    assert photos.sound(digest, size) is None
    kept(photos)
    assert photos.sound(digest, size) == good
    assert check(photos) == []


def test_what_is_shown_is_drawn_anew_from_the_original_and_damage_is_set_aside(
    photos: Photos,
) -> None:
    digest = kept(photos)
    photos.files.write(file_of(digest, "view"), b"\xff\xd8 else \xff\xd9")
    assert check(photos) == []
    assert photos.sound(digest, "view") is not None
    for size in ("view", ORIGINAL):
        photos.files.write(file_of(digest, size), b"nothing that was")
    assert check(photos) == [digest]
    assert not photos.has(digest)
    assert photos.files.read(file_of(digest, "view") + ".damaged") == b"nothing that was"


def test_originals_are_deleted_and_so_is_all_of_a_photo(photos: Photos) -> None:
    digest, other = kept(photos), kept(photos, photo("png"))
    photos.files.write(file_of(digest, ORIGINAL), b"damaged")
    assert mend(photos, digest) is False  # set aside: it must go as well
    assert photos.drop_originals([digest, other]) == 2
    assert photos.sound(other, ORIGINAL) is None
    assert photos.has(other)
    photos.remove([digest])
    assert list(photos.digests()) == [other]
    photos.remove([other, "0" * 64])
    assert list(photos.files.names()) == []


def test_when_all_were_held_against_their_digests_is_known(photos: Photos) -> None:
    assert not photos.checked_within(60)
    kept(photos)
    photos.note_checked()
    assert photos.checked_within(60)
    assert not photos.checked_within(-1)


# A storage that fails ---------------------------------------------------------------------------


@pytest.fixture
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """The storage is asked again at once, whatever happened."""
    monkeypatch.setattr(photo_files, "LET_BE_S", 0.0)


@contextmanager
def broken(storage: ObjectStorage, fault: str, after: int = 0) -> Iterator[None]:
    """While this goes wrong; a slow storage is waited for a second instead of ten or thirty."""
    with pytest.MonkeyPatch.context() as patched:
        if fault in ("slow", "drip"):
            patched.setattr(photo_files, "READ_WITHIN_S", 1.0)
            patched.setattr(photo_files, "WRITE_WITHIN_S", 1.0)
        storage.break_down(fault, after)
        yield
    storage.break_down("")


SAID = {
    "down": AWAY, "slow": AWAY, "cut": AWAY, "half": HALF, "denied": REFUSED, "full": AWAY,
}  # fmt: skip


@pytest.mark.usefixtures("patient")
@pytest.mark.parametrize("fault", SAID)
def test_a_photo_that_the_storage_does_not_take_is_refused_in_words(
    storage: ObjectStorage, stored: Photos, fault: str
) -> None:
    with broken(storage, fault), pytest.raises(FieldError) as error:
        keep(stored, io.BytesIO(CONTENT), "seal.jpg")
    assert error.value.field == "photos"
    assert error.value.message == f"{SAID[fault]} “seal.jpg” was not stored."
    assert storage.objects == {}
    assert stored.has(kept(stored)), "once it is back, the same picture is kept"


@pytest.mark.usefixtures("patient")
@pytest.mark.parametrize("after", [5, 12, 19, 26])
@pytest.mark.parametrize("fault", ["down", "half", "denied"])
def test_nothing_counts_as_kept_until_all_of_it_is(
    storage: ObjectStorage, stored: Photos, fault: str, after: int
) -> None:
    digest = ""
    with broken(storage, fault, after), suppress(FieldError):
        digest = kept(stored)
    if digest:
        assert all(stored.sound(digest, size) is not None for size in (*SIZES, ORIGINAL))
    again = kept(stored)
    assert all(stored.sound(again, size) is not None for size in (*SIZES, ORIGINAL))
    assert check(stored) == []


@pytest.mark.usefixtures("patient")
@pytest.mark.parametrize("fault", ["down", "slow", "cut", "denied", "drip"])
def test_a_storage_that_is_away_has_lost_nothing(
    storage: ObjectStorage, stored: Photos, fault: str
) -> None:
    digest = kept(stored)
    before = dict(storage.objects)
    for ask in (lambda: stored.sound(digest, "view"), lambda: mend(stored, digest)):
        with broken(storage, fault), pytest.raises(Unavailable):
            ask()
    with broken(storage, fault):
        assert stored.seems_there(digest)
    assert storage.objects == before, "nothing was set aside or drawn anew"
    assert stored.sound(digest, "view") is not None


def test_pages_do_not_wait_for_a_storage_again_and_again(
    storage: ObjectStorage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(photo_files, "READ_WITHIN_S", 1.0)
    now_s = [0.0]
    files = StoredFiles(storage.where, lambda: now_s[0])
    photos = Photos(files)
    storage.break_down("slow")
    with pytest.raises(Unavailable):
        files.size("ab/one")
    asked = len(storage.asked)
    began_s = time.perf_counter()
    for number in range(200):
        assert photos.seems_there(f"{number:064}")
    assert time.perf_counter() - began_s < 1
    assert len(storage.asked) == asked
    storage.break_down("")
    now_s[0] += photo_files.LET_BE_S
    assert files.size("ab/one") == 0
    assert len(storage.asked) > asked


def test_a_slow_storage_holds_only_some_threads(
    storage: ObjectStorage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(photo_files, "READ_WITHIN_S", 4.0)
    monkeypatch.setattr(photo_files, "WAIT_FOR_TURN_S", 0.2)
    files = StoredFiles(storage.where)
    assert files.size("ab/one") == 0
    storage.break_down("slow")
    said: list[float] = []

    def ask(number: int) -> None:
        began_s = time.perf_counter()
        with pytest.raises(Unavailable):
            files.size(f"ab/{number}")
        said.append(time.perf_counter() - began_s)

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(24)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len([s for s in said if s > 2]) <= photo_files.AT_ONCE


def test_a_bucket_that_is_not_there_is_said(storage: ObjectStorage) -> None:
    place = PhotoStorage("s3://another", storage.where.endpoint, storage.where.key, "a secret")
    with pytest.raises(FieldError, match="refuses this program"):
        kept(Photos(StoredFiles(place)))


def test_wrong_keys_are_said(storage: ObjectStorage) -> None:
    place = PhotoStorage(f"s3://{BUCKET}", storage.where.endpoint, "another", "secret")
    with pytest.raises(FieldError, match="Check its address and its keys"):
        kept(Photos(StoredFiles(place)))


# Settings ---------------------------------------------------------------------------------------


@pytest.fixture
def say(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Settings]:
    """What the settings are where the environment says so much of photos."""

    def said(address: str, **more: str) -> Settings:
        monkeypatch.setenv("BATHKEEPER_PHOTOS", address)
        for name, value in more.items():
            monkeypatch.setenv(f"BATHKEEPER_PHOTOS_{name}", value)
        return from_environment()

    return said


def test_photos_lie_in_the_data_folder_unless_something_else_is_set(
    say: Callable[..., Settings], tmp_path: Path
) -> None:
    assert say("").photos is None
    local = photos_at(Settings(data_dir=tmp_path))
    assert isinstance(local, PhotoFolder)
    assert local.root == tmp_path / "photos"


def test_a_storage_is_set_by_its_address_server_and_keys(say: Callable[..., Settings]) -> None:
    found = say(
        "s3://room-photos/larkmoor/", ENDPOINT="http://127.0.0.1:9000/", KEY="k", SECRET="s"
    )
    assert found.photos == PhotoStorage(
        "s3://room-photos/larkmoor", "http://127.0.0.1:9000", "k", "s"
    )
    assert "'s'" not in repr(found)


@pytest.mark.parametrize(
    "address, more, said",
    [
        ("/mnt/photos", {}, "BATHKEEPER_PHOTOS is not the address of an object storage"),
        ("memory://photos", {}, "Give it as s3://bucket/folder"),
        ("s3://", {}, "BATHKEEPER_PHOTOS is not"),
        ("s3://Bucket", {}, "BATHKEEPER_PHOTOS is not"),
        ("s3://bucket/../other", {}, "BATHKEEPER_PHOTOS is not"),
        ("s3://bucket/a b", {}, "BATHKEEPER_PHOTOS is not"),
        ("s3://bucket", {"ENDPOINT": "storage.example"}, "BATHKEEPER_PHOTOS_ENDPOINT is not"),
        ("s3://bucket", {"ENDPOINT": "file:///etc"}, "BATHKEEPER_PHOTOS_ENDPOINT is not"),
        ("s3://bucket", {"KEY": "k"}, "BATHKEEPER_PHOTOS_SECRET is empty"),
        ("s3://bucket", {"SECRET": "topmost"}, "BATHKEEPER_PHOTOS_KEY is empty"),
    ],
)
def test_what_is_no_storage_is_refused_at_the_start(
    say: Callable[..., Settings], address: str, more: dict[str, str], said: str
) -> None:
    with pytest.raises(DomainError) as error:
        say(address, **more)
    assert said in str(error.value)
    assert "topmost" not in str(error.value)


@pytest.mark.parametrize("missing", ["s3fs", "fsspec"])
def test_without_its_library_the_start_says_how_to_add_it(
    monkeypatch: pytest.MonkeyPatch, missing: str
) -> None:
    find = photo_files.find_spec
    monkeypatch.setattr(
        photo_files, "find_spec", lambda name: None if name == missing else find(name)
    )
    with pytest.raises(DomainError, match="python3 -m app s3"):
        photos_at(Settings(photos=PhotoStorage("s3://bucket")))


# Backups, copies, doctor ------------------------------------------------------------------------


@pytest.fixture
def site(tmp_path: Path, storage: ObjectStorage) -> Settings:
    """A room on SQLite whose photos lie in the storage: one, that its log names."""
    settings = Settings(data_dir=tmp_path / "here", photos=storage.where)
    settings.data_dir.mkdir()
    store = new_store(settings.data_dir)
    furnish(store)
    bring_in(store, ROOM, [wash(1, id="p", extra={"photo": kept(photos_at(settings))})], NOW)
    store.close()
    return settings


def test_a_backup_takes_the_photos_of_the_storage_and_brings_them_back(
    site: Settings, storage: ObjectStorage, tmp_path: Path
) -> None:
    made = back_up(site.data_dir, tmp_path / "kept", NOW, photos_at(site))
    assert len(read(made).photos) == 4
    assert read(made).lost_photos == ()
    before = {key: content for key, (content, _) in storage.objects.items()}
    storage.objects.pop(next(key for key in before if key.endswith("-original")))
    view = next(key for key in before if key.endswith("-view.jpg"))
    storage.objects[view] = (b"damaged", storage.objects[view][1])
    restore(made, tmp_path / "new", photos=Photos(StoredFiles(storage.where)))
    assert {key: content for key, (content, _) in storage.objects.items()} == before
    assert not (tmp_path / "new" / "photos").exists()
    # Into a folder as well: a site may leave the storage.
    restore(made, tmp_path / "folder")
    assert check(PhotoFolder(tmp_path / "folder")) == []
    assert len(list(PhotoFolder(tmp_path / "folder").digests())) == 1


@pytest.mark.usefixtures("patient")
@pytest.mark.parametrize("fault", ["down", "denied"])
def test_without_the_storage_there_is_no_backup_and_no_restoring(
    site: Settings, storage: ObjectStorage, tmp_path: Path, fault: str
) -> None:
    photos = photos_at(site)
    made = back_up(site.data_dir, tmp_path / "kept", NOW, photos)
    storage.break_down(fault)
    with pytest.raises(Unavailable):
        back_up(site.data_dir, tmp_path / "kept", NOW + timedelta(hours=1), photos)
    assert backups(tmp_path / "kept") == [made]
    with pytest.raises(Unavailable):
        restore(made, tmp_path / "new", photos=photos)
    assert list((tmp_path / "new").iterdir()) == []


def test_doctor_says_how_the_storage_is(site: Settings, storage: ObjectStorage) -> None:
    def told() -> dict[str, tuple[bool, str]]:
        found = examination(site, NOW)
        return {one.name: (one.is_well, one.words) for one in found if one.name.startswith("Photo")}

    assert told() == {
        "Photo storage": (True, f"s3://{BUCKET}/rooms: takes writes."),
        "Photos": (True, "1, all sound."),
    }
    assert not [key for key in storage.objects if key.endswith(".probe")]
    gone = next(key for key in storage.objects if key.endswith("-view.jpg"))
    del storage.objects[gone]
    assert told()["Photos"][0] is False
    storage.break_down("denied")
    assert told() == {"Photo storage": (False, REFUSED)}


def test_a_room_is_copied_with_its_photos_out_of_a_folder_into_the_storage(
    site: Settings, storage: ObjectStorage, tmp_path: Path
) -> None:
    folder = tmp_path / "there"
    store, target = open_store(site.url), new_store(folder)
    upgrade(target)
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        there = Place(target, PhotoFolder(folder))
        done = copy_room(session, Place(store, photos_at(site)), there, room, NOW)
    assert (done.photos, done.lost) == (1, 0)
    files = PhotoFolder(folder).files
    local = {name: files.read(name) for name in files.names()}
    assert local == {
        key.removeprefix("rooms/"): content for key, (content, _) in storage.objects.items()
    }
    store.close()
    target.close()
