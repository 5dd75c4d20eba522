"""What is kept of planted errors: by function, so that only what changed is tried anew."""

import json
from pathlib import Path

import pytest

from tests.mutants import scores
from tests.mutants.scores import Planted, Score
from tests.mutants.subjects import ROOT, STRICT, files_of, subjects


def test_every_subject_with_the_stricter_floor_is_measured() -> None:
    assert subjects().keys() >= STRICT
    rows = scores.load()
    for name in ("holds", "storage", "swaps"):
        assert scores.of_subject(rows, subjects()[name]), name


def test_a_subject_names_tests_that_are_there() -> None:
    for subject in subjects().values():
        assert all((ROOT / test.partition("::")[0]).exists() for test in subject.tests)


def test_the_table_is_written_as_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = scores.load()
    monkeypatch.setattr(scores, "TABLE", tmp_path / "scores.json")
    scores.save(table)
    assert scores.load() == table


def test_what_is_known_is_laid_down_and_read_again(tmp_path: Path) -> None:
    subject = subjects()["holds"]
    (path,) = files_of(subject)
    module = path.relative_to(ROOT).as_posix()
    known = {module: Score(scores.digest(path), {"x_f": Planted("ab", 3, (2,))})}
    scores.write_answers(known, tmp_path, unnoticed_again=False)
    found, survivors = scores.read_answers(subject, tmp_path)
    assert (found, survivors) == (known, ["app.domain.holds.x_f__mutmut_2"])
    assert (found[module].planted, found[module].noticed) == (3, 2)
    assert scores.percent(found) == pytest.approx(100 * 2 / 3)


def test_an_error_to_be_tried_again_has_no_answer_until_it_was(tmp_path: Path) -> None:
    subject = subjects()["holds"]
    known = {"app/domain/holds.py": Score("", {"x_f": Planted("ab", 2, (1,))})}
    scores.write_answers(known, tmp_path, unnoticed_again=True)
    answers = json.loads((tmp_path / "app/domain/holds.py.meta").read_text("utf-8"))
    assert answers["exit_code_by_key"] == {
        "app.domain.holds.x_f__mutmut_1": None, "app.domain.holds.x_f__mutmut_2": 1,
    }  # fmt: skip
    with pytest.raises(SystemExit, match="1 planted errors were not tried"):
        scores.read_answers(subject, tmp_path)


def test_a_subject_is_stale_when_a_module_has_another_text() -> None:
    subject = subjects()["holds"]
    (path,) = files_of(subject)
    module = path.relative_to(ROOT).as_posix()
    assert not scores.is_stale({}, subject)  # never measured
    assert not scores.is_stale({module: Score(scores.digest(path))}, subject)
    assert scores.is_stale({module: Score("another")}, subject)
