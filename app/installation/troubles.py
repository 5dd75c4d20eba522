"""What can go wrong in a set-up, in words that say what to do."""

import errno
from pathlib import Path

from app.installation.programs import ProgramFailed


class SetUpError(Exception):
    """The set-up cannot go on; the message says what to do."""


SIGNS = (
    (
        (
            "Temporary failure in name resolution",
            "Name or service not known",
            "nodename nor servname",
            "getaddrinfo failed",
            "dns error",
            "Failed to establish a new connection",
            "Network is unreachable",
            "Cannot connect to proxy",
            "Connection refused",
            "error sending request",
            "timed out",
            "Temporary failure resolving",
        ),
        "The package server could not be reached. The set-up needs the network once. Connect "
        "this machine\n(behind a proxy, set HTTPS_PROXY), then start again.",
    ),
    (
        ("No space left on device", "Disk quota exceeded"),
        "The disk is full. Make room (500 MB; 1 GB for the tests), then start again.",
    ),
    (
        ("DO NOT MATCH THE HASHES", "Hash mismatch", "hash mismatch"),
        "A downloaded package is not the one this version was checked with (its hash "
        "differs),\nso it was not installed. A proxy may have changed it. Try another network.",
    ),
)


def explain(error: "ProgramFailed | OSError", folder: Path) -> str:
    """What happened and what to do, in plain words."""
    if isinstance(error, ProgramFailed):
        return _known_trouble(error.output) or _last_words(error)
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return (
            f"The folder {folder} cannot be written to. Copy the project to your own folder, or "
            "ask its owner for write access."
        )
    return _known_trouble(str(error)) or str(error)


def _known_trouble(output: str) -> str:
    return next((advice for signs, advice in SIGNS if any(sign in output for sign in signs)), "")


def _last_words(error: ProgramFailed) -> str:
    lines = error.output.strip().splitlines()[-15:]
    return f"The program {error.program} failed. Its last lines were:\n\n" + "\n".join(
        f"    {line}" for line in lines
    )
