"""Photo files, each under the SHA-256 of its content: in the data folder, or in object storage.

What is made of a photo (`SIZES`) has its own digests beside it, so that a file that was emptied,
cut or changed where it lies is told from a sound one. Damaged files are set aside, never shown.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from itertools import groupby
from pathlib import Path

from app.config import Settings
from app.domain.errors import Unavailable
from app.store.photo_files import Files, LocalFiles, stored_files

SIZES = ("view", "thumb")
ORIGINAL = "original"
SUMS = "sums"
SET_ASIDE = ".damaged"
CHECKED = ".checked"
_ENDINGS = {ORIGINAL: "", SUMS: ".json"}
_JPEG_BEGINS, _JPEG_ENDS = b"\xff\xd8", b"\xff\xd9"


class Photos:
    """Photos, wherever they lie: `ab/<digest>-view.jpg`, `-thumb.jpg`, `-sums.json`, `-original`.

    Whatever asks a storage that does not answer raises `Unavailable`.
    """

    def __init__(self, files: Files) -> None:
        self.files = files

    def has(self, digest: str) -> bool:
        """Whether the photo can be shown, by a look at its files: they are not empty."""
        return all(self.files.size(file_of(digest, size)) for size in SIZES)

    def seems_there(self, digest: str) -> bool:
        """The same for a page: a storage that does not answer has lost nothing."""
        try:
            return self.has(digest)
        except Unavailable:
            return True

    def has_file(self, digest: str, size: str) -> bool:
        """Whether anything lies there, be it damaged or empty."""
        return self.files.exists(file_of(digest, size))

    def sound(self, digest: str, size: str) -> bytes | None:
        """The content of a size, held against its digest; None where it is gone or damaged."""
        found = self._sound(digest, size)
        if found is None and self.files.may_misread:
            found = self._sound(digest, size)
        return found

    def _sound(self, digest: str, size: str) -> bytes | None:
        content = self.files.read(file_of(digest, size))
        if content is None:
            return None
        if size == ORIGINAL:
            return content if _sum(content) == digest else None
        if (known := self._sums(digest).get(size)) is not None:
            return content if _sum(content) == known else None
        # Kept before there were digests of it: whole, as far as its two ends say.
        is_whole = content.startswith(_JPEG_BEGINS) and content.endswith(_JPEG_ENDS)
        return content if is_whole else None

    def write_shown(self, digest: str, shown: Mapping[str, bytes]) -> None:
        """Store what is made of a photo, with its digests; what lay there is replaced.

        Where only some of it could be kept of a photo that was not there, none of it is.
        """
        is_new = not any(self.files.size(file_of(digest, size)) for size in (*SIZES, ORIGINAL))
        try:
            for size, content in shown.items():
                self.write(digest, size, content)
            self._note(digest, shown)
        except (Unavailable, OSError):
            if is_new:
                with suppress(Unavailable, OSError):
                    self.remove([digest])
            raise

    def note_sums(self, digest: str) -> None:
        """Note the digests of a photo that was kept before there were any, as it lies there."""
        if self.has_file(digest, SUMS):
            return
        found = {size: self.files.read(file_of(digest, size)) or b"" for size in SIZES}
        self._note(digest, found)

    def _note(self, digest: str, shown: Mapping[str, bytes]) -> None:
        sums = {size: _sum(content) for size, content in shown.items()}
        self.write(digest, SUMS, json.dumps(sums).encode())

    def write(self, digest: str, size: str, content: bytes) -> None:
        """Store a size whole or not at all, kept for good before this ends."""
        self.files.write(file_of(digest, size), content)

    def set_aside(self, digest: str, size: str) -> None:
        """Take a damaged file out of use; somebody may still look at it."""
        name = file_of(digest, size)
        self.files.rename(name, name + SET_ASIDE)

    def digests(self) -> Iterator[str]:
        """The photos that anything is kept of, in their order."""
        named = (name for name in self.files.names() if name[3:5] == name[:2] and "-" in name)
        for digest, _ in groupby(named, lambda name: name[3:67]):
            yield digest

    def checked_within(self, seconds: float) -> bool:
        """Whether a server held all of them against their digests since then."""
        age_s = self.files.age_s(CHECKED)
        return age_s is not None and age_s < seconds

    def note_checked(self) -> None:
        """Note that all of them were held against their digests just now."""
        if self.files.is_begun():
            self.files.write(CHECKED, b"checked")

    def sweep(self) -> int:
        """Delete what a program that was killed left half written; how many files."""
        return self.files.sweep()

    def remove(self, digests: Iterable[str]) -> None:
        """Delete all that is kept of photos, damaged files too."""
        for digest in digests:
            for size in (*SIZES, SUMS, ORIGINAL):
                self._drop(digest, size)

    def drop_originals(self, digests: Iterable[str]) -> int:
        """Delete originals, which hold where and with what they were taken; how many."""
        return sum(self._drop(digest, ORIGINAL) for digest in digests)

    def _drop(self, digest: str, size: str) -> int:
        name = file_of(digest, size)
        found = [one for one in (name, name + SET_ASIDE) if self.files.exists(one)]
        for one in found:
            self.files.remove(one)
        return len(found)

    def _sums(self, digest: str) -> Mapping[str, str]:
        try:
            found = json.loads(self.files.read(file_of(digest, SUMS)) or b"{}")
        except ValueError:
            return {}
        return found if isinstance(found, dict) else {}


class PhotoFolder(Photos):
    """The photos of a data folder."""

    def __init__(self, data_dir: Path) -> None:
        self.root = data_dir / "photos"
        super().__init__(LocalFiles(self.root))

    def path(self, digest: str, size: str) -> Path:
        """Where a size of a photo lies, whether or not it is there."""
        return self.root / file_of(digest, size)


def photos_at(settings: Settings) -> Photos:
    """The photos of a site: in its data folder, or in the object storage that is set.

    Raises:
        DomainError: the library for the storage is not installed.
    """
    if settings.photos is None:
        return PhotoFolder(settings.data_dir)
    return Photos(stored_files(settings.photos))


def file_of(digest: str, size: str) -> str:
    """The name of a file of a photo.

    >>> file_of("ab12", "view"), file_of("ab12", "original")
    ('ab/ab12-view.jpg', 'ab/ab12-original')
    """
    return f"{digest[:2]}/{digest}-{size}{_ENDINGS.get(size, '.jpg')}"


def _sum(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
