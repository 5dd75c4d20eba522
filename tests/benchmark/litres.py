"""Sequences of acts by chance in a room; what the book of litres and the pages say after each."""

import random
from pathlib import Path

from app.services.changes import Progress
from tests.services.litres.sequences import Ran, drawn, make

SEQUENCES = 1000


def measure_litres(folder: Path, sequences: int, seed: int, progress: Progress) -> bool:
    """Print the largest imbalance and the pages that disagree; False where there are any."""
    made = folder / "litres"
    made.mkdir()
    make(made)
    ran, chance, odd = Ran(), random.Random(seed), 0
    for number in range(sequences):
        acts = drawn(chance, number)
        found = ran.add(made, acts)
        if found:
            odd += 1
            print(f"sequence {number} of seed {seed}: {found[0]}\n  {acts}")
        progress("sequences", number + 1, sequences)
    print(
        f"litres, {sequences:,} sequences of seed {seed}: {ran.done:,} acts done, {ran.refused:,} "
        f"refused\n  {ran.looks:,} looks at all pages: most out of balance {ran.most_l:.6f} L, "
        f"pages that disagree {len(ran.apart)}, in {odd} sequences"
    )
    return ran.most_l == 0.0 and not ran.apart
