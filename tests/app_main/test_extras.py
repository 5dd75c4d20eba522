"""`python3 -m app test` chooses how many processes test; `heic` and `s3` add what stays."""

import pytest

from app import __main__ as bootstrap

from .conftest import SmallProject


@pytest.mark.parametrize(
    "arguments", [[], ["tests/domain"], ["-k", "density"], ["--nightly", "-x"], ["--color=yes"]]
)
def test_a_run_has_a_worker_on_each_core(arguments: list[str]) -> None:
    assert bootstrap._workers(arguments)[:2] == ["-n", "auto"]


@pytest.mark.parametrize(
    "arguments",
    [["tests/domain/test_air.py"], ["tests/test_units.py::test_drum_sizes"], ["-n", "0"], ["-n3"],
     ["--numprocesses=2"], ["--pdb"], ["--co", "-q"], ["--version"]],
)  # fmt: skip
def test_few_tests_and_debuggers_have_no_workers(arguments: list[str]) -> None:
    assert bootstrap._workers(arguments) == []


@pytest.mark.parametrize(
    "command, said",
    [
        ("heic", "HEIC photos are accepted from the next start on"),
        ("s3", "Photos can be in an object storage from the next start on"),
    ],
)
def test_an_extra_is_added_and_comes_back_when_the_set_up_is_made_anew(
    project: SmallProject, command: str, said: str
) -> None:
    stamp = project.environment / "installed" / f"requirements-{command}.lock"
    code, output = project.run("rooms")
    assert code == 0, output
    assert not stamp.exists()
    code, output = project.run(command)
    assert code == 0, output
    assert said in output
    assert stamp.exists()
    project.write_lock(project.tiny_sha256(), "# another lock\n")
    code, output = project.run("rooms")
    assert code == 0, output
    assert stamp.exists()


def test_without_a_network_the_decoder_is_not_added_and_it_says_so(
    project: SmallProject,
) -> None:
    code, output = project.run("rooms")
    assert code == 0, output
    (project.folder / "requirements-heic.lock").write_text("gone==1.0 --hash=sha256:" + "0" * 64)
    code, output = project.run("heic")
    assert code == 1
    assert "could not be set up" in output
    code, output = project.run("rooms")
    assert code == 0, output
