"""Print how near estimates and forecasts lie to the truth: `python -m tests.judge`."""

import argparse

from tests.judge.families import FAMILIES, WRONG_PRIORS
from tests.judge.fault_judge import fault_table, judge_faults
from tests.judge.fault_rooms import FAULT_FAMILIES
from tests.judge.judge import estimate_table, forecast_table, judge

FACTOR_FOR_ONE_TANK = 4  # so that small rooms give about as many cycles as large ones


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.judge", description=__doc__)
    parser.add_argument(
        "--seeds",
        type=int,
        default=6,
        help="rooms of each family; four times as many where a room has one tank",
    )
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--family", action="append", help="only families with this in their name")
    asked = parser.parse_args()
    scores = []
    for family in (*FAMILIES, *WRONG_PRIORS):
        if not asked.family or any(part in family.name for part in asked.family):
            rooms = asked.seeds * (FACTOR_FOR_ONE_TANK if family.tanks == 1 else 1)
            scores.append(judge(family, range(asked.first, asked.first + rooms)))
            print(estimate_table(scores[-1:]).splitlines()[-1], flush=True)
    print()
    print(estimate_table(scores))
    print()
    print(forecast_table(scores))
    print()
    print(_faults(asked.family, range(asked.first, asked.first + asked.seeds)))


def _faults(wanted: list[str] | None, seeds: range) -> str:
    """The table of rooms in which something goes wrong."""
    chosen = [f for f in FAULT_FAMILIES if not wanted or any(part in f.name for part in wanted)]
    return fault_table([judge_faults(family, seeds) for family in chosen]) if chosen else ""


if __name__ == "__main__":
    main()
