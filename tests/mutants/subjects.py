"""What is measured: the subjects of the domain, their tests and their floors."""

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
DOMAIN = ROOT / "app" / "domain"
TESTS = ROOT / "tests" / "domain"
EXAMPLES = "tests/test_doctests.py::test_the_examples_of_a_module_give_what_they_say"

FLOOR_PERCENT = 85.0
STRICT_FLOOR_PERCENT = 95.0
STRICT = frozenset(
    {
        "builds",
        "checklists",
        "curing",
        "harm",
        "holds",
        "incidents",
        "inspections",
        "litres",
        "planning",
        "storage",
        "swaps",
        "waste",
    }
)
"""Where an error hurts somebody or loses a litre."""


@dataclass(frozen=True)
class Subject:
    """A folder or a file of the domain.

    Attributes:
        name: as it is called on the command line.
        sources: its files, as patterns below the project's folder.
        tests: the tests that have to notice, those of the examples in docstrings among them.
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
        tests = [
            place for place in (TESTS / name, *TESTS.glob(f"test_{name}*.py")) if place.exists()
        ]
        if name.startswith("_") or not tests:
            continue
        source = _relative(path)
        found[name] = Subject(
            name,
            f"{source}/*" if path.is_dir() else source,
            (*sorted(_relative(place) for place in tests), *_examples(path)),
        )
    return found


def _examples(path: Path) -> list[str]:
    """The tests of the examples in docstrings, module by module."""
    files = sorted(path.rglob("*.py")) if path.is_dir() else [path]
    return [f"{EXAMPLES}[{_relative(file)}]" for file in files if ">>>" in file.read_text("utf-8")]


def _relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def files_of(subject: Subject) -> list[Path]:
    """The source files of a subject."""
    path = DOMAIN / subject.name
    return sorted(path.rglob("*.py")) if path.is_dir() else [path.with_suffix(".py")]
