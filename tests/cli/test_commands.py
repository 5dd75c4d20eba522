"""The command line: what it prints, where to, and with which exit code."""

import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from app.cli import main
from tests.running import ROOT

START = datetime(2026, 1, 5, 8, tzinfo=UTC)
TANK = {
    "kind": "tank", "at": START.isoformat(), "tank": "t1", "name": "One", "capacity_l": 40,
    "min_l": 30, "solvent": "isopropanol", "fresh_purity_percent": 99, "limit_percent": 10,
}  # fmt: skip
COMMANDS = (
    "serve",
    "demo",
    "test",
    "import",
    "imports",
    "export",
    "rooms",
    "verify",
    "copy",
    "backtest",
    "bench",
    "heic",
    "s3",
)


def wash(hours: float, **more: Any) -> dict[str, Any]:
    at = (START + timedelta(hours=hours)).isoformat()
    return {"kind": "wash", "at": at, "tank": "t1", "resin": "slate", "area_cm2": 4000} | more


def sensor(hours: float, percent: float, **more: Any) -> dict[str, Any]:
    at = (START + timedelta(hours=hours)).isoformat()
    line = {"kind": "reading", "at": at, "tank": "t1", "method": "sensor"}
    return line | {"saturation_percent": percent} | more


def written(path: Path, *lines: Any) -> str:
    path.write_text("\n".join(x if isinstance(x, str) else json.dumps(x) for x in lines) + "\n")
    return str(path)


