"""Decoding one photo, in a process of its own that the system holds to a limit.

`python -m app.services.inspections.drawing FORMAT ...` reads a file from its standard input and
writes the picture to look at and its thumbnail. What a decoder takes of memory and time, and what
it does on a file made to break it, is not the server's: a progressive JPEG or a PNG within the
bounds of pixels takes more than 300 MB.
"""

import io
import struct
import subprocess
import sys
from importlib import import_module
from pathlib import Path

from PIL import Image, ImageOps, UnidentifiedImageError

MEMORY_BYTES = 640 * 2**20
"""Address space of the process, the interpreter's own included."""
WITHIN_S = 60
VIEW_PX = 2000  # half of a 12-megapixel photo, so that the decoder can halve it
THUMB_PX = 360
DRAWN, BROKEN, UNKNOWN, TOO_MUCH = 0, 3, 4, 5
_LENGTHS = struct.Struct(">II")
_ROOT = Path(__file__).parents[3]
_FAULTS = (
    OSError, SyntaxError, ValueError, EOFError, struct.error, RuntimeError,
    OverflowError, KeyError, IndexError, TypeError,
)  # fmt: skip


class Unreadable(Exception):
    """It is no picture of these kinds."""


class Broken(Exception):
    """It is such a picture, but not whole."""


class TooMuch(Exception):
    """It takes more memory or time than there is for one."""


def draw(content: bytes, formats: tuple[str, ...]) -> tuple[bytes, bytes]:
    """The picture to look at and its thumbnail, as JPEG without anything but the pixels.

    Raises:
        Unreadable, Broken, TooMuch: it cannot be drawn.
    """
    command = [sys.executable, "-m", __name__, *formats]
    try:
        done = subprocess.run(  # noqa: S603 - our own module
            command, input=content, capture_output=True, cwd=_ROOT, timeout=WITHIN_S, check=False
        )
    except subprocess.TimeoutExpired:
        raise TooMuch from None
    if done.returncode == DRAWN:
        first, second = _LENGTHS.unpack_from(done.stdout)
        start = _LENGTHS.size
        return done.stdout[start : start + first], done.stdout[start + first :][:second]
    if done.returncode in (BROKEN, UNKNOWN):
        raise Broken if done.returncode == BROKEN else Unreadable
    raise TooMuch  # its limit, or the system, ended it


def drawn(picture: Image.Image) -> tuple[bytes, bytes]:
    """As `draw`, of a picture that is open."""
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


def _limit() -> None:
    if sys.platform != "win32":
        import resource  # noqa: PLC0415 - there is none on Windows

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))


def main(formats: list[str]) -> int:
    """Draw what comes in; the exit code says what is wrong with it."""
    _limit()
    Image.MAX_IMAGE_PIXELS = None  # who starts this has looked at the header
    try:
        if "HEIF" in formats:
            import_module("pillow_heif").register_heif_opener(thumbnails=False)
        with Image.open(io.BytesIO(sys.stdin.buffer.read()), formats=formats) as picture:
            view, thumb = drawn(picture)
    except MemoryError:
        return TOO_MUCH
    except UnidentifiedImageError:
        return UNKNOWN
    except _FAULTS:
        return BROKEN
    sys.stdout.buffer.write(_LENGTHS.pack(len(view), len(thumb)) + view + thumb)
    return DRAWN


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
