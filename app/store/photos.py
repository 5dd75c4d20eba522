"""Photo files in the data folder, each under the SHA-256 of its content."""

import uuid
from pathlib import Path

SIZES = ("view", "thumb")
ORIGINAL = "original"


class PhotoFolder:
    """The folder of photos: `ab/<digest>-view.jpg`, `-thumb.jpg` and `-original`."""

    def __init__(self, data_dir: Path) -> None:
        self.root = data_dir / "photos"

    def path(self, digest: str, size: str) -> Path:
        """Where a size of a photo lies, whether or not it is there."""
        name = f"{digest}-{size}" + ("" if size == ORIGINAL else ".jpg")
        return self.root / digest[:2] / name

    def has(self, digest: str) -> bool:
        """Whether the photo is kept."""
        return all(self.path(digest, size).is_file() for size in SIZES)

    def write(self, digest: str, size: str, content: bytes) -> None:
        """Store a size whole or not at all: a reader never meets half a file."""
        path = self.path(digest, size)
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_name(f".{uuid.uuid4().hex}")
        try:
            beside.write_bytes(content)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)

    def drop_originals(self) -> int:
        """Delete the originals, which hold where and with what they were taken; how many."""
        found = list(self.root.glob(f"??/*-{ORIGINAL}"))
        for path in found:
            path.unlink(missing_ok=True)
        return len(found)
