"""Drafts in the data folder: what somebody works on and nobody has said yet, so not in the log."""

import hashlib
import json
import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class StoredDraft:
    """A draft as it was left.

    Attributes:
        version: of what it will be, when it is kept.
        content: what it holds, as JSON.
        stamp: changes with the content; tells whether somebody else changed it meanwhile.
    """

    version: int
    content: Any
    by: str
    at: datetime
    stamp: str


class DraftFolder:
    """The folder of drafts: one file a room and subject."""

    def __init__(self, data_dir: Path) -> None:
        self.root = data_dir / "drafts"

    def read(self, room_id: int, subject: str) -> StoredDraft | None:
        """The draft of a room; None where there is none, or its file cannot be read."""
        try:
            text = self._path(room_id, subject).read_text("utf-8")
            found = json.loads(text)
            return StoredDraft(
                int(found["version"]), found["content"], str(found["by"]),
                datetime.fromisoformat(found["at"]), _stamp(text),
            )  # fmt: skip
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return None

    def write(
        self, room_id: int, subject: str, version: int, content: Any, by: str, at: datetime
    ) -> StoredDraft:
        """Store a draft whole or not at all, in the place of the one before."""
        kept = {"version": version, "content": content, "by": by, "at": at.isoformat()}
        text = json.dumps(kept, ensure_ascii=False)
        path = self._path(room_id, subject)
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_name(f".{uuid.uuid4().hex}")
        try:
            beside.write_text(text, "utf-8")
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
        return StoredDraft(version, content, by, at, _stamp(text))

    def drop(self, room_id: int, subject: str) -> None:
        """Forget the draft of a room."""
        self._path(room_id, subject).unlink(missing_ok=True)

    def drop_all(self, room_id: int) -> None:
        """Forget all drafts of a room."""
        for path in self.root.glob(f"*-{room_id}.json"):
            path.unlink(missing_ok=True)

    def _path(self, room_id: int, subject: str) -> Path:
        return self.root / f"{subject}-{room_id}.json"


def _stamp(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]
