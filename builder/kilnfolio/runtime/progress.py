"""How far a long run is: counts, rate and time left on a terminal, plain lines in a pipe."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

#: Seconds between two lines on a terminal, and in a pipe.
_ON_TERMINAL, _IN_PIPE = 0.1, 10.0


class Progress:
    """Tells how far a run is.

    Called with what is being done, how much of it is done, and how much there is. The rate is that
    of this run so far, and the time left is what remains at that rate.

    Parameters
    ----------
    stream : text file
        Where it is told; the standard error output by default.
    clock : callable
        Returns seconds.
    """

    def __init__(self, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic):
        self._stream, self._clock = stream or sys.stderr, clock
        self._terminal = self._stream.isatty()
        self._what = ""
        self._begun = self._told = 0.0
        self._wide = 0

    def __call__(self, what: str, done: int, total: int) -> None:
        """Tell it, unless it was told a moment ago."""
        now = self._clock()
        if what != self._what:
            self._what, self._begun, self._told = what, now, float("-inf")
        last = done >= total
        if not last and now - self._told < (_ON_TERMINAL if self._terminal else _IN_PIPE):
            return
        self._told = now
        line = f"kilnfolio: {what}: {done:,} of {total:,}{self._speed(now, done, total)}"
        if self._terminal:
            self._stream.write("\r" + line.ljust(self._wide) + ("\n" if last else ""))
            self._wide = 0 if last else len(line)
        else:
            self._stream.write(line + "\n")
        self._stream.flush()

    def _speed(self, now: float, done: int, total: int) -> str:
        seconds = now - self._begun
        if not done or seconds < 1:
            return ""
        rate = done / seconds
        left = "" if done >= total else f", {duration((total - done) / rate)} left"
        return f", {rate:.3g}/s{left}"


def duration(seconds: float) -> str:
    """Return a time as a person says it: 40 s, 12 min, 3 h 05 min."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"
