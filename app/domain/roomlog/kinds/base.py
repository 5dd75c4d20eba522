"""What every entry of a room log carries, whatever its kind."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.life import Way

HOLD = "hold"  # a tank that is out of use: the book of what holds it


@dataclass(frozen=True, kw_only=True)
class Entry:
    """What every entry carries.

    Attributes:
        at: when it happened (UTC).
        id: its key, unique in the room; empty until it is stored.
        entered_at: when it was entered; None means at once.
        by: who entered it.
        note: free text.
        corrects: id of the entry this one replaces, or empty.
        extra: fields of the line that we do not know, handed back on export.

    Beside its fields a kind says what it is called (`summary`), how the log tells of it
    (`sentence`, see `sentences`) and where it is entered (`reached`, see `life`).
    """

    kind: ClassVar[str] = ""
    summary: ClassVar[str] = ""
    sentence: ClassVar[str] = ""
    reached: ClassVar[Way | None] = None
    concerns_bath: ClassVar[bool] = True
    is_correctable: ClassVar[bool] = True

    at: datetime
    id: str = ""
    entered_at: datetime | None = None
    by: str = ""
    note: str = ""
    corrects: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)

    @property
    def known_at(self) -> datetime:
        """From when the room knew of it."""
        return max(self.entered_at or self.at, self.at)

    def problems(self) -> list[FieldError]:
        """What is wrong with the values taken together."""
        return []

    @classmethod
    def specs(cls) -> dict[str, FieldSpec]:
        """The kind's own fields by name."""
        return {f.name: f.metadata["spec"] for f in dataclasses.fields(cls) if "spec" in f.metadata}

    def things(self) -> list[tuple[str, str]]:
        """The things whose books this entry stands in: pairs of kind and key."""
        named = [
            (spec.thing, key)
            for name, spec in self.specs().items()
            if spec.thing and (key := getattr(self, name)) is not None
        ]
        return list(dict.fromkeys(named))

    @classmethod
    def required(cls) -> tuple[str, ...]:
        """Names of the kind's own fields that must be given."""
        missing = dataclasses.MISSING
        return tuple(
            f.name for f in dataclasses.fields(cls) if "spec" in f.metadata and f.default is missing
        )


@dataclass(frozen=True, kw_only=True)
class LedgerEntry(Entry):
    """An entry that moves no estimate of a bath: it is kept in the books of the things it names."""

    concerns_bath: ClassVar[bool] = False
