"""A kind of entry is one file: added to a copy of the program, it has all that a kind has."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILE = "domain/roomlog/kinds/duties.py"
KIND = '''
@dataclass(frozen=True, kw_only=True)
class FilterCleaned(LedgerEntry):
    """The filter of a tank's pump was cleaned."""

    kind: ClassVar[str] = "filter_cleaned"
    summary: ClassVar[str] = "Filter cleaned"
    sentence: ClassVar[str] = (
        "{by} cleaned the filter of {tank}: {before_kpa} before[, {after_kpa} after]"
    )
    reached: ClassVar[Way] = Form(
        at="tank", task="filter", link="Filter cleaned", rows=(("before_kpa", "after_kpa"),)
    )

    tank: str = spec("key", "Tank", required=True)
    before_kpa: float = number("Pressure before", "kPa", 0, 500, required=True)
    after_kpa: float | None = number("Pressure after", "kPa", 0, 500)


'''
END = "KINDS_OF_DUTIES: tuple"


@pytest.mark.slow
def test_a_kind_that_is_added_in_one_file_has_its_whole_life(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "app", tmp_path / "app", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("templates", "static", "tests", "docs", "pyproject.toml"):
        (tmp_path / name).symlink_to(ROOT / name)
    module = tmp_path / "app" / FILE
    text = module.read_text("utf-8")
    text = text.replace("life import Page, Way", "life import Form, Page, Way")
    text = text.replace(END, KIND.lstrip("\n") + END).replace(
        "(DutySet, ", "(FilterCleaned, DutySet, "
    )
    module.write_text(text, "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "tests.contracts.one_kind", str(tmp_path / "data")],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(tmp_path)}, text=True,
        capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    assert done.stdout.split() == [
        "link", "page", "refusal", "log", "undo", "correction", "schema", "api", "export",
        "import", "docs", "matrix",
    ]  # fmt: skip
