"""Photos: looked at, turned upright, stripped of what the camera wrote, bounded, kept by content.

Memory is bounded: a file is refused by its size, a picture by the pixels that its header gives,
and only so many are decoded at once.
"""

import hashlib
import io
import struct
import threading
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from typing import BinaryIO

from PIL import Image, ImageOps, UnidentifiedImageError

from app.domain.errors import FieldError, NotFound
from app.store.photos import ORIGINAL, SIZES, PhotoFolder

FORMATS = ("JPEG", "PNG", "WEBP")
LARGEST_BYTES = 25 * 1024 * 1024
MOST_PIXELS = {"JPEG": 110_000_000}  # a JPEG is decoded at a fraction of its size
MOST_PIXELS_ELSE = 30_000_000
VIEW_PX = 2000  # half of a 12-megapixel photo, so that the decoder can halve it
THUMB_PX = 360
DECODES_AT_ONCE = 2
BLOCK = 1 << 20
BROKEN = (
    OSError, SyntaxError, ValueError, EOFError, struct.error, RuntimeError, MemoryError,
    OverflowError, KeyError, IndexError, TypeError,
)  # fmt: skip

Image.MAX_IMAGE_PIXELS = None  # the header is held against MOST_PIXELS instead
HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1")  # ISO/IEC 23008-12
_decoding = threading.BoundedSemaphore(DECODES_AT_ONCE)


@dataclass(frozen=True)
class Kept:
    """A photo in the folder; `is_new` is false where it was there already."""

    photo: str
    is_new: bool


def keep(
    folder: PhotoFolder, file: BinaryIO, name: str = "", *, keep_original: bool = True
) -> Kept:
    """Keep a photo: JPEG, PNG, WebP, and HEIC where its decoder is. The same content is kept once.

    Raises:
        FieldError: it is too large, no such picture, or broken; nothing is stored.
    """
    content, called = _read(file), f"“{name[:60]}”" if name else "The file"
    if content is None:
        megabytes = LARGEST_BYTES // 2**20
        raise FieldError("photos", f"{called} is larger than {megabytes} MB. It was not stored.")
    if not content:
        raise FieldError("photos", f"{called} is empty. It was not stored.")
    digest = hashlib.sha256(content).hexdigest()
    if folder.has(digest):
        return Kept(digest, False)
    with _decoding:
        shown = _sizes(content, called)
    for size, picture in zip(SIZES, shown, strict=True):
        folder.write(digest, size, picture)
    if keep_original:
        folder.write(digest, ORIGINAL, content)
    return Kept(digest, True)


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


def _sizes(content: bytes, called: str) -> tuple[bytes, bytes]:
    try:
        formats = _formats_for(content, called)
        with Image.open(io.BytesIO(content), formats=formats) as picture:
            _check_pixels(picture, called)
            return _drawn(picture)
    except UnidentifiedImageError:
        message = f"{called} is no photo that can be read: {readable()}."
        raise FieldError("photos", f"{message} It was not stored.") from None
    except FieldError:
        raise
    except BROKEN:
        message = f"{called} is broken or cut off. Take or choose the photo again."
        raise FieldError("photos", f"{message} It was not stored.") from None


def _check_pixels(picture: Image.Image, called: str) -> None:
    kind = "JPEG" if picture.format in ("JPEG", "MPO") else str(picture.format)
    most = MOST_PIXELS.get(kind, MOST_PIXELS_ELSE)
    if picture.width * picture.height > most:
        message = (
            f"{called} has {picture.width} by {picture.height} pixels; at most "
            f"{most // 1_000_000} million are accepted. It was not stored."
        )
        raise FieldError("photos", message)


def _drawn(picture: Image.Image) -> tuple[bytes, bytes]:
    """The picture to look at and its thumbnail, as JPEG without anything but the pixels."""
    scale = min(1.0, VIEW_PX / max(picture.size))
    picture.draft("RGB", (int(picture.width * scale), int(picture.height * scale)))
    picture.thumbnail((VIEW_PX, VIEW_PX), reducing_gap=2.0)
    upright = ImageOps.exif_transpose(picture)
    if upright.mode != "RGB":
        upright = _on_white(upright)
    view = _jpeg(upright, 85)
    upright.thumbnail((THUMB_PX, THUMB_PX), reducing_gap=2.0)
    return view, _jpeg(upright, 80)


def _on_white(picture: Image.Image) -> Image.Image:
    """What is transparent becomes white, as on paper."""
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        seen = picture.convert("RGBA")
        ground = Image.new("RGB", seen.size, "white")
        ground.paste(seen, mask=seen.getchannel("A"))
        return ground
    return picture.convert("RGB")


def _jpeg(picture: Image.Image, quality: int) -> bytes:
    # A fresh picture of the pixels alone: no EXIF, no location, no comment, no profile.
    plain = Image.frombytes("RGB", picture.size, picture.tobytes())
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=quality, optimize=False, progressive=False)
    return out.getvalue()


def shape(folder: PhotoFolder, digest: str) -> tuple[int, int]:
    """Width and height of a kept photo as it is shown, in pixels.

    Raises:
        NotFound: its file is not in the folder.
    """
    path = folder.path(digest, "view")
    if not path.is_file():
        raise NotFound("This photo is not in the data folder of this installation.")
    with Image.open(path) as picture:
        return picture.width, picture.height
