"""Progress of long work: a bar on a terminal, now and then a line elsewhere."""

import sys
import time

BAR_WIDTH = 30
LINE_EVERY_S = 5.0
DRAW_EVERY_S = 0.1


class ProgressBar:
    """Called with a phase, what is done of it and all there is (0 where that is not known)."""

    def __init__(self) -> None:
        self._stream = sys.stderr
        self._is_terminal = self._stream.isatty()
        self._phase = ""
        self._last_s = 0.0
        self._drawn = 0

    def __call__(self, phase: str, done: int, total: int) -> None:
        now_s = time.perf_counter()
        wait_s = DRAW_EVERY_S if self._is_terminal else LINE_EVERY_S
        is_new = phase != self._phase
        if not is_new and now_s - self._last_s < wait_s:
            return
        if is_new and self._phase:
            self.close()
        self._phase, self._last_s = phase, now_s
        if self._is_terminal:
            self._draw(_bar(phase, done, total))
        elif not is_new:
            self._stream.write(f"{_line(phase, done, total)}\n")
            self._stream.flush()

    def close(self) -> None:
        """Take the bar away."""
        if self._drawn:
            self._stream.write("\r" + " " * self._drawn + "\r")
            self._stream.flush()
            self._drawn = 0

    def _draw(self, text: str) -> None:
        self._stream.write("\r" + text.ljust(self._drawn))
        self._stream.flush()
        self._drawn = len(text)


def _share(done: int, total: int) -> float:
    """What is done of all; others may add to it while it is counted."""
    return min(done / total, 1.0)


def _line(phase: str, done: int, total: int) -> str:
    return f"{phase}: {100 * _share(done, total):.0f} %" if total else f"{phase}: {done:,}"


def _bar(phase: str, done: int, total: int) -> str:
    """A phase as one line of text.

    >>> _bar("Storing", 50, 100)
    'Storing     [###############               ]  50 %'
    """
    if not total:
        return _line(phase, done, total)
    share = _share(done, total)
    filled = "#" * round(BAR_WIDTH * share)
    return f"{phase:11} [{filled:{BAR_WIDTH}}] {100 * share:3.0f} %"
