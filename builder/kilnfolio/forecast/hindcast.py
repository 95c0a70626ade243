"""Forecasts of earlier charges, whose errors give the forecast its bands.

Each earlier charge is forecast from a quarter, half and three quarters of its time, with the curve
learnt from the others. The model's own spread will not do: bands made from it held the truth in one
case in three when they promised four in five.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kilnfolio.forecast.curve import Curve, leaving_out
from kilnfolio.forecast.inputs import Run
from kilnfolio.forecast.march import Case, Course, march
from kilnfolio.forecast.pace import boards
from kilnfolio.physics._types import Floats
from kilnfolio.records.middle import median
from kilnfolio.runtime.values import dataclass

SHARES = (0.1, 0.25, 0.5, 0.75)
"""Shares of a charge's time at which it is hindcast. [-]"""

FLOOR = 0.15
"""Prior scale of ln(actual/forecast), worth four earlier charges, so that a few lucky ones do not
make the band too narrow. [-]"""

_FLOOR_WEIGHT = 4
_FLOOR_DEGREES = 3

SHORT_H = 6.0
"""Added to both times before taking their ratio, so that 1 h late in 1 h is no doubling. [h]"""

WITHOUT = {"relative": (0.25, 0.21, 0.22, 0.28), "formula": (1.0, 1.0, 0.9, 0.65)}
"""Scale at `SHARES` without earlier charges of the wood, from invented charges. [-]"""


@dataclass(frozen=True)
class Hindcast:
    """The forecast of an earlier charge from one point of its time.

    Attributes
    ----------
    charge : str
    share : float
        Share of its time that had passed. [-]
    as_of, forecast_end, actual_end : float
        Hours from its start. [h]
    level : ndarray, shape (steps,)
        The MC at which each step ends. [%]
    log_ratio : ndarray, shape (steps,)
        ln of actual over forecast time left until then; NaN if it was already past. [-]
    """

    charge: str
    share: float
    as_of: float
    forecast_end: float
    actual_end: float
    level: Floats
    log_ratio: Floats

    @property
    def end_ratio(self) -> float:
        """Natural logarithm of actual over forecast time left until the end [-]."""
        return log_ratio(self.actual_end - self.as_of, self.forecast_end - self.as_of)

    @property
    def error_pct(self) -> float:
        """Error of the end as a share of the whole time; positive if it ended late [%]."""
        return 100.0 * (self.actual_end - self.forecast_end) / self.actual_end


@dataclass(frozen=True)
class Spread:
    """The distribution of ln(actual/forecast) of a time left: Student's t.

    Attributes
    ----------
    centre, scale : float
    degrees : float
        Degrees of freedom.
    """

    centre: float
    scale: float
    degrees: float

    def time_left(self, forecast_h: float, share: float) -> float:
        """Return the time left that is not exceeded with a given probability [h]."""
        from scipy.special import stdtrit

        deviation = float(stdtrit(self.degrees, share)) * self.scale + self.centre
        return float((forecast_h + SHORT_H) * np.exp(deviation) - SHORT_H)


def log_ratio(actual_h: float, forecast_h: float) -> float:
    """Return the natural logarithm of actual over forecast time left [-]."""
    return float(np.log((max(actual_h, 0.0) + SHORT_H) / (max(forecast_h, 0.0) + SHORT_H)))


def hindcasts(runs: Sequence[Run], curves: Sequence[Curve] | None = None) -> tuple[Hindcast, ...]:
    """Return forecasts of every complete earlier charge from each of `SHARES`.

    Parameters
    ----------
    runs : sequence of Run
        The earlier charges.
    curves : sequence of Curve, optional
        For each charge, a curve learnt without it. By default it is learnt from the other charges,
        and fewer than two charges give no hindcasts.
    """
    if curves is None and len(runs) < 2:
        return ()
    cases, about = [], []
    for run, curve in zip(runs, leaving_out(runs) if curves is None else curves, strict=True):
        target = run.target_mc_pct
        end = run.reached(target) if target is not None else float("nan")
        if not np.isfinite(end):
            continue
        for share in SHARES:
            known = run.until(share * end)
            if not known.weighings.hours.size:
                continue
            as_of = float(known.weighings.hours[-1])
            cases.append(Case(known, curve, boards(curve, known), as_of))
            about.append((run, share, as_of, end))
    if not cases:
        return ()
    return tuple(
        _compare(*known, course) for known, course in zip(about, march(cases), strict=True)
    )


def _compare(run: Run, share: float, as_of: float, end: float, course: Course) -> Hindcast:
    level = np.array(
        [step.until_mc_pct if step.until_mc_pct is not None else np.nan for step in run.steps]
    )
    actual = [run.reached(mc) if np.isfinite(mc) else np.nan for mc in level]
    ratio = [
        log_ratio(a - as_of, f - as_of) if np.isfinite(a + f) and a > as_of else np.nan
        for a, f in zip(actual, course.step_due, strict=True)
    ]
    return Hindcast(run.charge, share, as_of, course.target, end, level, np.array(ratio))


def spread_of(
    found: Sequence[Hindcast], share: float, origin: str, level: float | None = None
) -> Spread:
    """Return the spread of a forecast made at a share of the time.

    Parameters
    ----------
    found : sequence of Hindcast
        Hindcasts of the charges the curve was learnt from.
    share : float
        Share of the time that has passed, as forecast. [-]
    origin : str
        Origin of the curve.
    level : float, optional
        The MC at a step's end; by default the end of drying. [%]

    Notes
    -----
    Centre and scale are interpolated between `SHARES`. ``centre = median n/(n + 3)``;
    ``scale² = (Σ(r - centre)² + 4 FLOOR²)/(n + 3) (1 + 1/n)``; n + 3 degrees of freedom.
    """
    if origin != "own":
        return Spread(0.0, float(np.interp(share, SHARES, WITHOUT[origin])), 5.0)
    rows = []
    for at in SHARES:
        here = [one for one in found if one.share == at]
        ratios = np.array([_ratio(one, level) for one in here])
        ratios = ratios[np.isfinite(ratios)]
        if level is not None and ratios.size < 4:
            continue
        rows.append((at, *moments(ratios)))
    if not rows:
        return spread_of(found, share, origin) if level is not None else Spread(0.0, FLOOR, 3.0)
    shares, centres, scales, degrees = (np.array(column) for column in zip(*rows, strict=True))
    return Spread(*(float(np.interp(share, shares, row)) for row in (centres, scales, degrees)))


def _ratio(one: Hindcast, level: float | None) -> float:
    if level is None:
        return one.end_ratio
    same = np.flatnonzero(np.abs(one.level - level) < 0.25)
    return float(one.log_ratio[same[0]]) if same.size else float("nan")


def moments(ratios: Floats) -> tuple[float, float, float]:
    """Return centre, scale and degrees of freedom of ln(actual/forecast); see `spread_of`."""
    n = ratios.size
    if not n:
        return 0.0, 2 * FLOOR, float(_FLOOR_DEGREES)
    centre = median(ratios) * n / (n + _FLOOR_DEGREES)
    squares = float(((ratios - centre) ** 2).sum()) + _FLOOR_WEIGHT * FLOOR**2
    scale = np.sqrt(squares / (n + _FLOOR_DEGREES)) * np.sqrt(1.0 + 1.0 / n)
    return centre, float(scale), float(n + _FLOOR_DEGREES)
