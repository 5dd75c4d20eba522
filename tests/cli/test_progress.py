"""Progress: a bar on a terminal, a line now and then elsewhere."""

import io

import pytest

from app.cli import progress
from app.cli.progress import ProgressBar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_terminal_gets_a_bar_that_is_taken_away(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    bar = ProgressBar()
    bar("Storing", 50, 100)
    assert "50 %" in terminal.getvalue()
    bar.close()
    assert terminal.getvalue().endswith("\r")


def test_elsewhere_a_line_comes_now_and_then(monkeypatch: pytest.MonkeyPatch) -> None:
    file = io.StringIO()
    monkeypatch.setattr("sys.stderr", file)
    monkeypatch.setattr(progress, "LINE_EVERY_S", 0.0)
    bar = ProgressBar()
    for done in range(3):
        bar("Reading", done, 0)
    assert file.getvalue() == "Reading: 1\nReading: 2\n"
    assert "\r" not in file.getvalue()


def test_where_others_add_to_it_meanwhile_it_is_never_more_than_all(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    file = io.StringIO()
    monkeypatch.setattr("sys.stderr", file)
    monkeypatch.setattr(progress, "LINE_EVERY_S", 0.0)
    bar = ProgressBar()
    for done in (1, 118):
        bar("Estimating", done, 100)
    assert file.getvalue() == "Estimating: 100 %\n"
