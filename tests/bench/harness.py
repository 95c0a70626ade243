"""Timing a path against a floor: in turn, medians, the same work done by less code.

A ratio says more than seconds, which move with the machine and with whatever else it is doing: path
and floor are run in turn, so that both meet the same weather, and the ratio is the median over the
turns. Time is processor time, of this process and of those it waited for, but where processes work
side by side, which only the clock on the wall sees.
"""

from __future__ import annotations

import json
import math
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

RESULTS = Path(__file__).parent / "results"

#: Starts as an installed command does: with its modules compiled.
ENVIRONMENT = {
    name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
}


@dataclass
class Result:
    """The cost of one path and of its floor."""

    name: str
    floor: str
    floor_s: float
    path_s: float
    ratio: float
    goal: float
    peak_mb: float | None = None
    more: bool = False
    """Whether more is better, as for two processes against one."""

    @property
    def met(self) -> bool:
        return self.ratio >= self.goal if self.more else self.ratio <= self.goal

    def __str__(self) -> str:
        peak = f"  peak {self.peak_mb:.0f} MB" if self.peak_mb else ""
        sign = "≥" if self.more else "≤"
        return (
            f"{self.name}: {self.path_s:.4g} s, {self.ratio:.2f} × {self.floor} "
            f"({self.floor_s:.4g} s); goal {sign} {self.goal}, "
            f"{'met' if self.met else 'MISSED'}{peak}"
        )


@dataclass
class Growth:
    """The cost of a path at each size."""

    name: str
    sizes: list[int]
    seconds: list[float]
    peak_mb: list[float]

    @property
    def exponents(self) -> tuple[float, float]:
        """The exponents with which time and memory grow with the size."""
        return slope(self.sizes, self.seconds), slope(self.sizes, self.peak_mb)

    def __str__(self) -> str:
        at = ", ".join(
            f"{size:,}: {seconds:.3g} s, {peak:.0f} MB"
            for size, seconds, peak in zip(self.sizes, self.seconds, self.peak_mb, strict=True)
        )
        time_power, memory_power = self.exponents
        return f"{self.name}: {at}; time ~ n^{time_power:.2f}, memory ~ n^{memory_power:.2f}"


@dataclass
class Book:
    """The results of a run of the benchmarks."""

    results: list[Result] = field(default_factory=list)
    growths: list[Growth] = field(default_factory=list)

    def tell(self, found: Result | Growth) -> Result | Growth:
        """Print and keep a result."""
        sys.stdout.write(f"\n  {found}\n")
        (self.results if isinstance(found, Result) else self.growths).append(found)
        return found

    def against(
        self,
        name: str,
        path: Callable[[], object],
        floor_name: str,
        floor: Callable[[], object],
        goal: float,
        *,
        times: int = 5,
        clock: Callable[[], float] | None = None,
        more: bool = False,
        peak_mb: float | None = None,
        warm: bool = True,
    ) -> Result:
        """Time a path against its floor; `more` is for a floor that is to take longer."""
        clock = clock or processor
        if warm:
            floor(), path()  # warm up: imports and first reads are not compared
        pairs = [(timed(floor, clock), timed(path, clock)) for _ in range(times)]
        ratios = [low / high if more else high / low for low, high in pairs]
        result = Result(
            name,
            floor_name,
            statistics.median(low for low, _ in pairs),
            statistics.median(high for _, high in pairs),
            statistics.median(ratios),
            goal,
            peak_mb,
            more,
        )
        self.tell(result)
        return result

    def write(self) -> Path:
        """Write everything as JSON, so that runs can be compared."""
        RESULTS.mkdir(exist_ok=True)
        path = RESULTS / f"{time.strftime('%Y%m%d-%H%M%S', time.gmtime())}.json"
        path.write_text(
            json.dumps(
                {
                    "machine": f"{platform.machine()}, {os.cpu_count()} processors, Python "
                    f"{platform.python_version()}",
                    "results": [asdict(one) | {"met": one.met} for one in self.results],
                    "growths": [asdict(one) | {"exponents": one.exponents} for one in self.growths],
                },
                indent=1,
            )
        )
        return path


def processor() -> float:
    """Return processor seconds of this process and of those it waited for."""
    used = map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in used)


def timed(work: Callable[[], object], clock: Callable[[], float]) -> float:
    begun = clock()
    work()
    return max(clock() - begun, 1e-9)


def slope(sizes: Sequence[int], values: Sequence[float]) -> float:
    """Return the exponent fitted to values at sizes, by least squares on logarithms."""
    if len(sizes) < 2:
        return math.nan
    fit = statistics.linear_regression(
        [math.log(n) for n in sizes], [math.log(max(v, 1e-9)) for v in values]
    )
    return fit.slope


def child(*words: object) -> tuple[float, float]:
    """Run this Python with arguments; return its processor seconds and its peak memory [MB]."""
    with (
        tempfile.TemporaryFile() as said,
        subprocess.Popen(
            [sys.executable, *map(str, words)],
            stdout=subprocess.DEVNULL,
            stderr=said,
            env=ENVIRONMENT,
        ) as run,
    ):
        _, status, used = os.wait4(run.pid, 0)
        run.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        assert run.returncode == 0, said.read()[-2000:]
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
