"""Runs a reader on damaged files, and counts the outcomes.

``KILNFOLIO_FUZZ=10000 sh builder/run test tests/fuzz -s`` reads ten thousand files with each reader
and of each kind of record, and prints the counts. Without it a reader gets a hundred, the same
ones on every run, or as many as its test says.
"""

from __future__ import annotations

import os
import resource
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from contextlib import contextmanager
from typing import TypeVar

from hypothesis import HealthCheck, given, settings
from hypothesis.strategies import SearchStrategy

ASKED = int(os.environ.get("KILNFOLIO_FUZZ", "0"))
#: Files for each reader on every run.
USUAL = 100
T = TypeVar("T")
#: Limits for any file: processor seconds, and bytes of additional memory.
SECONDS, MEMORY = 10.0, 1024**3


@contextmanager
def within(seconds: float):
    """Raise if the body takes more processor time."""

    def late(*_):
        raise AssertionError(f"it took more than {seconds} s of the processor")

    before = signal.signal(signal.SIGPROF, late)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def watch(
    name: str, files: SearchStrategy[T], read: Callable[[T], str], *, usual: int = USUAL
) -> Counter[str]:
    """Read damaged files; return how often each outcome came.

    Parameters
    ----------
    read : callable
        Returns the outcome in a word. What it raises fails the test.
    usual : int
        So many files where no number was asked for.
    """
    outcomes: Counter[str] = Counter()
    slowest = 0.0
    stood = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024

    @settings(
        max_examples=ASKED or usual,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    @given(files)
    def each(data: T) -> None:
        nonlocal slowest
        began = time.process_time()
        with within(SECONDS):
            outcomes[read(data)] += 1
        slowest = max(slowest, time.process_time() - began)

    began = time.process_time()
    each()
    spent = time.process_time() - began
    grew = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 - stood
    sys.stdout.write(
        f"\n{name}: {sum(outcomes.values())} files, {dict(outcomes)}; {spent:.1f} s "
        f"of the processor, slowest {slowest:.2f} s; memory grew by {grew / 1024**2:.0f} MB\n"
    )
    assert grew < MEMORY
    return outcomes
