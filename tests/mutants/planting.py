"""Planting the errors of one subject and running its tests against each, through mutmut.

mutmut keeps its settings and its state in modules of its own, so that each subject is measured
in a process of its own: `python -m tests.mutants.planting SUBJECT CHILDREN HOW`. HOW is `all`,
`changed` for the functions that are not as they were measured, or `unnoticed` for these and the
errors that nobody noticed.
"""

import sys
from collections.abc import Iterable
from pathlib import Path

from tests.mutants.scores import (
    FOLDER,
    UNNOTICED,
    load,
    of_subject,
    read_answers,
    write_answers,
)
from tests.mutants.subjects import ROOT, Subject, subjects

QUICKLY = ("-p", "no:xdist", "-p", "no:cacheprovider", "--assert=plain", "--seed=0", "-q", "-x")
COPIED = ("app", "demo_data", "docs", "static", "templates")


def main() -> None:
    """Measure the subject that is named; mutmut leaves the answers in the folder `mutants`."""
    subject = subjects()[sys.argv[1]]
    children, how = int(sys.argv[2]), sys.argv[3]
    if how != "all":
        known = of_subject(load(), subject)
        write_answers(known, FOLDER, unnoticed_again=how == "unnoticed")
    _settle(subject)
    _choose_errors()
    from mutmut import __main__ as mutmut

    from tests.mutants.running import make_runner

    mutmut.get_mutant_runner = make_runner
    mutmut.cli.main(["run", "--max-children", str(children)], standalone_mode=False)
    _write_unnoticed(subject)


def _write_unnoticed(subject: Subject) -> None:
    """Each error that nobody noticed, as a difference to the source, in one file to read."""
    from mutmut.mutation.diff_apply import get_diff_for_mutant

    def shown(name: str) -> str:
        try:
            return f"{name}\n{get_diff_for_mutant(name)}"
        except FileNotFoundError:  # it does not find every function again; the measure stands
            return f"{name}\n(no difference to show)\n"

    _, survivors = read_answers(subject, FOLDER)
    text = "\n".join(shown(name) for name in survivors)
    UNNOTICED.mkdir(exist_ok=True)
    (UNNOTICED / f"{subject.name}.txt").write_text(text + "\n", encoding="utf-8")


def _settle(subject: Subject) -> None:
    from mutmut import configuration

    options = {
        "source_paths": ["app"],
        "only_mutate": [subject.sources],
        "also_copy": [*COPIED, *(path.name for path in ROOT.glob("*.md"))],
        "pytest_add_cli_args": list(QUICKLY),
        "pytest_add_cli_args_test_selection": list(subject.tests),
        "use_git_change_detection": False,
        "timeout_multiplier": 120.0,  # by the clock; `running` has a limit in CPU that is nearer
    }
    configuration._config_reader = lambda: options.get
    configuration.reset_config()


def _choose_errors() -> None:
    """A text is changed once; `min` and `max` change places."""
    import libcst
    from mutmut.mutation import mutators

    whole = mutators.operator_string

    def once(node: libcst.BaseString) -> Iterable[libcst.BaseString]:
        yield from list(whole(node))[:1]

    def extremes(node: libcst.Call) -> Iterable[libcst.Call]:
        if isinstance(node.func, libcst.Name) and node.func.value in ("min", "max"):
            other = "max" if node.func.value == "min" else "min"
            yield node.with_changes(func=libcst.Name(other))

    operators = mutators.mutation_operators
    assert isinstance(operators, list)
    place = operators.index((libcst.BaseString, whole))
    operators[place] = (libcst.BaseString, once)
    operators.append((libcst.Call, extremes))


if __name__ == "__main__":
    assert Path.cwd() == ROOT
    main()
