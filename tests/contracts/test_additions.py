"""An instrument, a solvent, a part, a step: one file each, and the room has it everywhere.

The guide in DEVELOPERS.md is followed literally in a copy of the program; `additions/tour.py` then
looks for what was added on pages, in the API, in imports and in the pages of docs.
"""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ADDITIONS = Path(__file__).parent / "additions"
MODULES = {
    "trial_opacimeter.py": "app/domain/instruments",
    "trial_propanol.py": "app/domain/solvents/known",
    "trial_valve.py": "app/domain/inspections/parts",
}
STEPS = "app/domain/checklists/default_template.py"
BEFORE = '    Step(\n        "wipe",'
FEWEST = {"instrument": 11, "solvent": 13, "part": 7, "step": 4}
"""Claims about each; none of them may be lost."""


def add_one_of_each(copy: Path) -> list[Path]:
    """Add them; the files that were touched."""
    touched = []
    for name, folder in MODULES.items():
        touched.append(Path(shutil.copy(ADDITIONS / name, copy / folder)))
    steps = copy / STEPS
    text = steps.read_text("utf-8")
    assert text.count(BEFORE) == 1
    step = (ADDITIONS / "trial_step.txt").read_text("utf-8")
    steps.write_text(text.replace(BEFORE, step + BEFORE), "utf-8")
    return [*touched, steps]


@pytest.fixture(scope="module")
def claims(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bool]:
    """What the copy with one of each shows."""
    copy = tmp_path_factory.mktemp("copy")
    for folder in ("app", "templates", "static", "docs", "tests"):
        ignored = shutil.ignore_patterns("__pycache__", "*.whl")
        shutil.copytree(ROOT / folder, copy / folder, ignore=ignored)
    assert len(add_one_of_each(copy)) == 4
    done = subprocess.run(
        [sys.executable, "-m", "tests.contracts.additions.tour"],
        cwd=copy, capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    found: dict[str, bool] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("sort", FEWEST)
def test_one_file_brings_it_everywhere(claims: dict[str, bool], sort: str) -> None:
    about = {claim: holds for claim, holds in claims.items() if claim.startswith(f"{sort}:")}
    assert [claim for claim, holds in about.items() if not holds] == []
    assert len(about) >= FEWEST[sort]
