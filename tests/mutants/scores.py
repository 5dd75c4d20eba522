"""What was measured of each module: kept in a table, so that only what changed is measured anew."""

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tests.mutants.subjects import ROOT, Subject, files_of

FOLDER = ROOT / "mutants"
UNNOTICED = ROOT / "mutants-unnoticed"
"""One file for each subject that was measured: the errors that no test noticed."""
TABLE = Path(__file__).with_name("scores.json")
PASSED = frozenset({0, 5, 33})  # all tests passed; no test reaches it
NOT_PLANTED = frozenset({34, 37})  # left out on purpose; no valid program


@dataclass(frozen=True)
class Planted:
    """The errors planted in one function.

    Attributes:
        digest: of the function when it was measured.
        planted: how many there are.
        unnoticed: the numbers of those that no test noticed.
    """

    digest: str
    planted: int
    unnoticed: tuple[int, ...] = ()


@dataclass(frozen=True)
class Score:
    """The errors planted in one module, and how many of them a test noticed.

    Attributes:
        digest: of the module's text when it was measured.
        functions: by the name that mutmut gives them.
    """

    digest: str
    functions: Mapping[str, Planted] = field(default_factory=dict)

    @property
    def planted(self) -> int:
        """The errors in all functions."""
        return sum(one.planted for one in self.functions.values())

    @property
    def noticed(self) -> int:
        """Those that a test noticed."""
        return self.planted - sum(len(one.unnoticed) for one in self.functions.values())


def digest(path: Path) -> str:
    """The short hash of a file's text."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def load() -> dict[str, Score]:
    """The table, by the path of the module."""
    if not TABLE.exists():
        return {}
    content = json.loads(TABLE.read_text("utf-8"))
    return {
        module: Score(
            row["digest"],
            {
                name: Planted(one[0], one[1], tuple(one[2:]))
                for name, one in row["functions"].items()
            },
        )
        for module, row in content.items()
    }


def save(table: Mapping[str, Score]) -> None:
    """Write the table, a line for each function; a module that is no more is left out."""
    modules = []
    for module in sorted(name for name in table if (ROOT / name).exists()):
        lines = [
            f"      {json.dumps(name, ensure_ascii=False)}: "
            f"{json.dumps([one.digest, one.planted, *one.unnoticed])}"
            for name, one in table[module].functions.items()
        ]
        functions = "{\n" + ",\n".join(lines) + "\n    }" if lines else "{}"
        head = f'"digest": {json.dumps(table[module].digest)}, "functions": {functions}'
        modules.append(f"  {json.dumps(module)}: {{\n    {head}\n  }}")
    TABLE.write_text("{\n" + ",\n".join(modules) + "\n}\n", encoding="utf-8")


def write_answers(table: Mapping[str, Score], folder: Path, *, unnoticed_again: bool) -> None:
    """Lay down what is known as mutmut keeps it: it tries anew only functions that changed, and
    the errors that nobody noticed if these are to be tried again."""
    for module, score in table.items():
        stem = module.removesuffix(".py").replace("/", ".")
        codes: dict[str, int | None] = {}
        for name, one in score.functions.items():
            for number in range(1, one.planted + 1):
                alive = None if unnoticed_again else 0
                codes[f"{stem}.{name}__mutmut_{number}"] = alive if number in one.unnoticed else 1
        meta = {
            "exit_code_by_key": codes,
            "hash_by_function_name": {name: one.digest for name, one in score.functions.items()},
            "type_check_error_by_key": {},
            "durations_by_key": {},
            "estimated_durations_by_key": {},
        }
        path = folder / f"{module}.meta"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(meta), encoding="utf-8")


def read_answers(subject: Subject, folder: Path) -> tuple[dict[str, Score], list[str]]:
    """The scores that mutmut left in a folder, and the names of the errors nobody noticed."""
    scores, survivors = {}, []
    for path in files_of(subject):
        module = path.relative_to(ROOT).as_posix()
        file = folder / f"{module}.meta"
        if not file.exists():
            continue
        meta = json.loads(file.read_text("utf-8"))
        answers = meta["exit_code_by_key"]
        planted = {key: code for key, code in answers.items() if code not in NOT_PLANTED}
        unmeasured = [key for key, code in planted.items() if code is None]
        if unmeasured:
            raise SystemExit(f"{module}: {len(unmeasured)} planted errors were not tried.")
        survivors += [key for key, code in planted.items() if code in PASSED]
        functions = _by_function(planted, meta["hash_by_function_name"])
        scores[module] = Score(digest(path), functions)
    return scores, survivors


def _by_function(answers: Mapping[str, int], digests: Mapping[str, str]) -> dict[str, Planted]:
    counts: Counter[str] = Counter()
    alive: defaultdict[str, list[int]] = defaultdict(list)
    for key, code in answers.items():
        name, _, number = key.rpartition(".")[2].rpartition("__mutmut_")
        counts[name] += 1
        if code in PASSED:
            alive[name].append(int(number))
    return {
        name: Planted(digests.get(name, ""), count, tuple(sorted(alive[name])))
        for name, count in sorted(counts.items())
    }


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
