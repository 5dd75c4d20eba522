"""What a PIN or a password must be, and how long a client waits after wrong ones.

A PIN of four digits has 10,000 values, so the wait protects it, not its length. Waits follow each
client and person apart: who guesses makes only themself wait.
"""

import itertools

PIN_DIGITS = (4, 8)
PASSWORD_LENGTHS = (12, 128)  # ASVS 4.0.3, 2.1.1 and 2.1.2, from memory
FREE_FAILURES = 5  # wrong ones before the first wait: common practice, no source
FREE_FAILURES_OF_STRANGERS = 50  # of one person, over all clients that are not known to them
FIRST_WAIT_S = 30
LONGEST_WAIT_S = 900


def pin_problem(pin: str) -> str:
    """What is wrong with a PIN; empty where it may be used.

    >>> pin_problem("1234")
    'This is one of the first anyone would try. Choose another one.'
    >>> pin_problem("4071")
    ''
    """
    least, most = PIN_DIGITS
    if not (pin.isascii() and pin.isdigit() and least <= len(pin) <= most):
        return f"A PIN has {least} to {most} digits."
    steps = {(int(b) - int(a)) % 10 for a, b in itertools.pairwise(pin)}
    if len(steps) == 1 and steps & {0, 1, 9}:
        return "This is one of the first anyone would try. Choose another one."
    return ""


def password_problem(password: str, name: str) -> str:
    """What is wrong with a password; empty where it may be used.

    >>> password_problem("short", "Wren")
    'A password has at least 12 characters. Several words are easy to keep in mind.'
    """
    least, most = PASSWORD_LENGTHS
    if len(password) < least:
        return (
            f"A password has at least {least} characters. Several words are easy to keep in mind."
        )
    if len(password) > most:
        return f"A password has at most {most} characters."
    bare = password.casefold().replace(name.casefold(), "")
    if len(set(bare)) < 5:
        return "This is too easy to guess. Use several words."
    return ""


def wait_s(failures: int, free: int = FREE_FAILURES) -> int:
    """How long after this many wrong ones in a row the next try is taken, in seconds.

    Each wrong one after the free ones doubles it. At the longest wait a client tries 96 times a
    day: all PINs of four digits take it 104 days.

    >>> [wait_s(n) for n in (4, 5, 6, 7, 10, 1000)]
    [0, 30, 60, 120, 900, 900]
    """
    if failures < free:
        return 0
    return int(min(FIRST_WAIT_S * 2 ** min(failures - free, 10), LONGEST_WAIT_S))
