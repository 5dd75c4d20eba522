"""Photo files in the data folder, each under the SHA-256 of its content.

What is made of a photo (`SIZES`) has its own digests beside it, so that a file that was emptied,
cut or changed on the disk is told from a sound one. Damaged files are set aside, never shown.
"""

import hashlib
import json
import os
import uuid
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from tempfile import NamedTemporaryFile

SIZES = ("view", "thumb")
ORIGINAL = "original"
SUMS = "sums"
SET_ASIDE = ".damaged"
CHECKED = ".checked"
LEFT_OVER_S = 3600
_ENDINGS = {ORIGINAL: "", SUMS: ".json"}
_JPEG_BEGINS, _JPEG_ENDS = b"\xff\xd8", b"\xff\xd9"


class PhotoFolder:
    """The folder of photos: `ab/<digest>-view.jpg`, `-thumb.jpg`, `-sums.json`, `-original`."""

    def __init__(self, data_dir: Path) -> None:
        self.root = data_dir / "photos"

    def path(self, digest: str, size: str) -> Path:
        """Where a size of a photo lies, whether or not it is there."""
        return self.root / digest[:2] / f"{digest}-{size}{_ENDINGS.get(size, '.jpg')}"

    def has(self, digest: str) -> bool:
        """Whether the photo can be shown, by a look at the folder: files that are not empty."""
        return all(self._bytes(digest, size) for size in SIZES)

    def sound(self, digest: str, size: str) -> bytes | None:
        """The content of a size, held against its digest; None where it is gone or damaged."""
        try:
            content = self.path(digest, size).read_bytes()
        except FileNotFoundError:
            return None
        if size == ORIGINAL:
            return content if _sum(content) == digest else None
        if (known := self._sums(digest).get(size)) is not None:
            return content if _sum(content) == known else None
        # Kept before there were digests of it: whole, as far as its two ends say.
        is_whole = content.startswith(_JPEG_BEGINS) and content.endswith(_JPEG_ENDS)
        return content if is_whole else None

    def write_shown(self, digest: str, shown: Mapping[str, bytes]) -> None:
        """Store what is made of a photo, with its digests; what lay there is replaced."""
        for size, content in shown.items():
            self.write(digest, size, content)
        self._note(digest, shown)

    def note_sums(self, digest: str) -> None:
        """Note the digests of a photo that was kept before there were any, as it lies there."""
        if not self.path(digest, SUMS).exists():
            self._note(digest, {size: self.path(digest, size).read_bytes() for size in SIZES})

    def _note(self, digest: str, shown: Mapping[str, bytes]) -> None:
        sums = {size: _sum(content) for size, content in shown.items()}
        self.write(digest, SUMS, json.dumps(sums).encode())

    def write(self, digest: str, size: str, content: bytes) -> None:
        """Store a size whole or not at all, on the disk before this ends."""
        path = self.path(digest, size)
        is_new = not path.parent.exists()
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_name(f".{uuid.uuid4().hex}")
        try:
            with beside.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
        sync_folder(path.parent)
        if is_new:
            sync_folder(self.root)
            sync_folder(self.root.parent)

    def set_aside(self, digest: str, size: str) -> None:
        """Take a damaged file out of use; somebody may still look at it."""
        path = self.path(digest, size)
        if path.exists():
            path.replace(path.with_name(path.name + SET_ASIDE))

    def digests(self) -> Iterator[str]:
        """The photos that anything is kept of, in their order."""
        for folder in sorted(self.root.glob("??")):
            yield from sorted({path.name[:64] for path in folder.glob(f"{folder.name}*-*")})

    def checked_within(self, seconds: float) -> bool:
        """Whether a server held all of them against their digests since then."""
        noted = self.root / CHECKED
        if not noted.exists():
            return False
        return noted.stat().st_mtime > self._clock_s() - seconds

    def note_checked(self) -> None:
        """Note that all of them were held against their digests just now."""
        if self.root.is_dir():
            (self.root / CHECKED).touch()

    def _clock_s(self) -> float:
        """The folder's own clock, which all servers share."""
        with NamedTemporaryFile(dir=self.root) as new:
            return Path(new.name).stat().st_mtime

    def sweep(self) -> int:
        """Delete what a program that was killed left half written; how many files."""
        if not self.root.is_dir():
            return 0
        latest_s = self._clock_s() - LEFT_OVER_S
        found = [path for path in self.root.glob("??/.*") if path.stat().st_mtime < latest_s]
        for path in found:
            path.unlink(missing_ok=True)
        return len(found)

    def remove(self, digests: Iterable[str]) -> None:
        """Delete all that is kept of photos, damaged files too."""
        for digest in digests:
            for path in self.root.glob(f"{digest[:2]}/{digest}-*"):
                path.unlink(missing_ok=True)

    def drop_originals(self, digests: Iterable[str]) -> int:
        """Delete originals, which hold where and with what they were taken; how many."""
        found = [
            path
            for digest in digests
            for path in self.root.glob(f"{digest[:2]}/{digest}-{ORIGINAL}*")
        ]
        for path in found:
            path.unlink(missing_ok=True)
        return len(found)

    def _bytes(self, digest: str, size: str) -> int:
        try:
            return self.path(digest, size).stat().st_size
        except FileNotFoundError:
            return 0

    def _sums(self, digest: str) -> Mapping[str, str]:
        try:
            found = json.loads(self.path(digest, SUMS).read_bytes())
        except (FileNotFoundError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}


def _sum(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def sync_folder(folder: Path) -> None:
    """Have a name in a folder on the disk; Windows has no such call."""
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except PermissionError:
        return
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
