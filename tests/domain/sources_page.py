"""docs/sources.md: how each legal value was read, worked out of the program, and counted.

`python -m tests.domain.sources_page` writes its tables anew and prints the counts.
"""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from app.domain.air import VAPOURS
from app.domain.solvents import SOLVENTS
from app.domain.storage import REFERENCES
from app.domain.waste.rules import RULE_SETS

PAGE = Path(__file__).parents[2] / "docs" / "sources.md"
START, END = "<!-- legal values -->\n", "<!-- end -->\n"
LAID_DOWN = ("read", "second hand", "from memory")
Value = tuple[str, str, str, str]
"""What it is, its value, where it stands, how that was read."""


def legal_values() -> Iterator[Value]:
    """All values of laws, regulations and lists of limits; of what is customary none."""
    for rules in RULE_SETS.values():
        for rule in rules.rules:
            if rule.is_legal and rule.value is not None:
                value = f"{rule.value:g} {rule.unit}"
                yield f"{rules.key}: {rule.label}", value, rule.source, rule.confidence
    for key, vapour in VAPOURS.items():
        for limit in vapour.limits:
            name = f"{SOLVENTS[key].name}, {limit.name}"
            yield name, f"{limit.ppm:g} ppm", limit.paper.name, limit.paper.how_read
    for each in REFERENCES:
        yield each.name, f"{each.litres:.0f} L", each.paper.name, each.paper.how_read


def counted() -> Counter[str]:
    """How many were read in which way."""
    return Counter(how for *_, how in legal_values())


def table() -> str:
    """The counts and the table."""
    counts = counted()
    said = ", ".join(f"{counts[how]} {how}" for how in LAID_DOWN)
    rows = [f"| {what} | {value} | {where} | {how} |" for what, value, where, how in legal_values()]
    head = ["| value | | where it stands | how it was read |", "| --- | --- | --- | --- |"]
    return "\n".join([f"Of {counts.total()} values: {said}.", "", *head, *rows]) + "\n"


def written(page: str) -> str:
    """The page with the table of today."""
    before, _, rest = page.partition(START)
    _, _, after = rest.partition(END)
    return f"{before}{START}{table()}{END}{after}"


if __name__ == "__main__":
    PAGE.write_text(written(PAGE.read_text()))
    print(dict(counted()))
