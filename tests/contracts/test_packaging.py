"""What lies beside the program for those who run it: unit, compose file, tables of tests."""

import re
import shutil
import subprocess

import pytest

from app.environment import VARIABLES
from tests.running import ROOT

UNIT, COMPOSE = ROOT / "packaging/bathkeeper.service", ROOT / "packaging/compose.yaml"


def test_systemd_takes_the_unit() -> None:
    """`systemd-analyze verify` (systemd-analyze(1)) knows each of its words."""
    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.skip("no systemd-analyze")
    if not shutil.which("python3", path="/usr/bin"):
        pytest.skip("no /usr/bin/python3, which the unit names")
    done = subprocess.run([tool, "verify", UNIT], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("path", [UNIT, COMPOSE], ids=lambda path: path.name)
def test_settings_and_options_that_are_named_are_known(path: object) -> None:
    text = path.read_text("utf-8")  # type: ignore[attr-defined]
    assert set(re.findall(r"BATHKEEPER_\w+", text)) <= set(VARIABLES)
    assert "app serve --host 0.0.0.0 --port 8000" in text


def test_the_two_servers_of_the_compose_file_share_database_and_folder() -> None:
    text = COMPOSE.read_text("utf-8")
    assert text.count("<<: *server") == 2
    assert text.count('"shared:/srv/bathkeeper"') == 2
    assert "BATHKEEPER_DATA: /srv/bathkeeper" in text
    assert "@database/bathkeeper" in text


@pytest.mark.parametrize("page", ["asvs.md", "servers.md"])
def test_tests_that_a_page_names_are_there(page: str) -> None:
    named = re.findall(r"`(tests/[\w/]+\.py)`", (ROOT / "docs" / page).read_text("utf-8"))
    assert named
    assert [path for path in named if not (ROOT / path).exists()] == []
