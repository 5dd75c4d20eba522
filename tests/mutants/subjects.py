"""What is measured: the subjects of the domain, their tests and their floors."""

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
DOMAIN = ROOT / "app" / "domain"
TESTS = ROOT / "tests" / "domain"

FLOOR_PERCENT = 85.0
STRICT_FLOOR_PERCENT = 95.0
STRICT = frozenset({"checklists", "curing", "holds", "planning", "storage", "swaps", "waste"})
"""Where an error hurts somebody or loses a litre: holds, storage, waste, dose, plan, litres."""


@dataclass(frozen=True)
class Subject:
    """A folder or a file of the domain.

    Attributes:
        name: as it is called on the command line.
        sources: its files, as patterns below the project's folder.
        tests: the tests that have to notice; doctests count.
    """

    name: str
    sources: str
    tests: tuple[str, ...]

    @property
    def floor_percent(self) -> float:
        """The share of errors that the tests must notice."""
        return STRICT_FLOOR_PERCENT if self.name in STRICT else FLOOR_PERCENT


def subjects() -> dict[str, Subject]:
    """All subjects that have tests of their own, by name."""
    found = {}
    for path in sorted(DOMAIN.iterdir()):
        name = path.stem
        tests = TESTS / name if path.is_dir() else TESTS / f"test_{name}.py"
        if name.startswith("_") or not tests.exists():
            continue
        source = path.relative_to(ROOT).as_posix()
        sources = f"{source}/*" if path.is_dir() else source
        found[name] = Subject(name, sources, (tests.relative_to(ROOT).as_posix(), source))
    return found


def files_of(subject: Subject) -> list[Path]:
    """The source files of a subject."""
    path = DOMAIN / subject.name
    return sorted(path.rglob("*.py")) if path.is_dir() else [path.with_suffix(".py")]
