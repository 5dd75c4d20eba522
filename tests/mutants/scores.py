"""What was measured of each module: kept in a table, so that only what changed is measured anew."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.mutants.subjects import ROOT, Subject, files_of

FOLDER = ROOT / "mutants"
UNNOTICED = ROOT / "mutants-unnoticed"
"""One file for each subject that was measured: the errors that no test noticed."""
TABLE = Path(__file__).with_name("scores.json")
PASSED = frozenset({0, 5, 33})  # all tests passed; no test reaches it
NOT_PLANTED = frozenset({34, 37})  # left out on purpose; no valid program


@dataclass(frozen=True)
class Score:
    """The errors planted in one module, and how many of them a test noticed.

    Attributes:
        digest: of the module's text when it was measured.
    """

    digest: str
    planted: int
    noticed: int


def digest(path: Path) -> str:
    """The short hash of a file's text."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def load() -> dict[str, Score]:
    """The table, by the path of the module."""
    if not TABLE.exists():
        return {}
    content = json.loads(TABLE.read_text("utf-8"))
    return {module: Score(**values) for module, values in content.items()}


def save(table: Mapping[str, Score]) -> None:
    """Write the table; a module that is no more is left out."""
    rows = {name: asdict(table[name]) for name in sorted(table) if (ROOT / name).exists()}
    lines = [f"  {json.dumps(name)}: {json.dumps(row)}" for name, row in rows.items()]
    TABLE.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


def read_answers(subject: Subject, folder: Path) -> tuple[dict[str, Score], list[str]]:
    """The scores that mutmut left in a folder, and the names of the errors nobody noticed."""
    scores, survivors = {}, []
    for path in files_of(subject):
        module = path.relative_to(ROOT).as_posix()
        meta = folder / f"{module}.meta"
        if not meta.exists():
            continue
        answers = json.loads(meta.read_text("utf-8"))["exit_code_by_key"]
        planted = {key: code for key, code in answers.items() if code not in NOT_PLANTED}
        unmeasured = [key for key, code in planted.items() if code is None]
        if unmeasured:
            raise SystemExit(f"{module}: {len(unmeasured)} planted errors were not tried.")
        alive = [key for key, code in planted.items() if code in PASSED]
        survivors += alive
        scores[module] = Score(digest(path), len(planted), len(planted) - len(alive))
    return scores, survivors


def percent(scores: Mapping[str, Score]) -> float | None:
    """The share of planted errors that were noticed, or None where none were planted."""
    planted = sum(score.planted for score in scores.values())
    noticed = sum(score.noticed for score in scores.values())
    return 100.0 * noticed / planted if planted else None


def of_subject(table: Mapping[str, Score], subject: Subject) -> dict[str, Score]:
    """The rows of a subject."""
    modules = {path.relative_to(ROOT).as_posix() for path in files_of(subject)}
    return {module: score for module, score in table.items() if module in modules}


def is_stale(table: Mapping[str, Score], subject: Subject) -> bool:
    """Whether a measured subject has a module that is not as it was measured."""
    rows = of_subject(table, subject)
    return bool(rows) and any(
        path.relative_to(ROOT).as_posix() not in rows
        or rows[path.relative_to(ROOT).as_posix()].digest != digest(path)
        for path in files_of(subject)
        if path.stat().st_size and path.name != "__init__.py"
    )