def backtested(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict[str, Any]]:
    assert main(["backtest", *words]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    if command == "bench":
        command = "export"  # the benchmark has words and a help of its own
    assert main([command, "--help"]) == 0
    text = capsys.readouterr().out
    assert f"python3 -m app {command}" in text
    assert "example:" in text


def test_the_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    text = capsys.readouterr().out
    assert all(f"    {command} " in text for command in COMMANDS)


@pytest.mark.parametrize(
    "words",
    [[], ["spin"], ["serve", "--port", "x"], ["serve", "--port", "70000"], ["import"]],
    ids=str,
)
def test_wrong_words_give_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    assert "usage:" in capsys.readouterr().err


def test_a_log_is_brought_in_listed_and_handed_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = ["--data", str(tmp_path / "data")]
    resin = {"kind": "resin", "resin": "slate", "name": "Slate", "density_g_ml": 1.1}
    resin["at"] = START.isoformat()
    log = written(tmp_path / "log.jsonl", TANK, resin, wash(1, id="w1", lot="a"))
    assert main(["import", log, "--room", "My room", *data]) == 1
    assert "no database" in capsys.readouterr().err
    assert main(["import", log, "--room", "My room", "--create", *data]) == 0
    assert "Stored 3 entries" in capsys.readouterr().out
    assert main(["rooms", *data]) == 0
    assert "my-room" in capsys.readouterr().out
    copy = tmp_path / "copy.jsonl"
    assert main(["export", "my room", "-o", str(copy), *data]) == 0
    lines = [json.loads(line) for line in copy.read_text().splitlines()]
    assert lines[2]["lot"] == "a"
    assert main(["export", "my-room", "--csv", "-o", str(tmp_path / "c.csv"), *data]) == 0
    assert (tmp_path / "c.csv").read_bytes().startswith(b"\xef\xbb\xbfkind,at,id")
    capsys.readouterr()
    assert main(["export", "other", *data]) == 1
    assert "Rooms: my-room" in capsys.readouterr().err


def test_bad_lines_are_named_and_stop_an_import(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["--room", "r", "--create", "--data", str(tmp_path / "data")]
    log = written(tmp_path / "log.jsonl", TANK, wash(1), "{")
    assert main(["import", log, *words]) == 1
    error = capsys.readouterr().err
    assert "line 2: resin: " in error
    assert "line 3: line: " in error
    assert main(["import", log, *words, "--check"]) == 1
    assert main(["import", log, *words, "--skip-bad"]) == 0
    assert "Stored 1 entry" in capsys.readouterr().out


def test_a_table_is_read_with_columns_as_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["--room", "r", "--create", "--data", str(tmp_path / "data")]
    assert main(["import", written(tmp_path / "log.jsonl", TANK), *words]) == 0
    table = written(tmp_path / "t.csv", "Day,Where,Vol=", "06/01/2026 09:00,t1,1")
    assert (
        main(
            [
                "import",
                table,
                *words,
                "--kind",
                "top_up",
                "--column",
                "Vol==volume_l:us_gal",
                "--column",
                "Where=tank",
                "--day-first",
            ]
        )
        == 0
    )
    assert "Vol= = volume_l in us_gal" in capsys.readouterr().out


def test_the_replay_reports_after_readings_and_swaps_and_at_midnights(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    swap = {"kind": "swap", "at": (START + timedelta(hours=30)).isoformat(), "tank": "t1"}
    log = written(tmp_path / "log.jsonl", swap, wash(2), TANK, sensor(4, 0.3))
    reports = backtested(capsys, log)
    hours = [(datetime.fromisoformat(r["at"]) - START) / timedelta(hours=1) for r in reports]
    assert hours == [4, 16, 30]
    first = reports[0]
    assert set(first) == {"at", "tank", "saturation_percent", "crossing", "limit_percent", "flags"}
    assert set(first["saturation_percent"]) == {"mean", "p05", "p95"}
    assert set(first["crossing"]) == {"p10", "p50", "p90"}
    assert first["limit_percent"] == 10


def test_the_replay_knows_nothing_of_what_was_entered_later(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    instants = [(START + timedelta(hours=hours)).isoformat() for hours in (6, 12)]
    times = written(tmp_path / "at.json", json.dumps(instants))
    late = wash(2, area_cm2=60_000, entered_at=(START + timedelta(hours=9)).isoformat())
    both = written(tmp_path / "both.jsonl", TANK, wash(1), late)
    without = written(tmp_path / "without.jsonl", TANK, wash(1))
    before, after = backtested(capsys, both, "--at", times)
    early, _ = backtested(capsys, without, "--at", times)
    assert before == early
    assert after["saturation_percent"]["mean"] > before["saturation_percent"]["mean"] + 1


def test_a_table_given_to_a_replay_is_told_to_be_imported_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = written(tmp_path / "washes.csv", "date;tank;area", "2026-03-02 08:00;t1;4000")
    assert main(["backtest", table, "--skip-bad"]) == 1
    said = capsys.readouterr().err
    assert "This is not a room log" in said
    assert "python3 -m app import" in said
    assert "line 2" not in said


def test_an_unknown_resin_is_no_bar_to_a_replay_and_an_unknown_tank_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = written(
        tmp_path / "log.jsonl", TANK, wash(1), wash(2, tank="t9"), sensor(3, 0.4, tint="red")
    )
    assert main(["backtest", log]) == 1
    captured = capsys.readouterr()
    assert "line 3: tank: " in captured.err
    assert captured.out == ""
    assert len(backtested(capsys, log, "--skip-bad")) == 1


def test_a_replay_counts_a_retry_once_and_refuses_an_id_that_says_two_things(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    once = written(tmp_path / "once.jsonl", TANK, wash(1, id="w1"), sensor(3, 0.4))
    twice = written(tmp_path / "twice.jsonl", TANK, *2 * [wash(1, id="w1")], sensor(3, 0.4))
    assert backtested(capsys, twice) == backtested(capsys, once)
    other = wash(1, area_cm2=9000, id="w1")
    log = written(tmp_path / "log.jsonl", TANK, wash(1, id="w1"), other, sensor(3, 0.4))
    assert main(["backtest", log]) == 1
    said = capsys.readouterr().err
    assert "line 3: id: Line 2 already has the id “w1”, with different values." in said
    assert backtested(capsys, log, "--skip-bad") == backtested(capsys, once)


def test_a_replay_of_a_log_without_anything_to_report_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["backtest", written(tmp_path / "log.jsonl", TANK)]) == 0
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "Nothing to report" in captured.err


def test_a_replay_says_which_midnights_it_leaves_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = written(tmp_path / "log.jsonl", TANK, wash(1), wash(24 * 40), wash(24 * 41))
    assert main(["backtest", log]) == 0
    captured = capsys.readouterr()
    assert "26 midnights left out." in captured.err
    assert len(captured.out.splitlines()) == 14 + 1


def test_a_passed_limit_is_crossed_at_the_instant_of_the_report(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = written(tmp_path / "log.jsonl", TANK | {"saturation_percent": 14}, sensor(5, 14.1))
    (report,) = backtested(capsys, log)
    assert set(report["crossing"].values()) == {report["at"]}
    assert "past_limit" in report["flags"]


@pytest.mark.parametrize("times", ["{}", "[1]", '["2026-01-05T08:00:00"]', "x"])
def test_instants_that_are_none_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], times: str
) -> None:
    log = written(tmp_path / "log.jsonl", TANK)
    assert main(["backtest", log, "--at", written(tmp_path / "at.json", times)]) == 1
    assert "Traceback" not in capsys.readouterr().err


def test_the_summary_is_for_people(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = [line for n in range(20) for line in (wash(24 * n + 1), sensor(24 * n + 4, 0.2 * n))]
    assert main(["backtest", written(tmp_path / "log.jsonl", TANK, *lines), "--summary"]) == 0
    text = capsys.readouterr().out
    assert "sensor" in text
    assert "19 readings" in text


def run(*words: str, **more: Any) -> "subprocess.Popen[str]":
    """A command in a process of its own, which may leave nothing open when it ends."""
    variables = {**os.environ, "PYTHONWARNINGS": "error::ResourceWarning"}
    return subprocess.Popen(
        [sys.executable, "-m", "app", *words], cwd=ROOT, text=True, env=variables,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, **more,
    )  # fmt: skip


def test_a_reader_that_leaves_early_is_no_error(tmp_path: Path) -> None:
    lines = [sensor(n / 10, 0.3) for n in range(300)]
    process = run("backtest", written(tmp_path / "log.jsonl", TANK, *lines))
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    code, said = process.wait(60), process.stderr.read()
    process.stderr.close()
    assert code == 0
    # On a busy machine it has gone on for long enough to tell how far it is.
    assert [one for one in said.splitlines() if not one.startswith("Replaying: ")] == []


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def ignoring() -> None:
    """As a shell starts what it puts into the background (POSIX, Shell Command Language, 2.11)."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def heeding() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.mark.parametrize("before", [heeding, ignoring])
def test_a_server_on_a_free_port_says_where_and_ends_when_interrupted(
    tmp_path: Path, before: Callable[[], None]
) -> None:
    words = ("serve", "--port", "0", "--data", str(tmp_path / "data"))
    process = run(*words, preexec_fn=before)
    assert process.stdout is not None
    said = process.stdout.readline()
    assert "http://127.0.0.1:" in said
    assert ":0 " not in said
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=10)
    assert process.returncode in (130, -signal.SIGINT)
    assert errors == ""


def test_a_taken_port_is_named(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        process = run("serve", "--port", port, "--data", str(tmp_path))
        _, errors = process.communicate(timeout=30)
    assert process.returncode == 1
    assert errors.startswith(f"Port {port} is in use")
    assert errors.count("\n") == 1


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    process = run("serve", "--port", "0", "--data", str(tmp_path / "file" / "data"))
    _, errors = process.communicate(timeout=30)
    assert process.returncode == 1
    assert "cannot be written" in errors
    assert "Traceback" not in errors


def test_a_file_that_is_no_database_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bathkeeper.sqlite3").write_text("not a database " * 100)
    assert main(["rooms", "--data", str(tmp_path)]) == 1
    assert "The database cannot be used" in capsys.readouterr().err
