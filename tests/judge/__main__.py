"""Print how near estimates and forecasts lie to the truth, and how soon faults are named."""

import argparse
import sys
from collections.abc import Sequence

from tests.judge.families import FAMILIES, WRONG_PRIORS
from tests.judge.fault_judge import fault_table, judge_faults
from tests.judge.fault_rooms import FAULT_FAMILIES
from tests.judge.judge import estimate_table, forecast_table, judge

FACTOR_FOR_ONE_TANK = 4  # so that small rooms give about as many cycles as large ones
PARTS = ("estimates", "faults")


def main(argv: Sequence[str] | None = None) -> int:
    """Judge the families asked for, all of them by default."""
    parser = argparse.ArgumentParser(prog="python3 -m app bench accuracy", description=__doc__)
    parser.add_argument(
        "--seeds",
        type=int,
        default=6,
        help="rooms of each family; four times as many where a room has one tank",
    )
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--family", action="append", help="only families with this in their name")
    parser.add_argument("--only", choices=PARTS, help="one of the two simulators")
    parser.add_argument(
        "--told",
        action="store_true",
        help="faults by a filter that is told each room's constants: what is possible at best",
    )
    asked = parser.parse_args(argv)
    if asked.seeds < 1 or asked.first < 0:
        parser.error("--seeds must be 1 or more, --first 0 or more")
    every = (*FAMILIES, *WRONG_PRIORS, *FAULT_FAMILIES)
    if not any(_is_meant(one.name, asked.family) for one in every):
        parser.error(f"no family has {' or '.join(asked.family)} in its name")
    if asked.only != "faults":
        _print_estimates(asked)
    if asked.only != "estimates":
        _print_faults(asked)
    return 0


def _is_meant(name: str, wanted: list[str] | None) -> bool:
    return not wanted or any(part in name for part in wanted)


def _print_estimates(asked: argparse.Namespace) -> None:
    """Rooms in which nothing is wrong but the usual: estimates and forecasts."""
    scores = []
    for family in (*FAMILIES, *WRONG_PRIORS):
        if _is_meant(family.name, asked.family):
            rooms = asked.seeds * (FACTOR_FOR_ONE_TANK if family.tanks == 1 else 1)
            scores.append(judge(family, range(asked.first, asked.first + rooms)))
            print(estimate_table(scores[-1:]).splitlines()[-1], flush=True)
    if scores:
        print(f"\n{estimate_table(scores)}\n\n{forecast_table(scores)}\n", flush=True)


def _print_faults(asked: argparse.Namespace) -> None:
    """Rooms in which something goes wrong."""
    head_is_due = True
    for family in FAULT_FAMILIES:
        if _is_meant(family.name, asked.family):
            score = judge_faults(
                family, range(asked.first, asked.first + asked.seeds), is_told=asked.told
            )
            lines = fault_table([score]).splitlines()
            print("\n".join(lines if head_is_due else lines[-1:]), flush=True)
            head_is_due = False


if __name__ == "__main__":
    sys.exit(main())
