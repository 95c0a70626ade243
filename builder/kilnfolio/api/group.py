"""A group of mills: reads the lines of each, and compares what it may."""

from __future__ import annotations

import datetime as dt
import math
import statistics
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from pydantic import ValidationError

from kilnfolio.api.lines import ChargeLine, Lines, lines_of
from kilnfolio.api.mill import open_mill
from kilnfolio.archive.sealed_mill import open_sealed_mill
from kilnfolio.physics.comparisons import interval_of_mean
from kilnfolio.records.problems import RecordProblems
from kilnfolio.runtime.files import TooLargeError, read_whole
from kilnfolio.runtime.values import dataclass

LEAST = 5
"""Fewest charges of a mill for a mean with its interval; common practice, no source."""
MOST_BYTES = 200_000_000
"""The largest file of lines that is read."""


class LinesRefusedError(Exception):
    """A file does not hold lines; the message says which and why."""


@dataclass(frozen=True)
class Mean:
    """A mean over charges.

    Attributes
    ----------
    n : int
        Number of charges.
    mean : float
        In the unit of the figure.
    half : float or None
        Half its 95 % interval, by Student's t; None with fewer than `LEAST` charges.
    """

    n: int
    mean: float
    half: float | None


@dataclass(frozen=True)
class MillResult:
    """What a mill's charges of one schedule and steps came to; None where nothing is known."""

    mill: str
    revision: str
    steps: str
    n: int
    days: Mean | None
    off_target: Mean | None
    """Final mean less target [points]."""
    sd: float | None
    """Standard deviations of the final surveys, pooled [points]."""
    energy: Mean | None
    """Metered energy by volume [kWh/m³]."""
    fails: int


@dataclass(frozen=True)
class SameSchedule:
    """A schedule that several mills dry by."""

    id: str
    title: str
    same_steps: bool
    """Whether all of them have the same steps."""
    results: tuple[MillResult, ...]


@dataclass(frozen=True)
class QuarterResult:
    """A mill's charges of a quarter."""

    mill: str
    quarter: str
    n: int
    off_target: float | None
    """Mean of final less target [points]."""
    energy: float | None
    """Mean of metered energy by volume [kWh/m³]."""


def read_lines(paths: Sequence[Path]) -> list[Lines]:
    """Return the lines in files, or those of mill folders, by the name of the mill.

    Raises
    ------
    LinesRefusedError
        A file holds no lines, a folder is no mill or has problems, or two are of one mill.
    """
    found = [_read(path) for path in paths]
    names = [one.mill.name for one in found]
    for place, name in enumerate(names):
        if name in names[:place]:
            first = paths[names.index(name)]
            raise LinesRefusedError(f"{paths[place]} and {first} are both of {name}; leave one out")
    return sorted(found, key=lambda one: one.mill.name)


def _lines_of_folder(path: Path) -> Lines:
    if not (path / "content" / "mill.yaml").is_file():
        raise LinesRefusedError(
            f"{path} is no mill folder: it has no content/mill.yaml; name a mill folder or a file "
            "of lines"
        )
    try:
        mill = open_mill(path)
        mill.check()
        return lines_of(mill, open_sealed_mill(path))
    except RecordProblems:
        raise LinesRefusedError(
            f"{path} has problems in its records; 'kilnfolio check {path}' lists them"
        ) from None


def _read(path: Path) -> Lines:
    if path.is_dir():
        return _lines_of_folder(path)
    try:
        return Lines.model_validate_json(read_whole(path, MOST_BYTES))
    except (OSError, TooLargeError) as error:
        raise LinesRefusedError(f"{path} cannot be read: {error}") from None
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the file"
        raise LinesRefusedError(
            f"{path} holds no lines of a mill: {where}: {first['msg']}; "
            "write it with 'kilnfolio export --format lines --out FILE'"
        ) from None


def mean_of(values: Sequence[float]) -> Mean | None:
    """Return the mean of some values with its interval; None without any."""
    if not values:
        return None
    if len(values) < LEAST:
        return Mean(len(values), statistics.fmean(values), None)
    return Mean(len(values), *interval_of_mean(values))


def off_target(charge: ChargeLine) -> float | None:
    """Return the final mean less the target [points]; None without a final survey."""
    mean = charge.final_mean_mc_pct
    return None if mean is None else mean - charge.target_mc_pct


def energy_of(charge: ChargeLine) -> float | None:
    """Return the metered energy by volume [kWh/m³]; None if it was not metered."""
    return charge.energy_kwh / charge.volume_m3 if charge.energy_kwh and charge.volume_m3 else None


def same_schedules(group: Sequence[Lines]) -> list[SameSchedule]:
    """Return the schedules that two mills or more have dried by, and what came of it at each."""
    ids = sorted({one.schedule for mill in group for one in mill.charges})
    found = [_same(group, name) for name in ids]
    return [one for one in found if len(one.results) > 1]


def _same(group: Sequence[Lines], name: str) -> SameSchedule:
    results, steps, title = [], set[str](), ""
    for mill in group:
        charges = [one for one in mill.charges if one.schedule == name]
        record = next((one for one in mill.schedules if one.id == name), None)
        if charges and record is not None:
            steps.add(record.steps)
            title = title or record.title
            results.append(_result(mill.mill.name, record.steps, charges))
    return SameSchedule(name, title or name, len(steps) == 1, tuple(results))


def _result(mill: str, steps: str, charges: Sequence[ChargeLine]) -> MillResult:
    revisions = sorted({one.schedule_revision for one in charges})
    surveys = [
        (one.final_sd_mc_pct, one.readings - 1)
        for one in charges
        if one.final_sd_mc_pct is not None and one.readings and one.readings > 1
    ]
    degrees = sum(weight for _, weight in surveys)
    pooled = math.sqrt(sum(sd**2 * weight for sd, weight in surveys) / degrees) if degrees else None
    return MillResult(
        mill,
        ", ".join(map(str, revisions)),
        steps[:12],
        len(charges),
        mean_of([one.days for one in charges]),
        mean_of(_known(charges, off_target)),
        pooled,
        mean_of(_known(charges, energy_of)),
        sum(one.fails > 0 for one in charges),
    )


def _known(charges: Sequence[ChargeLine], get: Callable[[ChargeLine], float | None]) -> list[float]:
    return [value for one in charges if (value := get(one)) is not None]


def quarter_of(moment: dt.datetime) -> str:
    """Return the quarter of a time, as in ``2026 Q2``."""
    return f"{moment.year} Q{(moment.month + 2) // 3}"


def every_quarter(first: str, last: str) -> list[str]:
    """Return the quarters from one to another, as in ``2026 Q2``, those without charges too."""
    begin, end = (int(one[:4]) * 4 + int(one[-1]) - 1 for one in (first, last))
    return [f"{at // 4} Q{at % 4 + 1}" for at in range(begin, end + 1)]


def quarters(group: Sequence[Lines]) -> Iterator[QuarterResult]:
    """Yield what each mill's charges came to, by the quarter in which they ended."""
    for mill in group:
        by_quarter: dict[str, list[ChargeLine]] = {}
        for one in mill.charges:
            by_quarter.setdefault(quarter_of(one.ended), []).append(one)
        for quarter, charges in sorted(by_quarter.items()):
            off, energy = (mean_of(_known(charges, get)) for get in (off_target, energy_of))
            yield QuarterResult(
                mill.mill.name,
                quarter,
                len(charges),
                off.mean if off else None,
                energy.mean if energy else None,
            )
