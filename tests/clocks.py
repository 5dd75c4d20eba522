"""The server's clock in a test: it stands, is moved on, or gains a little at each look."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from tests.factories import NOW


@dataclass
class Clock:
    """An instant that a test moves on.

    Attributes:
        at_each_look: what passes whenever somebody looks.
    """

    now: datetime = NOW
    at_each_look: timedelta = timedelta()

    def __call__(self) -> datetime:
        self.now += self.at_each_look
        return self.now

    def wait(self, **length: float) -> None:
        """Let time pass, in the words of `timedelta`."""
        self.now += timedelta(**length)
