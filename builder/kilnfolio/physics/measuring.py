"""How far a scale or a meter can be trusted, from repeated readings and from pairs with the oven.

scipy is imported inside the functions that need it, because it would slow the start of every
command.

References
----------
.. [1] ISO 5725-2:2019, Accuracy (trueness and precision) of measurement methods and results, part
   2: repeatability from replicates, pooled over levels; and 5725-6: repeatability limit 2.8 s_r
   (from memory).
.. [2] NIST/SEMATECH e-Handbook of Statistical Methods, https://doi.org/10.18434/M32189, 2.4
   (gauge R & R studies), 7.2.3.1 (interval of a standard deviation) and 4.1.4.1 (least squares).
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import in_range, numbers, refuse
from kilnfolio.physics.survey import chance_above

LEAST_REPEATS = 10
"""Fewest degrees of freedom for a repeatability; below it, the interval exceeds the value. [-]"""

LEAST_PAIRS = 8
"""Fewest pairs for a correction; common practice, no source. [-]"""

LEAST_DIGITS = 50
"""Fewest readings for a test of last digits: five for each digit, as is usual for chi-square. [-]"""

REPEATABILITY_LIMIT = 2.8
"""Two readings of one piece differ by less than this times s_r, 95 times in 100 [1]_. [-]"""


class Repeatability(NamedTuple):
    """The spread of repeated readings of the same pieces.

    Attributes
    ----------
    sd, low, high : float
        Standard deviation s_r, and its 95 % interval. [unit of the readings]
    degrees : int
        Degrees of freedom: readings less pieces. [-]
    """

    sd: float
    low: float
    high: float
    degrees: int

    @property
    def limit(self) -> float:
        """Difference of two readings exceeded once in 20 [1]_. [unit of the readings]."""
        return REPEATABILITY_LIMIT * self.sd


class Correction(NamedTuple):
    """The straight line from a meter to the oven.

    Attributes
    ----------
    pairs : int
        Number of pairs. [-]
    intercept, slope : float
        Oven MC = intercept + slope · meter MC. [% MC] [-]
    intercept_error, slope_error : float
        Their standard errors. [% MC] [-]
    residual_sd : float
        Standard deviation about the line. [% MC]
    mean_meter, spread_meter : float
        Mean of the meter's readings, and the sum of squares about it. [% MC] [% MC²]
    """

    pairs: int
    intercept: float
    slope: float
    intercept_error: float
    slope_error: float
    residual_sd: float
    mean_meter: float
    spread_meter: float

    @property
    def reach(self) -> float:
        """Student's t for a 95 % interval. [-]."""
        from scipy import stats

        return float(stats.t.ppf(0.975, self.pairs - 2))


class Digits(NamedTuple):
    """The test whether all last digits are equally frequent.

    Attributes
    ----------
    counts : tuple of int
        Readings by last digit, from 0. [-]
    chi_square, chance : float
        Chi-square with 9 degrees of freedom, and the chance of as much or more. [-] [-]
    """

    counts: tuple[int, ...]
    chi_square: float
    chance: float


def repeatability(pieces: Sequence[ArrayLike]) -> Repeatability:
    """Return the spread of repeated readings, pooled over pieces [1]_.

    Parameters
    ----------
    pieces : sequence of array_like
        The readings of each piece, two or more of at least one. [any unit]

    Returns
    -------
    Repeatability

    Raises
    ------
    ValueError
        If no piece was read twice, or a reading is not finite.

    Notes
    -----
    ``s_r² = Σ Σ (x − mean of the piece)² / Σ (n − 1)``; the interval is that of a chi-square [2]_.
    """
    from scipy import stats

    read = [numbers("pieces", one) for one in pieces]
    for one in read:
        refuse(~np.isfinite(one), "pieces must hold finite readings", pieces=one)
    degrees = sum(one.size - 1 for one in read if one.size)
    if degrees < 1:
        raise ValueError(f"pieces must hold one that was read twice; received {len(read)} pieces")
    squares = sum(float(((one - one.mean()) ** 2).sum()) for one in read if one.size)
    low, high = (
        math.sqrt(squares / float(stats.chi2.ppf(share, degrees))) for share in (0.975, 0.025)
    )
    return Repeatability(math.sqrt(squares / degrees), low, high, degrees)


def fitted_correction(meter_pct: ArrayLike, oven_pct: ArrayLike) -> Correction:
    """Return the straight line from a meter's readings to the oven's, by least squares [2]_.

    Parameters
    ----------
    meter_pct, oven_pct : array_like
        The same pieces by both, three or more. [% MC]

    Returns
    -------
    Correction

    Raises
    ------
    ValueError
        If there are fewer than three pairs, their numbers differ, the meter always showed the
        same, or a value is not finite.
    """
    meter, oven = numbers("meter_pct", meter_pct), numbers("oven_pct", oven_pct)
    for name, one in (("meter_pct", meter), ("oven_pct", oven)):
        refuse(~np.isfinite(one), f"{name} must be finite", **{name: one})
    if meter.shape != oven.shape or meter.size < 3:
        raise ValueError(
            f"meter_pct and oven_pct must be as many, 3 or more; received {meter.size} and {oven.size}"
        )
    mean = float(meter.mean())
    spread = float(((meter - mean) ** 2).sum())
    if spread == 0.0:
        raise ValueError(f"meter_pct must differ; received {mean:g} only")
    slope = float(((meter - mean) * (oven - oven.mean())).sum()) / spread
    intercept = float(oven.mean()) - slope * mean
    left = float(((oven - intercept - slope * meter) ** 2).sum())
    sd = math.sqrt(left / (meter.size - 2))
    return Correction(
        int(meter.size),
        intercept,
        slope,
        sd * math.sqrt(1.0 / meter.size + mean**2 / spread),
        sd / math.sqrt(spread),
        sd,
        mean,
        spread,
    )


def corrected_interval(line: Correction, meter_pct: float) -> tuple[float, float]:
    """Return the oven MC that a line gives for a reading, and half its 95 % interval.

    Parameters
    ----------
    line : Correction
        The line.
    meter_pct : float
        A reading, 0 to 100. [% MC]

    Returns
    -------
    tuple of float
        Corrected MC, and half the interval of the mean of such pieces. [% MC] [% MC]

    Raises
    ------
    ValueError
        If the reading is out of range.
    """
    at = float(in_range("meter_pct", meter_pct, 0, 100, "%"))
    error = line.residual_sd * math.sqrt(
        1.0 / line.pairs + (at - line.mean_meter) ** 2 / line.spread_meter
    )
    return line.intercept + line.slope * at, line.reach * error


def last_digits(counts: ArrayLike) -> Digits:
    """Return the chi-square test whether all ten last digits are equally frequent.

    Parameters
    ----------
    counts : array_like, shape (10,)
        Readings by last digit, from 0; one or more. [-]

    Returns
    -------
    Digits

    Raises
    ------
    ValueError
        If they are not ten numbers of 0 or more, or all are 0.
    """
    found = numbers("counts", counts)
    if found.shape != (10,) or (found < 0).any() or not found.sum() > 0:
        raise ValueError("counts must be ten numbers of 0 or more, not all 0")
    expected = float(found.sum()) / 10.0
    chi_square = float(((found - expected) ** 2).sum()) / expected
    return Digits(tuple(int(one) for one in found), chi_square, chance_above(chi_square, 9))
