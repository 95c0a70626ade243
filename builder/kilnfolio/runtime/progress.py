"""Progress of a long run: count, rate and time left on a terminal, plain lines in a pipe."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

#: Seconds between updates on a terminal, and in a pipe.
_ON_TERMINAL, _IN_PIPE = 0.1, 10.0
#: The time left is shown after this many seconds and this share of the work: the first items also
#: wait for processes to start and libraries to load, so their rate says little about the rest.
_SECONDS_FIRST, _SHARE_FIRST = 5.0, 0.1


class Progress:
    """Prints the progress of a run.

    Call it with a label, the number of items done and their total. The rate is the mean since the
    work began; the time left assumes that rate.

    Parameters
    ----------
    stream : text file
        Where to print; standard error by default.
    clock : callable
        Returns seconds.
    verbose : bool
        Whether to print how long each piece of work took.
    """

    def __init__(
        self,
        stream: TextIO | None = None,
        clock: Callable[[], float] = time.monotonic,
        *,
        verbose: bool = False,
    ):
        self._stream, self._clock, self._verbose = stream or sys.stderr, clock, verbose
        self._terminal = self._stream.isatty()
        self._what = ""
        self._started = self._printed = 0.0
        self._wide = 0

    def __call__(self, what: str, done: int, total: int) -> None:
        """Print the progress, unless it was printed just before."""
        now = self._clock()
        if what != self._what:
            self._what, self._started, self._printed = what, now, float("-inf")
        last = done >= total
        if not last and now - self._printed < (_ON_TERMINAL if self._terminal else _IN_PIPE):
            return
        self._printed = now
        line = f"kilnfolio: {what}: {done:,} of {total:,}{self._speed(now, done, total)}"
        if last and self._verbose:
            line += f", {now - self._started:.1f} s"
        if self._terminal:
            self._stream.write("\r" + line.ljust(self._wide) + ("\n" if last else ""))
            self._wide = 0 if last else len(line)
        else:
            self._stream.write(line + "\n")
        self._stream.flush()

    def _speed(self, now: float, done: int, total: int) -> str:
        seconds = now - self._started
        if not done or seconds < 1:
            return ""
        rate = done / seconds
        early = seconds < _SECONDS_FIRST or done < _SHARE_FIRST * total
        left = "" if done >= total or early else f", {duration((total - done) / rate)} left"
        return f", {rate:.3g}/s{left}"


def duration(seconds: float) -> str:
    """Return a duration in words: 40 s, 12 min, 3 h 05 min."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"
