"""Digests of secrets: slow ones of what people choose, plain ones of what was drawn at random."""

import hashlib
import secrets
import threading

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

# Argon2id, 19 MiB, 2 passes, 1 lane: the least of the OWASP Password Storage Cheat Sheet, from
# memory; 21 ms on the machine it was measured on. What stops guessing is the wait (throttling).
_HASHER = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
_AT_ONCE = threading.BoundedSemaphore(2)  # each takes 19 MiB, and time of everybody else's
RANDOM_BYTES = 32
TOKEN_PREFIX = "bk_"  # noqa: S105 - what a token begins with
CODE_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"  # none that is taken for another


def slow_digest(secret: str) -> str:
    """The digest of a PIN or password that is kept, with its own salt."""
    with _AT_ONCE:
        return _HASHER.hash(secret)


def fits(digest: str, secret: str) -> bool:
    """Whether a PIN or password is the one of the digest."""
    with _AT_ONCE:
        try:
            return _HASHER.verify(digest, secret)
        except (VerificationError, InvalidHashError, UnicodeError):
            return False


def drawn() -> str:
    """A secret that nobody chose: of a session, a device or a token."""
    return secrets.token_urlsafe(RANDOM_BYTES)


def drawn_code() -> str:
    """A code to be read from a screen and typed: 8 letters, 39 bits.

    >>> len(drawn_code())
    9
    """
    letters = [secrets.choice(CODE_LETTERS) for _ in range(8)]
    return f"{''.join(letters[:4])}-{''.join(letters[4:])}"


def digest_of(text: str) -> str:
    """The digest of a secret that was drawn: long enough that a quick one is safe.

    >>> digest_of("x")[:8]
    '2d711642'
    """
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()
