"""`python3 -m app`: starts Bathkeeper with any Python 3.11 or newer and nothing else installed.

Every start passes through this file, at first outside the project's own environment: it imports
as little as it can, from the standard library only, and an older Python must be able to read it.
"""

import sys

if sys.version_info < (3, 11):  # before anything that an older Python could not read
    sys.exit(
        "Bathkeeper needs Python 3.11 or newer; this is Python %d.%d.\n"
        "Install a newer one and name it, for example: python3.11 -m app demo"
        % sys.version_info[:2]
    )

from app.installation import environment

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

HELP = """\
Bathkeeper shows how much resin each wash bath holds, how sure that is, and which swap is next.

usage: python3 -m app COMMAND [options]

  demo      serve a room with example data, to look around in
  serve     serve your own rooms, starting with an empty one
  import    bring in a room log (JSON Lines or CSV)
  imports   list past imports, and take one back
  export    write a room log to a file
  rooms     list the rooms
  verify    check whether anybody changed the log outside the program
  copy      copy rooms to another database, and check each row
  delete    delete an archived room for good
  backup    take a backup while people work, and test it
  restore   restore a backup
  doctor    say in words what is wrong
  backtest  compare past forecasts with what happened
  bench     measure speed and accuracy on this machine
  heic      accept HEIC photos too: adds their decoder, under its own licences
  s3        keep photos in an object storage: adds the library for it
  test      run the tests; anything further goes to pytest

The first command sets Bathkeeper up in the folder .venv here: about half a minute, with the
network. After that, COMMAND --help lists the options. Nothing outside this folder changes, except
with 'test': as root on Debian it installs the packages chromium and libatomic1 if missing.
"""

COMMANDS = (
    "demo", "serve", "import", "imports", "export", "rooms", "verify", "copy", "delete",
    "backup", "restore", "doctor", "backtest", "bench", "heic", "s3", "test",
)  # fmt: skip

TEST_HELP = """\
usage: python3 -m app test [--nightly | --oracles | --mutants] [pytest options]

Sets up what the tests need and runs all of them, one worker for each core of this machine and in
an order that is drawn at random each time. Its seed is printed, and --seed NUMBER repeats it.

  --nightly        also what is too slow for every run: the judge of the estimates and the most
                   thorough of the searches for what breaks a rule
  --oracles        ask the libraries again whose answers are in tests/oracles, and compare; they
                   are set up beside the program in .venv-oracles (0.7 GB)
  --mutants        plant errors in the domain and count those that no test notices: takes hours;
                   subjects may follow, --changed takes those that changed since the table was
                   written, --table prints it. Set up in .venv-mutants (0.5 GB)

What follows goes to pytest, for example:

  python3 -m app test tests/domain        one folder
  python3 -m app test -k density          tests by name
  python3 -m app test -m "not browser"    all but the browser tests
  python3 -m app test -n 0                in this process alone, as for a debugger
"""
ONE_PROCESS = ("--numprocesses", "--pdb", "--trace", "--co", "--collect-only", "--version")
"""Options that say, or need, how many processes test: no workers are started for them."""


def main(arguments: list[str]) -> int:
    """Run one command in the project's environment, which is made first where it is missing.

    Returns the exit code; on POSIX systems a command that needs another Python replaces this
    process instead.
    """
    is_test = arguments[:1] == ["test"]
    if is_test and _asks_for_help(arguments):
        print(TEST_HELP, end="")
        return 0
    if is_test or arguments in (["heic"], ["s3"]):
        return _run_tests(arguments[1:]) if is_test else _add(arguments[0])
    if not environment.is_current(environment.RUN_LOCK):
        answer = _answer_without_environment(arguments)
        if answer is not None:
            return answer
        if not _set_up():
            return 1
    elif environment.is_inside():
        from app.cli import main as run_command

        return run_command(arguments)
    return environment.run_python(["-m", "app", *arguments])


def _asks_for_help(arguments: list[str]) -> bool:
    return not arguments or "-h" in arguments or "--help" in arguments


def _answer_without_environment(arguments: list[str]) -> "int | None":
    """The exit code of help, wrong words or a taken port, which need no set-up; else None."""
    if _asks_for_help(arguments):
        print(HELP, end="")
        return 0
    if arguments[0] not in COMMANDS:
        print(f"There is no command {arguments[0]!r}.\n\n{HELP}", end="", file=sys.stderr)
        return 2
    from app.cli import trouble_ahead

    return trouble_ahead(arguments)


def _set_up(with_tests: bool = False) -> bool:
    """Make the environment; False, with the reason printed, where that is not possible."""
    from app.installation import build

    return _tried(lambda: build.make_current(with_tests))


def _tried(work: "Callable[[], None]") -> bool:
    from app.installation.troubles import SetUpError

    try:
        work()
    except SetUpError as error:
        print(f"\nBathkeeper could not be set up.\n{error}", file=sys.stderr)
        return False
    except KeyboardInterrupt:
        print("\nStopped. The next start sets Bathkeeper up from the beginning.", file=sys.stderr)
        return False
    return True


def _add(extra: str) -> int:
    from app.installation import build

    if not environment.is_current(environment.RUN_LOCK) and not _set_up():
        return 1
    lock, said = {
        "heic": (environment.HEIC_LOCK, "HEIC photos are accepted from the next start on."),
        "s3": (environment.S3_LOCK, "Photos can be in an object storage from the next start on."),
    }[extra]
    if not _tried(lambda: build.add_extra(lock)):
        return 1
    print(said)
    return 0


def _run_tests(arguments: list[str]) -> int:
    from app.installation import browser, build

    if "--oracles" in arguments:
        what, beside = "the libraries that are asked again", environment.ORACLES
        if not _tried(lambda: build.make_beside(beside, environment.ORACLES_LOCK, what)):
            return 1
        return environment.run_python(["-m", "pytest", *arguments], beside)
    if not environment.is_current(environment.TEST_LOCK) and not _set_up(with_tests=True):
        return 1
    if "--mutants" in arguments:
        chosen = [word for word in arguments if word != "--mutants"]
        return environment.run_python(["-m", "tests.mutants", *chosen])
    if not browser.is_provided():
        return 1
    return environment.run_python(["-m", "pytest", *_workers(arguments), *arguments])


def _workers(arguments: list[str]) -> list[str]:
    """Options for a worker on each core: they cost seconds to start, so not for single files."""
    are_few = any(".py" in word for word in arguments)
    is_said = any(word.split("=")[0] in ONE_PROCESS or word[:2] == "-n" for word in arguments)
    if are_few or is_said:
        return []
    return ["-n", "auto", "--maxprocesses", "8", "--dist", "loadfile", "--no-loadscope-reorder"]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
