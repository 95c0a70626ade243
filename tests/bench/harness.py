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
from importlib import metadata
from pathlib import Path

PROJECT = Path(__file__).parents[2]
RESULTS = Path(__file__).parent / "results"

#: Libraries whose versions are written with the results.
VERSIONS = ("jinja2", "markdown", "numpy", "pandas", "pydantic", "pyyaml", "weasyprint")


def processor() -> float:
    """Return processor seconds of this process and of those it waited for."""
    used = map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in used)


def timed(work: Callable[[], object], clock: Callable[[], float] = processor) -> float:
    begun = clock()
    work()
    return max(clock() - begun, 1e-9)


@dataclass
class Result:
    """The cost of one path and of its floor."""

    name: str
    floor: str
    floor_s: float
    path_s: float
    ratio: float
    goal: float | None
    peak_mb: float | None = None
    """Of a program; of a call, what it adds to this process."""
    more: bool = False
    """Whether more is better, as for two processes against one."""
    turns: int = 1
    """How often both were run."""

    @property
    def met(self) -> bool:
        """Whether the goal is met; true where there is none."""
        if self.goal is None:
            return True
        return self.ratio >= self.goal if self.more else self.ratio <= self.goal

    def __str__(self) -> str:
        peak = f"  peak {self.peak_mb:.0f} MB" if self.peak_mb else ""
        return (
            f"{self.name}: {self.path_s:.4g} s, {self.ratio:.2f} × {self.floor} "
            f"({self.floor_s:.4g} s); {self.goal_text}{peak}, turns: {self.turns}"
        )

    @property
    def goal_text(self) -> str:
        if self.goal is None:
            return "no goal"
        sign = "≥" if self.more else "≤"
        return f"{sign} {self.goal:g}, {'met' if self.met else 'MISSED'}"


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
        goal: float | None,
        *,
        times: int = 5,
        clock: Callable[[], float] = processor,
        more: bool = False,
        warm: bool = True,
    ) -> Result:
        """Time a path against its floor; `more` is for a floor that is to take longer."""
        peak_mb = None
        if warm:
            floor(), path()  # warm up: imports and first reads are not compared
        pairs = [(timed(floor, clock), timed(path, clock)) for _ in range(times)]
        if clock is processor:  # what other processes hold is not seen
            peak_mb = highest_memory(path)
        return self.compare(name, pairs, floor_name, goal, more=more, peak_mb=peak_mb)

    def compare(
        self,
        name: str,
        pairs: Sequence[tuple[float, float]],
        floor_name: str,
        goal: float | None,
        *,
        more: bool = False,
        peak_mb: float | None = None,
    ) -> Result:
        """Keep the medians of turns: the seconds of the floor and of the path in each."""
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
            len(pairs),
        )
        self.tell(result)
        return result

    def programs(
        self,
        name: str,
        turns: Sequence[tuple[float, tuple[float, float]]],
        floor_name: str,
        goal: float | None,
    ) -> Result:
        """Keep turns of programs: the floor's seconds, and the path's with its peak memory."""
        pairs = [(low, high) for low, (high, _) in turns]
        peak_mb = max(peak for _, (_, peak) in turns)
        return self.compare(name, pairs, floor_name, goal, peak_mb=peak_mb)

    def write(self) -> Path:
        """Write everything as JSON, so that runs can be compared."""
        RESULTS.mkdir(exist_ok=True)
        path = RESULTS / f"{time.strftime('%Y%m%d-%H%M%S', time.gmtime())}.json"
        path.write_text(
            json.dumps(
                {
                    "machine": machine(),
                    "measured": time.strftime("%Y-%m-%d", time.gmtime()),
                    "versions": {name: metadata.version(name) for name in VERSIONS},
                    "results": [asdict(one) | {"met": one.met} for one in self.results],
                    "growths": [asdict(one) | {"exponents": one.exponents} for one in self.growths],
                },
                indent=1,
            )
        )
        return path


def machine() -> str:
    """Return what the benchmarks ran on."""
    return (
        f"{platform.machine()}, {len(os.sched_getaffinity(0))} processors, "
        f"{platform.python_implementation()} {platform.python_version()}"
    )


def highest_memory(work: Callable[[], object]) -> float | None:
    """Return the memory that a call adds to this process [MB]; None where it is not told.

    Linux keeps the highest resident size of a process and forgets it when asked to.
    """
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return None
    before = resident_mb()
    work()
    return resident_mb() - before


def slope(sizes: Sequence[int], values: Sequence[float]) -> float:
    """Return the exponent fitted to values at sizes, by least squares on logarithms."""
    if len(sizes) < 2:
        return math.nan
    fit = statistics.linear_regression(
        [math.log(n) for n in sizes], [math.log(max(v, 1e-9)) for v in values]
    )
    return fit.slope


#: What tests/conftest.py sets, and a command sets for itself.
_OF_TESTS = ("PYTHONDONTWRITEBYTECODE", "OPENBLAS_NUM_THREADS", "PYDANTIC_DISABLE_PLUGINS")


def child(*words: object, codes: Sequence[int] = (0,)) -> tuple[float, float]:
    """Run this Python with arguments; return its processor seconds and its peak memory [MB].

    The kernel counts into a child's peak what its parent held when it was started, so the peak is
    read from the child itself while it runs.
    """
    # as a user starts it: modules are compiled, and what the tests set for themselves is not set
    environment = {name: value for name, value in os.environ.items() if name not in _OF_TESTS}
    with (
        tempfile.TemporaryFile() as said,
        subprocess.Popen(
            [sys.executable, *map(str, words)],
            stdout=subprocess.DEVNULL,
            stderr=said,
            env=environment,
        ) as run,
    ):
        peak, ended = 0.0, 0
        while not ended:
            time.sleep(0.005)
            peak = max(peak, resident_mb(run.pid))
            ended, status, used = os.wait4(run.pid, os.WNOHANG)
        run.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        assert run.returncode in codes, said.read()[-2000:]
    return used.ru_utime + used.ru_stime, peak


def resident_mb(process: int | str = "self") -> float:
    """Return the most memory that a process has held so far [MB]; 0 once it has ended."""
    status = Path(f"/proc/{process}/status").read_text()
    return int((status.partition("VmHWM:")[2].split() or ["0"])[0]) / 1024
