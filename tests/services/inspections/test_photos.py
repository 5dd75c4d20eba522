"""Photos: upright, stripped, bounded, once by content; what is no photo is refused in words."""

import io
import os
import struct
import subprocess
import sys
import threading
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image

from app.domain.errors import FieldError
from app.services.inspections import drawing, photos
from app.services.inspections.drawing import VIEW_PX
from app.services.inspections.photos import LARGEST_BYTES, check, keep, shape
from app.store.photos import PhotoFolder
from tests.cameras import CAMERAS, ORDERS, PLACE
from tests.photos import FORMATS, HEIC_START, photo, upright
from tests.running import ROOT

CORNERS = {(0.2, 0.2): "red", (0.8, 0.2): "green", (0.2, 0.8): "blue", (0.8, 0.8): "white"}


@pytest.fixture
def folder(tmp_path: Path) -> PhotoFolder:
    """An empty folder of photos."""
    return PhotoFolder(tmp_path)


def colour(pixel: tuple[int, int, int]) -> str:
    red, green, blue = pixel
    if min(pixel) > 180:
        return "white"
    return {red: "red", green: "green", blue: "blue"}[max(pixel)]


def files(folder: PhotoFolder) -> list[Path]:
    return [path for path in folder.root.rglob("*") if path.is_file()]


HEIC = pytest.param("heic", marks=pytest.mark.oracle)  # the decoder is an extra


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", [*FORMATS, HEIC])
def test_a_photo_stands_upright_whatever_way_the_camera_was_held(
    folder: PhotoFolder, kind: str, orientation: int
) -> None:
    # EXIF 2.32, tag 0x0112. These files are made by the image library.
    kept = keep(folder, io.BytesIO(photo(kind, orientation)))
    for size in ("view", "thumb"):
        with Image.open(folder.path(kept.photo, size)) as shown:
            assert shown.format == "JPEG"
            assert (shown.width, shown.height) == (320, 240)
            for (x, y), name in CORNERS.items():
                pixel = shown.getpixel((int(x * shown.width), int(y * shown.height)))
                assert isinstance(pixel, tuple)
                assert colour(pixel[:3]) == name, (size, x, y)  # type: ignore[arg-type]


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", CAMERAS)
def test_files_as_cameras_write_them_stand_upright_and_say_nothing_of_the_place(
    folder: PhotoFolder, kind: str, orientation: int, order: str
) -> None:
    content = CAMERAS[kind](orientation, order)
    assert content.count(PLACE) > 1
    with Image.open(io.BytesIO(content)) as given:  # the file is one that others read as meant
        assert given.getexif()[0x0112] == orientation
    kept = keep(folder, io.BytesIO(content))
    for size in ("view", "thumb"):
        shown = folder.path(kept.photo, size).read_bytes()
        assert PLACE not in shown
        assert b"Exif" not in shown
        with Image.open(io.BytesIO(shown)) as picture:
            assert (picture.width, picture.height) == (320, 240)
            for (x, y), name in CORNERS.items():
                pixel = picture.getpixel((int(x * 320), int(y * 240)))
                assert isinstance(pixel, tuple)
                assert colour(pixel[:3]) == name, (size, x, y)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", [*FORMATS, HEIC])
def test_what_the_camera_wrote_is_in_the_original_alone(folder: PhotoFolder, kind: str) -> None:
    content = photo(kind, 6)
    kept = keep(folder, io.BytesIO(content))
    for size in ("view", "thumb"):
        shown = folder.path(kept.photo, size).read_bytes()
        assert b"Exif" not in shown
        assert b"Larkmoor" not in shown
        with Image.open(io.BytesIO(shown)) as picture:
            assert not picture.getexif()
    assert folder.path(kept.photo, "original").read_bytes() == content


def test_large_photos_are_bounded_and_their_shape_is_kept(folder: PhotoFolder) -> None:
    kept = keep(folder, io.BytesIO(photo("jpg", 6, 4000, 3000)))
    assert shape(folder, kept.photo) == (VIEW_PX, 1500)


def test_the_same_photo_twice_is_kept_once(folder: PhotoFolder) -> None:
    first = keep(folder, io.BytesIO(photo()))
    count = len(files(folder))
    again = keep(folder, io.BytesIO(photo()))
    assert (first.is_new, again.is_new) == (True, False)
    assert first.photo == again.photo
    assert len(files(folder)) == count == 4


def test_the_original_is_not_kept_where_the_site_says_so(folder: PhotoFolder) -> None:
    kept = keep(folder, io.BytesIO(photo()), keep_original=False)
    assert folder.has(kept.photo)
    assert not folder.path(kept.photo, "original").exists()
    keep(folder, io.BytesIO(photo("png")))
    assert folder.drop_originals(folder.digests()) == 1
    assert len(files(folder)) == 6


def bomb() -> bytes:
    """A PNG of 30 kB that would be 50000 by 50000 pixels."""

    def chunk(name: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + data))
        return struct.pack(">I", len(data)) + name + data + check

    header = struct.pack(">IIBBBBB", 50_000, 50_000, 8, 2, 0, 0, 0)
    body = zlib.compress(bytes(30_000_000), 9)
    signature = b"\x89PNG\r\n\x1a\n"
    return signature + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
