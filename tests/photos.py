"""Photos made by the image library; tests/cameras.py puts files together without its writers."""

import io
from typing import Any

from PIL import Image

from app.services.inspections.photos import reads_heic

# What a viewer must do to see each orientation upright (TIFF 6.0, tag 274), undone here.
_UNDO = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
FORMATS = {"jpg": "JPEG", "png": "PNG", "webp": "WEBP"}
HEIC_START = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"
"""The box with which a HEIC file begins (ISO/IEC 14496-12, 23008-12)."""


def upright(width: int = 320, height: int = 240) -> Image.Image:
    """Red top left, green top right, blue bottom left, white bottom right."""
    picture = Image.new("RGB", (width, height), "white")
    picture.paste((220, 20, 20), (0, 0, width // 2, height // 2))
    picture.paste((20, 180, 20), (width // 2, 0, width, height // 2))
    picture.paste((20, 20, 220), (0, height // 2, width // 2, height))
    return picture


def turned(orientation: int, width: int = 320, height: int = 240) -> Image.Image:
    """The picture as it lies in a file of that orientation."""
    picture, turn = upright(width, height), _UNDO[orientation]
    return picture if turn is None else picture.transpose(turn)


def photo(kind: str = "jpg", orientation: int = 1, width: int = 320, height: int = 240) -> bytes:
    """A file of a camera held in that orientation, with a place in its EXIF."""
    assert kind != "heic" or reads_heic()  # which registers the writer as well
    picture = turned(orientation, width, height)
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "Larkmoor"
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[2] = (52.0, 13.0, 0.0)
    out = io.BytesIO()
    more: dict[str, Any] = {"quality": 90} if kind != "png" else {}
    picture.save(out, FORMATS.get(kind, "HEIF"), exif=exif.tobytes(), **more)
    return out.getvalue()
