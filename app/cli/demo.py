"""The command that serves a made-up room."""

import argparse
import sys

from app.cli.alone import alone
from app.cli.database import opened, writable_settings
from app.cli.progress import ProgressBar
from app.cli.serving import run, signing_as
from app.clock import utc_now
from app.services.demo import is_loaded, load_demo

FOLDER = "data/demo"


def demo(words: argparse.Namespace) -> int:
    """Serve the made-up room, which the first start loads."""
    settings = writable_settings(words.data, FOLDER)
    with alone(settings.url), opened(settings.data_dir, is_new_allowed=True) as store:
        if not is_loaded(store):
            sys.stdout.write("Loading the demo room (first start only).\n")
            sys.stdout.flush()
            progress = ProgressBar()
            load_demo(store, utc_now(), progress)
            progress.close()
        return run(words.listener, words.host, signing_as(words, settings), store, words.https)