BAD = {
    "text": (b"This is no picture at all.\n" * 50, "not a readable photo"),
    "svg": (SVG, "not a readable photo"),
    "empty": (b"", "empty"),
    "bomb": (bomb(), "50000 by 50000 pixels"),
    "cut jpeg": (photo("jpg")[:2500], "broken or cut off"),
    "cut png": (photo("png")[:400], "broken or cut off"),
    "cut webp": (photo("webp")[:400], "not stored"),
    "gif": (b"GIF89a" + bytes(60), "not a readable photo"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_no_photo_is_refused_in_words_and_not_stored(
    folder: PhotoFolder, name: str
) -> None:
    content, words = BAD[name]
    with pytest.raises(FieldError, match=words) as refused:
        keep(folder, io.BytesIO(content), "photo.jpg")
    assert refused.value.field == "photos"
    assert "“photo.jpg”" in refused.value.message
    assert files(folder) == []


@pytest.mark.oracle
def test_a_heic_photo_that_was_cut_off_is_refused_by_its_decoder(folder: PhotoFolder) -> None:
    assert photos.reads_heic()
    with pytest.raises(FieldError, match="not stored"):
        keep(folder, io.BytesIO(photo("heic")[:700]))
    assert files(folder) == []


@pytest.fixture
def without_heic(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """As after the set-up: the extra was not added."""
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    photos.reads_heic.cache_clear()
    yield
    photos.reads_heic.cache_clear()


@pytest.mark.usefixtures("without_heic")
def test_without_its_decoder_a_heic_photo_is_refused_with_what_to_do(folder: PhotoFolder) -> None:
    with pytest.raises(FieldError) as refused:
        keep(folder, io.BytesIO(HEIC_START + bytes(500)), "IMG_0007.HEIC")
    said = refused.value.message
    assert said.startswith("“IMG_0007.HEIC” is a HEIC photo, which this installation cannot read.")
    assert "Set the camera to JPEG (“Most compatible”) and take it again" in said
    assert "python3 -m app heic" in said
    assert files(folder) == []
    with pytest.raises(FieldError, match=r"not a readable photo: JPEG, PNG or WebP\."):
        keep(folder, io.BytesIO(b"This is no picture at all."))


class Endless(io.RawIOBase):
    """A file of 200 MB that counts what is read of it."""

    taken = 0

    def read(self, size: int = -1) -> bytes:
        """The next bytes."""
        size = min(size, 200 * 2**20 - self.taken)
        self.taken += size
        return bytes(size)


def test_a_file_of_200_mb_is_refused_while_it_is_read(folder: PhotoFolder) -> None:
    file = Endless()
    with pytest.raises(FieldError, match="larger than 25 MB"):
        keep(folder, file, "big.jpg")  # type: ignore[arg-type]
    assert file.taken <= LARGEST_BYTES + photos.BLOCK
    assert files(folder) == []


def test_transparent_places_become_white(folder: PhotoFolder) -> None:
    out = io.BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(out, "PNG")
    out.seek(0)
    kept = keep(folder, out)
    with Image.open(folder.path(kept.photo, "view")) as shown:
        assert shown.getpixel((20, 20)) == (255, 255, 255)


def test_only_two_are_decoded_at_once(folder: PhotoFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    lock, inside, most = threading.Lock(), 0, 0
    real = photos.draw

    def counted(content: bytes, formats: tuple[str, ...]) -> tuple[bytes, bytes]:
        nonlocal inside, most
        with lock:
            inside += 1
            most = max(most, inside)
        try:
            return real(content, formats)
        finally:
            with lock:
                inside -= 1

    monkeypatch.setattr(photos, "draw", counted)
    contents = []
    for i in range(8):
        out = io.BytesIO()
        upright(1200 + i, 900).save(out, "JPEG")
        contents.append(out.getvalue())
    threads = [threading.Thread(target=keep, args=(folder, io.BytesIO(c))) for c in contents]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most <= photos.DECODES_AT_ONCE
    assert len(files(folder)) == 32


def content_of(folder: PhotoFolder, digest: str) -> dict[str, bytes]:
    return {size: folder.path(digest, size).read_bytes() for size in ("view", "thumb", "original")}


def empty(path: Path) -> None:
    path.write_bytes(b"")


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-100])


def change_one_bit(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(bytes(content))


HARMS = [Path.unlink, empty, cut, change_one_bit]


@pytest.mark.parametrize("size", ["view", "thumb", "original"])
@pytest.mark.parametrize("harm", HARMS)
def test_a_damaged_photo_is_whole_when_the_same_comes_again(
    folder: PhotoFolder, size: str, harm: Callable[[Path], None]
) -> None:
    kept = keep(folder, io.BytesIO(photo()))
    before = content_of(folder, kept.photo)
    harm(folder.path(kept.photo, size))
    assert folder.sound(kept.photo, size) is None
    keep(folder, io.BytesIO(photo()))
    assert content_of(folder, kept.photo) == before


@pytest.mark.parametrize("size", ["view", "thumb"])
@pytest.mark.parametrize("harm", HARMS)
def test_the_check_draws_anew_what_the_original_still_has(
    folder: PhotoFolder, size: str, harm: Callable[[Path], None]
) -> None:
    digests = [keep(folder, io.BytesIO(photo(kind))).photo for kind in ("jpg", "png")]
    before = content_of(folder, digests[0])
    harm(folder.path(digests[0], size))
    assert check(folder) == []
    assert content_of(folder, digests[0]) == before


@pytest.mark.parametrize("harm", HARMS[1:])
def test_what_cannot_be_mended_is_named_and_set_aside(
    folder: PhotoFolder, harm: Callable[[Path], None]
) -> None:
    lone = keep(folder, io.BytesIO(photo()), keep_original=False).photo
    other = keep(folder, io.BytesIO(photo("png"))).photo
    harm(folder.path(lone, "view"))
    harm(folder.path(other, "original"))
    assert sorted(check(folder)) == sorted([lone, other])
    assert not folder.has(lone)
    assert folder.has(other)
    aside = folder.path(lone, "view")
    assert aside.with_name(f"{aside.name}.damaged").exists()
    assert keep(folder, io.BytesIO(photo())).is_new
    keep(folder, io.BytesIO(photo("png")))
    assert check(folder) == []


def test_a_photo_of_before_there_were_digests_gets_them(folder: PhotoFolder) -> None:
    kept = keep(folder, io.BytesIO(photo()), keep_original=False).photo
    folder.path(kept, "sums").unlink()
    assert check(folder) == []
    change_one_bit(folder.path(kept, "view"))
    assert check(folder) == [kept]


def test_half_a_file_of_a_program_that_was_killed_is_swept_up(folder: PhotoFolder) -> None:
    kept = keep(folder, io.BytesIO(photo())).photo
    old, new = (folder.path(kept, "view").with_name(name) for name in (".0a", ".0b"))
    for path in (old, new):
        path.write_bytes(b"half")
    os.utime(old, (0, 0))
    check(folder)
    assert (old.exists(), new.exists()) == (False, True)


def test_a_photo_is_on_the_disk_before_it_is_named(
    folder: PhotoFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """fsync(2): a file's name is on the disk once its folder is, too."""
    synced: list[str] = []
    real = os.fsync

    def noted(descriptor: int) -> None:
        synced.append(Path(f"/proc/self/fd/{descriptor}").readlink().name)
        real(descriptor)

    monkeypatch.setattr(os, "fsync", noted)
    kept = keep(folder, io.BytesIO(photo())).photo
    assert sum(name.startswith(".") for name in synced) == 4
    assert synced.count(kept[:2]) == 4
    assert "photos" in synced


COSTLY = {
    "png": 'Image.new("RGBA", (6000, 4900), (9, 99, 199, 128)).save(path, "PNG", compress_level=1)',
    "jpg": 'upright(9000, 9000).save(path, "JPEG", progressive=True, quality=60, subsampling=0)',
}
"""Pictures within the bounds of pixels whose decoder needs all of them at once."""
MAKE = "import sys; from PIL import Image; from tests.photos import upright; path = sys.argv[1]; {}"
KEEP = """
import resource, sys
from pathlib import Path
from app.services.inspections.photos import keep
from app.store.photos import PhotoFolder

def most_kb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

folder, before_kb = PhotoFolder(Path(sys.argv[2])), most_kb()
with open(sys.argv[1], "rb") as file:
    kept = keep(folder, file)
assert folder.has(kept.photo)
print(most_kb() - before_kb)
"""


def told(program: str, *arguments: Path) -> str:
    """What a program says that runs in a process of its own: the most that this one ever took, or
    took to make the picture, would hide what is measured."""
    command = [sys.executable, "-c", program, *map(str, arguments)]
    return subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout


@pytest.mark.slow
@pytest.mark.parametrize("kind", list(COSTLY))
def test_what_a_decoder_takes_is_not_the_servers(tmp_path: Path, kind: str) -> None:
    file = tmp_path / "costly"
    told(MAKE.format(COSTLY[kind]), file)
    assert int(told(KEEP, file, tmp_path / "kept")) < 60_000


def test_a_picture_that_takes_more_than_there_is_is_refused_in_words(
    folder: PhotoFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drawing, "WITHIN_S", 0.01)
    with pytest.raises(FieldError, match="needs more memory or time than one photo"):
        keep(folder, io.BytesIO(photo()), "large.jpg")
    assert files(folder) == []


def test_the_process_that_decodes_has_a_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    program = (
        "import resource, sys; from app.services.inspections import drawing; drawing._limit();"
        "sys.exit(resource.getrlimit(resource.RLIMIT_AS)[0] != drawing.MEMORY_BYTES)"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
    killed = subprocess.CompletedProcess([], -9, b"", b"")
    monkeypatch.setattr(drawing.subprocess, "run", lambda *_, **__: killed)
    with pytest.raises(drawing.TooMuch):
        drawing.draw(photo(), ("JPEG",))
