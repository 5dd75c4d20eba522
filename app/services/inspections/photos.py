"""Photos: looked at, turned upright, stripped of what the camera wrote, bounded, kept by content.

Memory is bounded: a file is refused by its size, a picture by the pixels that its header gives; it
is decoded in a process that has a limit, and only so many at once.
"""

import hashlib
import io
import struct
import threading
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from typing import BinaryIO

from PIL import Image, UnidentifiedImageError

from app.domain.errors import FieldError, NotFound, Unavailable
from app.services.inspections.drawing import Broken, TooMuch, Unreadable, draw
from app.store.photos import ORIGINAL, SIZES, Photos

FORMATS = ("JPEG", "PNG", "WEBP")
LARGEST_BYTES = 25 * 1024 * 1024
MOST_PIXELS = {"JPEG": 110_000_000}  # a JPEG is decoded at a fraction of its size
MOST_PIXELS_ELSE = 30_000_000
DECODES_AT_ONCE = 2
BLOCK = 1 << 20
BROKEN = (
    OSError, SyntaxError, ValueError, EOFError, struct.error, RuntimeError, MemoryError,
    OverflowError, KeyError, IndexError, TypeError,
)  # fmt: skip
"""What reading a header that is not whole raises."""

GONE = (
    "This photo is damaged, or missing from this installation's data folder or photo storage. Add "
    "the same picture again where it belongs, or restore it from a backup."
)
Image.MAX_IMAGE_PIXELS = None  # the header is held against MOST_PIXELS instead
HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1")  # ISO/IEC 23008-12
_costly = threading.Lock()
"""Held while a picture is decoded that its decoder cannot draw at a fraction of its size."""
_decoding = threading.BoundedSemaphore(DECODES_AT_ONCE)


@dataclass(frozen=True)
class Kept:
    """A photo that is kept; `is_new` is false where it was there already."""

    photo: str
    is_new: bool


def keep(folder: Photos, file: BinaryIO, name: str = "", *, keep_original: bool = True) -> Kept:
    """Keep a photo: JPEG, PNG, WebP, and HEIC where its decoder is. The same content is kept once.

    Raises:
        FieldError: it is too large, no such picture, or broken, or the storage does not take it;
            nothing is stored.
    """
    content, called = _read(file), f"“{name[:60]}”" if name else "The file"
    if content is None:
        megabytes = LARGEST_BYTES // 2**20
        raise FieldError("photos", f"{called} is larger than {megabytes} MB. It was not stored.")
    if not content:
        raise FieldError("photos", f"{called} is empty. It was not stored.")
    digest = hashlib.sha256(content).hexdigest()
    try:
        was_there = folder.has(digest)
        if not _is_shown_soundly(folder, digest):
            folder.write_shown(digest, _sizes(content, called))
        if keep_original and folder.sound(digest, ORIGINAL) is None:
            folder.write(digest, ORIGINAL, content)
    except Unavailable as trouble:
        raise FieldError("photos", f"{trouble} {called} was not stored.") from None
    return Kept(digest, not was_there)


def _is_shown_soundly(folder: Photos, digest: str) -> bool:
    return all(folder.sound(digest, size) is not None for size in SIZES)


def mend(folder: Photos, digest: str) -> bool:
    """Set damaged files of a photo aside, and draw what is shown anew from a sound original.

    Gives whether the photo is whole after it: what is shown, and the original where there is one.
    """
    original = folder.sound(digest, ORIGINAL)
    damaged = [size for size in SIZES if folder.sound(digest, size) is None]
    if damaged and original is not None:
        try:
            folder.write_shown(digest, _sizes(original, "The original"))
            damaged = []
        except FieldError:
            pass
    is_original_lost = original is None and folder.has_file(digest, ORIGINAL)
    for size in [*damaged, *([ORIGINAL] if is_original_lost else [])]:
        folder.set_aside(digest, size)
    if not damaged:
        folder.note_sums(digest)
    return not damaged and not is_original_lost


def check(folder: Photos, pause: Callable[[], object] = lambda: None) -> list[str]:
    """Hold all photos against their digests, mend what can be, and give those that cannot.

    `pause` is called after each photo, so that the disk is others' as well.
    """
    folder.sweep()
    lost = []
    for digest in folder.digests():
        if not (mend(folder, digest) and folder.has(digest)):
            lost.append(digest)
        pause()
    return lost


def _read(file: BinaryIO) -> bytes | None:
    """The whole file; None as soon as it is larger than what is kept."""
    blocks, total = [], 0
    while block := file.read(BLOCK):
        total += len(block)
        if total > LARGEST_BYTES:
            return None
        blocks.append(block)
    return b"".join(blocks)


@cache
def reads_heic() -> bool:
    """Whether the optional decoder of HEIC is installed; the first call brings it in."""
    try:
        decoder = import_module("pillow_heif")
    except ImportError:
        return False
    decoder.register_heif_opener(thumbnails=False)
    return True


def readable() -> str:
    """The kinds of photos that can be kept, for people."""
    return "JPEG, PNG, WebP or HEIC" if reads_heic() else "JPEG, PNG or WebP"


def _formats_for(content: bytes, called: str) -> tuple[str, ...]:
    is_heic = content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS
    if is_heic and not reads_heic():
        raise FieldError(
            "photos",
            f"{called} is a HEIC photo, which this installation cannot read. Set the camera to "
            "JPEG (“Most compatible”) and take it again, or add the decoder: python3 -m app heic. "
            "It was not stored.",
        )
    return (*FORMATS, "HEIF") if is_heic else FORMATS


def _sizes(content: bytes, called: str) -> dict[str, bytes]:
    """What is shown of a photo: decoded in a process of its own, once its header was looked at."""
    formats = _formats_for(content, called)
    try:
        with Image.open(io.BytesIO(content), formats=formats) as picture:
            _check_pixels(picture, called)
            is_costly = picture.format != "JPEG" or "progressive" in picture.info
        with _decoding, _costly if is_costly else nullcontext():
            shown = draw(content, formats)
    except (UnidentifiedImageError, Unreadable):
        message = f"{called} is not a readable photo: {readable()}."
        raise FieldError("photos", f"{message} It was not stored.") from None
    except TooMuch:
        message = f"{called} needs more memory or time than one photo may take."
        advice = "Save it smaller, or as a plain JPEG. It was not stored."
        raise FieldError("photos", f"{message} {advice}") from None
    except (Broken, *BROKEN):
        message = f"{called} is broken or cut off. Take or choose the photo again."
        raise FieldError("photos", f"{message} It was not stored.") from None
    return dict(zip(SIZES, shown, strict=True))


def _check_pixels(picture: Image.Image, called: str) -> None:
    kind = "JPEG" if picture.format in ("JPEG", "MPO") else str(picture.format)
    most = MOST_PIXELS.get(kind, MOST_PIXELS_ELSE)
    if picture.width * picture.height > most:
        message = (
            f"{called} has {picture.width} by {picture.height} pixels; at most "
            f"{most // 1_000_000} million are accepted. It was not stored."
        )
        raise FieldError("photos", message)


def shape(folder: Photos, digest: str) -> tuple[int, int]:
    """Width and height of a kept photo as it is shown, in pixels.

    Raises:
        NotFound: its file is gone or damaged.
        Unavailable: the storage does not answer.
    """
    content = folder.sound(digest, "view")
    if content is None:
        raise NotFound(GONE)
    with Image.open(io.BytesIO(content)) as picture:
        return picture.width, picture.height
