"""Statistics of a set of moisture readings, for the lot it was taken from.

Every statement assumes pieces chosen at random; a handful from the top of the pack supports none.
A share and a confidence are fractions: 0.95, not 95. Readings are counted, so NaN is refused.

scipy is imported inside the functions that need it, because it would slow the start of every
command.

References
----------
.. [1] ISO 16269-6:2014, Statistical interpretation of data, part 6: determination of statistical
   tolerance intervals.
.. [2] Hahn, G. J., and Meeker, W. Q., Statistical Intervals, Wiley, 1991, chapters 4 to 6.
.. [3] Clopper, C. J., and Pearson, E. S., "The use of confidence or fiducial limits illustrated
   in the case of the binomial", Biometrika 26(4), 1934, 404-413.
.. [4] NIST/SEMATECH e-Handbook of Statistical Methods, sections 7.2.2, 7.2.4 and 7.2.6.3.
"""

import math
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import in_range, numbers, one_of, plain, refuse
from kilnfolio.physics._solve import rising_root
from kilnfolio.physics._types import FloatOrArray, Floats

MOST_READINGS = 1_000_000
"""More readings than this are not a survey of a lot."""

SHARE_ROUNDING = 1e-12
"""Tolerance so that a share from `share_shown` gives back its own number of readings. [-]"""

SIDES = ("two", "lower", "upper")
"""Which limits `tolerance_limits` sets."""

_SPREAD = (
    1e9  # bound on means, limits and standard deviations, only so that messages can name a range
)


class Limits(NamedTuple):
    """A lower and an upper limit, in the unit of the readings."""

    lower: FloatOrArray
    upper: FloatOrArray


class Summary(NamedTuple):
    """Number of readings, their mean and their standard deviation (n - 1)."""

    n: int
    mean: float
    sd: float


class BandCounts(NamedTuple):
    """Number of readings below a band, within it (limits included) and above it."""

    below: int
    inside: int
    above: int


def summarize(values: ArrayLike) -> Summary:
    """Return the number, mean and standard deviation of a set of readings.

    Parameters
    ----------
    values : array_like, one-dimensional
        Two readings or more, in one unit.

    Returns
    -------
    Summary
        `n`, `mean` and `sd`, with n - 1 in the divisor of `sd`.

    Raises
    ------
    ValueError
        If there are fewer than two readings, or one is missing or infinite.
    """
    readings = _readings(values, at_least=2)
    return Summary(readings.size, float(np.mean(readings)), float(np.std(readings, ddof=1)))


