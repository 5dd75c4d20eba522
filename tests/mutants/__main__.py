"""`python3 -m app test --mutants [SUBJECT ...]`: how many planted errors the tests notice.

With no subject all are measured, which takes hours; `--changed` measures, of the subjects of the
table, the functions that are not as it has them; `--unnoticed` tries those of a subject again that
no test noticed, which is quick while tests are written; `--table` only prints the table. The exit
code is 1 where a subject is below its floor.
"""

import argparse
import os
import shutil
import subprocess
import sys
from collections.abc import Iterable, Mapping

from app.installation import build, environment
from tests.mutants import scores
from tests.mutants.scores import FOLDER, UNNOTICED, Score
from tests.mutants.subjects import ROOT, Subject, subjects


def main() -> int:
    """Measure, keep the table, and say what is below its floor."""
    known = subjects()
    chosen = _chosen(known)
    table = scores.load()
    if chosen.table:
        return _told(known.values(), table)
    names = chosen.subjects or list(known)
    if chosen.changed:
        names = [name for name in names if scores.is_stale(table, known[name])]
        print(f"Changed since they were measured: {', '.join(names) or 'none'}.")
    if names:
        build.make_beside(environment.MUTANTS, environment.MUTANTS_LOCK, "what plants errors")
    for name in names:
        _measure(known[name], table, chosen)
    return _told([known[name] for name in names], table)


def _chosen(known: Iterable[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python3 -m app test --mutants", description=__doc__)
    parser.add_argument("subjects", nargs="*", metavar="SUBJECT", help=", ".join(known))
    parser.add_argument("--changed", action="store_true", help="only what changed since measured")
    parser.add_argument(
        "--unnoticed", action="store_true", help="only what changed, and what nobody noticed"
    )
    parser.add_argument(
        "--at-once", type=int, default=os.cpu_count() or 1, help="errors tried at the same time"
    )
    parser.add_argument("--table", action="store_true", help="print what was measured last")
    parser.add_argument(
        "--keep-low", action="store_true", help="write the table where a subject is too low, too"
    )
    chosen = parser.parse_args()
    if unknown := set(chosen.subjects) - set(known):
        parser.error(f"no subject {', '.join(sorted(unknown))}; there are {', '.join(known)}")
    return chosen


def _measure(subject: Subject, table: dict[str, Score], chosen: argparse.Namespace) -> None:
    print(f"Planting errors in {subject.sources} ...", flush=True)
    shutil.rmtree(FOLDER, ignore_errors=True)
    how = "changed" if chosen.changed else "unnoticed" if chosen.unnoticed else "all"
    python = environment.python_of(environment.MUTANTS)
    planting = ["-m", "tests.mutants.planting", subject.name, str(chosen.at_once), how]
    done = subprocess.run([python, *planting], cwd=ROOT, check=False)
    if done.returncode != 0:
        raise SystemExit(f"The measurement of {subject.name} broke off.")
    found, survivors = scores.read_answers(subject, FOLDER)
    file = UNNOTICED.relative_to(ROOT) / f"{subject.name}.txt"
    print(f"\nNobody noticed {len(survivors)} errors in {subject.name}: see {file}")
    share = scores.percent(found)
    _replace(table, subject, found)
    if chosen.keep_low or share is None or share >= subject.floor_percent:
        kept = scores.load()  # not `table`: it has subjects that were too low, too
        _replace(kept, subject, found)
        scores.save(kept)


def _replace(table: dict[str, Score], subject: Subject, found: Mapping[str, Score]) -> None:
    for module in scores.of_subject(table, subject):
        del table[module]
    table.update(found)


def _told(chosen: Iterable[Subject], table: dict[str, Score]) -> int:
    """Print the scores by subject and module; 1 where one is below its floor."""
    low = 0
    for subject in chosen:
        rows = scores.of_subject(table, subject)
        share = scores.percent(rows)
        if share is None:
            print(f"{subject.name:<12} not measured yet")
            continue
        is_low = share < subject.floor_percent
        low += is_low
        verdict = f"below the floor of {subject.floor_percent:.0f} %" if is_low else "in order"
        print(f"{subject.name:<12} {share:5.1f} %  {verdict}")
        for module, score in sorted(rows.items()):
            if score.planted:
                print(f"    {module:<48} {score.noticed:5} of {score.planted:5}")
    return 1 if low else 0


if __name__ == "__main__":
    sys.exit(main())
