"""The command that says in words what is wrong."""

import argparse

from app.cli.logs import say
from app.clock import utc_now
from app.config import from_environment
from app.services.health import examination


def doctor(words: argparse.Namespace) -> int:
    """Look at the data folder, the database, the photos and the backups; change nothing."""
    wrong = 0
    for found in examination(from_environment(words.data), utc_now()):
        say(f"{'well ' if found.is_well else 'WRONG'}  {found.name}: {found.words}")
        wrong += not found.is_well
    say("Nothing is wrong." if not wrong else f"Wrong: {wrong}. Nothing was changed.")
    return 1 if wrong else 0