def within_band(values: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> BandCounts:
    """Return the number of readings below, within and above a band.

    Parameters
    ----------
    values : array_like, one-dimensional
        One reading or more.
    lower, upper : float
        The band, including both limits, in the unit of the readings.

    Returns
    -------
    BandCounts
        `below`, `inside` and `above`, which add up to the number of readings.

    Raises
    ------
    ValueError
        If there is no reading, one is missing or infinite, or the limits are the wrong way round.
    """
    readings = _readings(values, at_least=1)
    low, high = _bounded("lower", lower), _bounded("upper", upper)
    refuse(~(low <= high), "lower must not be above upper", lower=low, upper=high)
    below, above = int(np.sum(readings < low)), int(np.sum(readings > high))
    return BandCounts(below, readings.size - below - above, above)


def confidence_interval(
    mean: ArrayLike, sd: ArrayLike, n: ArrayLike, confidence: ArrayLike = 0.95
) -> Limits:
    """Return the confidence interval of the lot's mean.

    Parameters
    ----------
    mean : float or array_like
        Mean of the readings.
    sd : float or array_like
        Their standard deviation, 0 or more.
    n : int or array_like
        Their number, 2 or more.
    confidence : float or array_like, default 0.95
        Above 0 and below 1. [-]

    Returns
    -------
    Limits
        `lower` and `upper`, symmetric about the mean. NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    Student's t with n - 1 degrees of freedom [4]_ (7.2.2): mean ± t s/√n, two-sided. It describes
    the lot's mean, not its pieces.
    """
    from scipy.special import stdtrit

    mean = _bounded("mean", mean)
    sd = in_range("sd", sd, 0, _SPREAD, "")
    n = _count("n", n, at_least=2)
    half = stdtrit(n - 1.0, 0.5 + 0.5 * _fraction("confidence", confidence)) * sd / np.sqrt(n)
    return Limits(plain(mean - half), plain(mean + half))


def tolerance_factor(
    n: ArrayLike, share: ArrayLike, confidence: ArrayLike, *, sides: str = "two"
) -> FloatOrArray:
    """Return the distance of a normal tolerance limit from the mean, in standard deviations.

    Parameters
    ----------
    n : int or array_like
        Number of readings, 2 or more.
    share : float or array_like
        Share of the lot that the limits are to contain, above 0 and below 1. [-]
    confidence : float or array_like
        Above 0 and below 1. [-]
    sides : {"two", "lower", "upper"}, default "two"
        A limit on each side, or only one.

    Returns
    -------
    float or ndarray
        The factor k. [-] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    Two-sided: with R(z) the half width around z that contains `share` of a standard normal and
    ν = n - 1, k solves::

        confidence = 2 √n ∫₀^∞ φ(z √n) P(χ²_ν >= ν R(z)²/k²) dz

    the exact condition of ISO 16269-6 [1]_, integrated by 64-point Gauss-Legendre quadrature. Older
    tables (Wald-Wolfowitz, Howe) are approximations and differ in the third digit: for 10 readings
    and 95/95 they print 3.379 where the exact factor is 3.393.

    One-sided: the quantile of the noncentral t, ``t(confidence; ν, z_share √n)/√n`` [2]_.
    """
    one_of("sides", sides, SIDES)
    n = _count("n", n, at_least=2)
    share, confidence = _fraction("share", share), _fraction("confidence", confidence)
    n, share, confidence = np.broadcast_arrays(n, share, confidence)
    if sides != "two":
        return plain(_one_sided_factor(n, share, confidence))
    if n.ndim == 0:
        return _one_two_sided_factor(float(n), float(share), float(confidence))
    return plain(_two_sided_factor(n, share, confidence))


def tolerance_limits(
    values: ArrayLike, share: ArrayLike, confidence: ArrayLike, *, sides: str = "two"
) -> Limits:
    """Return limits that contain a share of the lot with a given confidence, if MC is normal.

    Parameters
    ----------
    values : array_like, one-dimensional
        Two readings or more, of pieces chosen at random.
    share : float
        Share of the lot to contain, above 0 and below 1. [-]
    confidence : float
        Above 0 and below 1. [-]
    sides : {"two", "lower", "upper"}, default "two"
        "lower" gives a limit that the share lies above, "upper" one that it lies below; the other
        limit is infinite.

    Returns
    -------
    Limits
        `lower` and `upper`, in the unit of the readings: mean ± k s.

    Raises
    ------
    ValueError
        If there are fewer than two readings, one is missing or infinite, or a fraction is not
        above 0 and below 1.

    Notes
    -----
    k is from `tolerance_factor`. The normal distribution is an assumption: MC after drying often
    has a wet tail, and then the upper limit is too low. `share_shown` assumes no distribution.
    """
    n, mean, sd = summarize(values)
    reach = float(tolerance_factor(n, share, confidence, sides=sides)) * sd
    lower = -np.inf if sides == "upper" else mean - reach
    upper = np.inf if sides == "lower" else mean + reach
    return Limits(lower, upper)


def share_shown(n: ArrayLike, failures: ArrayLike, confidence: ArrayLike) -> FloatOrArray:
    """Return the least share of the lot that these readings show to be good.

    Parameters
    ----------
    n : int or array_like
        Number of readings, 1 or more.
    failures : int or array_like
        Number of failures among them, 0 to `n`.
    confidence : float or array_like
        Above 0 and below 1. [-]

    Returns
    -------
    float or ndarray
        Lower one-sided confidence bound of the good share. [-] Zero if all failed; NaN where an
        input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range or a count is not whole.

    Notes
    -----
    Clopper and Pearson's exact bound [3]_. Without failures it is ``(1 - confidence)^(1/n)``: 45
    good readings show 93.5 % of the lot at 95 % confidence, 30 show 90.5 %. No distribution is
    assumed, and the lot is treated as large compared with the sample, which is the safe side.
    """
    n = _count("n", n, at_least=1)
    failures = _count("failures", failures, at_least=0)
    refuse(failures > n, "failures must not be more than n", n=n, failures=failures)
    return plain(_share_shown(n, failures, _fraction("confidence", confidence)))


def readings_needed(
    share: ArrayLike, confidence: ArrayLike, failures: ArrayLike = 0
) -> FloatOrArray:
    """Return the number of readings needed to show a share of the lot to be good.

    Parameters
    ----------
    share : float or array_like
        Share to be shown, above 0 and below 1. [-]
    confidence : float or array_like
        Above 0 and below 1. [-]
    failures : int or array_like, default 0
        Failures to allow for among them, 0 or more.

    Returns
    -------
    int or ndarray of int
        Smallest number for which `share_shown` reaches `share`.

    Raises
    ------
    ValueError
        If an argument lies outside its range or is NaN, or more than a million readings would be
        needed.

    Notes
    -----
    The inverse of `share_shown`. The number must be planned beforehand: taking readings until the
    result is good enough shows less than it seems to.
    """
    share, confidence = _fraction("share", share), _fraction("confidence", confidence)
    failures = _count("failures", failures, at_least=0)
    share, confidence, failures = np.broadcast_arrays(share, confidence, failures)
    refuse(np.isnan(share + confidence + failures), "readings_needed takes no NaN", share=share)
    too_few, enough = failures.copy(), np.full(share.shape, float(MOST_READINGS))
    refuse(
        _share_shown(enough, failures, confidence) < share,
        f"more than {MOST_READINGS} readings would be needed",
        share=share,
        confidence=confidence,
    )
    while np.any(enough - too_few > 1):
        middle = np.floor(0.5 * (too_few + enough))
        shown = _share_shown(middle, failures, confidence) >= share * (1.0 - SHARE_ROUNDING)
        shown &= middle > too_few
        enough = np.where(shown, middle, enough)
        too_few = np.where(shown, too_few, middle)
    return int(enough) if enough.ndim == 0 else enough.astype(int)


def mean_for_share_below(limit: ArrayLike, sd: ArrayLike, share: ArrayLike) -> FloatOrArray:
    """Return the highest mean at which a share of normally distributed pieces is below a limit.

    Parameters
    ----------
    limit : float or array_like
        The limit, in the unit of the readings.
    sd : float or array_like
        Standard deviation of the lot, 0 or more, known beforehand.
    share : float or array_like
        Share that must be below the limit, above 0 and below 1. [-]

    Returns
    -------
    float or ndarray
        The mean to dry to. [unit of `limit`] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``limit - z s``, z the normal quantile: with s = 3.0, 95 % below 19 needs a mean of 14.1. It
    does not allow for s being an estimate itself; `tolerance_limits` does.
    """
    from scipy.special import ndtri

    sd = in_range("sd", sd, 0, _SPREAD, "")
    return plain(_bounded("limit", limit) - ndtri(_fraction("share", share)) * sd)


def chance_above(chi_square: float, degrees: int) -> float:
    """Return the probability that a chi-square variable exceeds a value, for odd degrees.

    Parameters
    ----------
    chi_square : float
        The value, 0 or more.
    degrees : int
        Degrees of freedom, odd.

    Returns
    -------
    float
        Probability, 0 to 1.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    A finite sum (Abramowitz and Stegun, *Handbook of Mathematical Functions*, eq. 26.4.4; from
    memory), which saves short commands the import of scipy.
    """
    if not chi_square >= 0.0:
        raise ValueError(f"chi_square is {chi_square}; it must be 0 or more")
    if degrees < 1 or degrees % 2 == 0:
        raise ValueError(f"degrees is {degrees}; it must be odd and at least 1")
    chi = math.sqrt(chi_square)
    term, terms = chi, 0.0
    for odd in range(3, degrees + 1, 2):
        terms += term
        term *= chi_square / odd
    density = math.exp(-0.5 * chi_square) / math.sqrt(2.0 * math.pi)
    return math.erfc(chi / math.sqrt(2.0)) + 2.0 * density * terms


#: Up to this many failures the bound is computed here, without importing scipy.
_FEW = 50


def _share_shown(n: Floats, failures: Floats, confidence: Floats) -> Floats:
    one = np.size(n) == np.size(failures) == np.size(confidence) == 1
    if one and failures <= _FEW and n > 0 and confidence > 0.0:  # all False for NaN
        return np.array(_one_share_shown(int(n), int(failures), float(confidence)))
    from scipy.special import betaincinv

    good = n - failures
    bound = betaincinv(np.maximum(good, 1.0), failures + 1.0, 1.0 - confidence)
    shown: Floats = np.where(good > 0.0, bound, 0.0 * bound)
    return shown


@lru_cache(maxsize=1024)
def _one_share_shown(n: int, failures: int, confidence: float) -> float:
    """Return one bound: the share at which so few failures have probability 1 - `confidence`.

    The probability of at most these failures, a finite binomial sum, rises with the share.
    Bisection ends when no float lies between the bounds.
    """
    if failures == n:
        return 0.0
    ways = [float(math.comb(n, number)) for number in range(failures + 1)]
    low, high = 0.0, 1.0
    while low < (middle := 0.5 * (low + high)) < high:
        bad = 1.0 - middle
        chance = math.fsum(
            count * bad**number * middle ** (n - number) for number, count in enumerate(ways)
        )
        low, high = (middle, high) if chance < 1.0 - confidence else (low, middle)
    return high


def _one_sided_factor(n: Floats, share: Floats, confidence: Floats) -> Floats:
    from scipy.special import nctdtrit, ndtri

    root_n = np.sqrt(n)
    factor: Floats = nctdtrit(n - 1.0, ndtri(share) * root_n, confidence) / root_n
    return factor


@lru_cache(maxsize=1024)
def _one_two_sided_factor(n: float, share: float, confidence: float) -> float:
    """Return one factor; cached, because many surveys have the same number of readings."""
    return float(_two_sided_factor(*(np.array(value) for value in (n, share, confidence))))


@cache
def _nodes() -> tuple[Floats, Floats]:
    """Return the nodes and weights of the quadrature, which are the same for every factor."""
    return np.polynomial.legendre.leggauss(64)


def _two_sided_factor(n: Floats, share: Floats, confidence: Floats) -> Floats:
    from scipy.special import chdtrc, chndtrix

    nodes, weights = _nodes()
    reach = 9.0  # in standard errors; the normal distribution beyond holds less than 1e-18
    u, weights = 0.5 * reach * (nodes + 1.0), 0.5 * reach * weights
    density = 2.0 * weights * np.exp(-0.5 * u**2) / np.sqrt(2.0 * np.pi)
    wide = n[..., np.newaxis]
    # (Z + z)² is noncentral chi-square with one degree of freedom, so its quantile is R(z)².
    half_width_squared = chndtrix(share[..., np.newaxis], 1.0, u**2 / wide)

    def excess(log_k: Floats) -> Floats:
        scaled = (wide - 1.0) * half_width_squared / np.exp(2.0 * log_k)[..., np.newaxis]
        held: Floats = chdtrc(wide - 1.0, scaled) @ density
        return held - confidence

    # The factor ranges from near 0 to millions (two readings, extreme claims): solve for its log.
    return np.exp(rising_root(excess, np.full(n.shape, -20.0), np.full(n.shape, 20.0)))


def _readings(values: ArrayLike, at_least: int) -> Floats:
    readings = numbers("values", values)
    if readings.ndim != 1 or readings.size < at_least:
        raise ValueError(
            f"values must be a list of {at_least} readings or more; received shape {readings.shape}"
        )
    refuse(np.isnan(readings), "values must hold no missing reading", values=readings)
    return _bounded("values", readings)


def _bounded(name: str, value: ArrayLike) -> Floats:
    return in_range(name, value, -_SPREAD, _SPREAD, "")


def _count(name: str, value: ArrayLike, at_least: int) -> Floats:
    count = in_range(name, value, at_least, MOST_READINGS, "")
    refuse(
        ~np.isnan(count) & (count != np.floor(count)),
        f"{name} must be a whole number",
        **{name: count},
    )
    return count


def _fraction(name: str, value: ArrayLike) -> Floats:
    fraction = numbers(name, value)
    outside = (fraction <= 0.0) | (fraction >= 1.0)
    refuse(outside, f"{name} must be a fraction above 0 and below 1", **{name: fraction})
    return fraction
