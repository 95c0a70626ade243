"""Accuracy of forecasts, compared with a line and an exponential through the last weighings."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from kilnfolio.forecast.charge import Learnt, forecast
from kilnfolio.forecast.inputs import Run
from kilnfolio.forecast.result import Forecast
from kilnfolio.runtime.values import dataclass

SHARES = (0.25, 0.5, 0.75)
"""Shares of a charge's whole time at which it is forecast. [-]"""


@dataclass(frozen=True)
class Trial:
    """A forecast of the end of a charge whose end is known; errors in % of its whole time."""

    group: str
    share: float
    curve: float
    line: float
    exponential: float
    width80: float
    in80: bool
    in95: bool
    next_step_days: float


def trials(
    run: Run, end: float, learnt: Learnt, group: str = "", crossings: tuple[float, ...] = ()
) -> Iterable[Trial]:
    """Yield a trial at each of `SHARES` of a charge's time.

    Parameters
    ----------
    run : Run
        The whole charge.
    end : float
        When its controlling MC actually reached the target. [h]
    learnt : Learnt
        Learnt from other charges.
    group : str
        Name of the trial's group.
    crossings : tuple of float
        When each step's trigger was actually reached. [h]
    """
    for share in SHARES:
        weighed = run.weighings.until(share * end).hours
        if not weighed.size:
            continue
        as_of = float(weighed[-1])
        found = forecast(run, learnt, as_of)
        known = run.until(as_of)
        yield Trial(
            group,
            share,
            _error(_hours(found, "median"), end),
            _error(_line(known), end),
            _error(_exponential(known), end),
            100.0 * (_hours(found, "high80") - _hours(found, "low80")) / end,
            _hours(found, "low80") <= end <= _hours(found, "high80"),
            _hours(found, "low95") <= end <= _hours(found, "high95"),
            _next_step(found, crossings),
        )


def table(found: Iterable[Trial]) -> str:
    """Return trials as text: errors and coverage at each share of time, by group and overall."""
    every = list(found)
    lines = [
        f"{'group':<12}{'at':>5}{'n':>5}{'median':>8}{'90th':>7}{'line':>7}{'exp.':>7}"
        f"{'80 %':>7}{'95 %':>7}{'width':>7}{'step':>7}"
    ]
    for group in [*sorted({one.group for one in every}), "all"]:
        for share in SHARES:
            here = [one for one in every if one.share == share and group in (one.group, "all")]
            if here:
                lines.append(_line_of(group, share, here))
    lines.append(
        "Error of the end in % of the whole time; cover of the bands; width of the 80 % "
        "band in % of the whole time; error of the next step in days."
    )
    return (
        "\n".join(lines)
        if every
        else "There is no charge that came down to its target to try it on."
    )


def _line_of(group: str, share: float, here: list[Trial]) -> str:
    errors = np.array([one.curve for one in here])
    steps = np.array([one.next_step_days for one in here])
    step = f"{np.nanmedian(steps):7.2f}" if np.isfinite(steps).any() else f"{'':>7}"
    return (
        f"{group:<12}{100 * share:4.0f}%{len(here):5d}{np.median(errors):8.1f}"
        f"{np.quantile(errors, 0.9):7.1f}{np.median([one.line for one in here]):7.1f}"
        f"{np.median([one.exponential for one in here]):7.1f}"
        f"{100 * np.mean([one.in80 for one in here]):7.0f}"
        f"{100 * np.mean([one.in95 for one in here]):7.0f}"
        f"{np.median([one.width80 for one in here]):7.0f}{step}"
    )


def _hours(found: Forecast, name: str) -> float:
    if found.end is None:
        return float("inf")
    return float((getattr(found.end, name) - found.started).total_seconds() / 3600.0)


def _error(forecast_h: float, end: float) -> float:
    return abs(forecast_h - end) / end * 100.0


def _next_step(found: Forecast, crossings: tuple[float, ...]) -> float:
    """Return the error of the next step [day]; NaN if not known."""
    if not found.steps or found.steps[0].due is None or not crossings:
        return float("nan")
    actual = crossings[found.steps[0].step - 2]
    due = (found.steps[0].due.median - found.started).total_seconds() / 3600.0
    return abs(due - actual) / 24.0


def _line(known: Run) -> float:
    """Return when a straight line through the last two weighings reaches the target [h]."""
    assert known.target_mc_pct is not None
    if known.weighings.hours.size < 2:
        return float("inf")
    (h1, h2), (m1, m2) = known.weighings.hours[-2:], known.controlling_pct[-2:]
    return float(h2 + (m2 - known.target_mc_pct) / max((m1 - m2) / (h2 - h1), 1e-3))


def _exponential(known: Run) -> float:
    """Return when an exponential decay at the last weighings' pace reaches the target [h]."""
    assert known.target_mc_pct is not None
    if known.weighings.hours.size < 2:
        return float("inf")
    emc = min(float(known.air.emc_pct[-1]), known.target_mc_pct - 0.5)
    h1, h2 = known.weighings.hours[-2:]
    m1, m2 = known.controlling_pct[-2:] - emc
    pace = max(np.log(m1 / m2) / (h2 - h1), 1e-5) if m2 > 0 else 1e-5
    return float(h2 + np.log(max(m2, 1e-3) / (known.target_mc_pct - emc)) / pace)
