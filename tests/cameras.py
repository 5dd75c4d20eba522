"""Files as cameras write them, put together byte by byte without the image library's writers.

EXIF by CIPA DC-008 (EXIF 2.32) and TIFF 6.0: both byte orders, a maker's note, a small second
picture with an orientation of its own, a place, an application segment and what phones append
behind the picture. The pixels alone are compressed by the image library.
"""

import io
import struct
import zlib

from tests.photos import turned

PLACE = b"Larkmoor hall"
ORDERS = {"big": (">", b"MM"), "little": ("<", b"II")}


def exif(orientation: int, order: str = "big") -> bytes:
    """A TIFF block: orientation, maker, a maker's note, a place, a second picture."""
    mark, letters = ORDERS[order]
    heap = bytearray()

    def entry(at: int, tag: int, kind: int, count: int, value: bytes) -> bytes:
        if len(value) <= 4:
            return struct.pack(f"{mark}HHI", tag, kind, count) + value.ljust(4, b"\0")
        place = at + len(heap)
        heap.extend(value + b"\0" * (len(value) % 2))
        return struct.pack(f"{mark}HHII", tag, kind, count, place)

    def short(value: int) -> bytes:
        return struct.pack(f"{mark}H", value)

    def long(value: int) -> bytes:
        return struct.pack(f"{mark}I", value)

    def folder(entries: list[bytes], following: int) -> bytes:
        return short(len(entries)) + b"".join(entries) + long(following)

    main_at, exif_at, place_at, small_at, heap_at = 8, 100, 200, 300, 400
    degrees = struct.pack(f"{mark}6I", 52, 1, 13, 1, 30, 1)
    small = b"\xff\xd8\xff\xd9"
    parts = {
        main_at: folder([
            entry(heap_at, 0x010F, 2, len(PLACE) + 1, PLACE + b"\0"),
            entry(heap_at, 0x0112, 3, 1, short(orientation)),
            entry(heap_at, 0x8769, 4, 1, long(exif_at)),
            entry(heap_at, 0x8825, 4, 1, long(place_at)),
        ], small_at),
        exif_at: folder([entry(heap_at, 0x927C, 7, 2049, b"NOTE\0" + bytes(range(256)) * 7
                               + PLACE.ljust(252, b"\xff"))], 0),
        place_at: folder([
            entry(heap_at, 1, 2, 2, b"N\0"), entry(heap_at, 2, 5, 3, degrees),
        ], 0),
        small_at: folder([
            entry(heap_at, 0x0112, 3, 1, short(1 + orientation % 8)),
            entry(heap_at, 0x0201, 4, 1, long(heap_at + 4000)),
            entry(heap_at, 0x0202, 4, 1, long(len(small))),
        ], 0),
    }  # fmt: skip
    block = bytearray(heap_at + 4000 + len(small))
    block[0:8] = letters + short(42) + long(main_at)
    for at, content in parts.items():
        block[at : at + len(content)] = content
    block[heap_at : heap_at + len(heap)] = heap
    block[heap_at + 4000 :] = small
    return bytes(block)


def camera_jpeg(orientation: int, order: str = "big") -> bytes:
    """EXIF and another segment in front of the picture; a film and a place behind its end."""
    plain = _encoded(orientation, "JPEG")
    body = b"Exif\0\0" + exif(orientation, order)
    segments = b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body
    segments += b"\xff\xed" + struct.pack(">H", len(PLACE) + 2) + PLACE
    return plain[:2] + segments + plain[2:] + b"\0\0\0\x18ftypmp42" + PLACE * 40


def camera_png(orientation: int, order: str = "big") -> bytes:
    """The eXIf chunk of PNG's third edition, and a text."""
    plain = _encoded(orientation, "PNG")
    header = 8 + 25
    return (
        plain[:header]
        + _chunk(b"eXIf", exif(orientation, order))
        + _chunk(b"tEXt", b"Comment\0" + PLACE)
        + plain[header:]
    )


def camera_webp(orientation: int, order: str = "big") -> bytes:
    """An extended WebP: VP8X with the EXIF flag, the picture, EXIF, XMP."""
    plain = _encoded(orientation, "WEBP")
    width, height = turned(orientation).size
    flags = bytes([0x08 | 0x04, 0, 0, 0])
    extended = flags + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    body = b"WEBP" + _riff(b"VP8X", extended) + plain[12:]
    body += _riff(b"EXIF", exif(orientation, order)) + _riff(b"XMP ", b"<x>" + PLACE + b"</x>")
    return b"RIFF" + struct.pack("<I", len(body)) + body


CAMERAS = {"jpg": camera_jpeg, "png": camera_png, "webp": camera_webp}


def _encoded(orientation: int, form: str) -> bytes:
    out = io.BytesIO()
    turned(orientation).save(out, form)
    return out.getvalue()


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _riff(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
