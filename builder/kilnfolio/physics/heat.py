"""Core temperatures: the longest unbroken time at or above a threshold.

These figures are only arithmetic on a log. Whether a heat treatment is accepted is up to the
plant-health authority and its inspector.

References
----------
.. [1] ISPM 15, Regulation of wood packaging material in international trade, annex 1 (a minimum
   temperature held for a minimum continuous time throughout the profile of the wood).
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kilnfolio.physics._check import in_range, numbers, refuse
from kilnfolio.physics._types import Floats

CORE_RANGE_C = (-60.0, 200.0)
"""Core temperatures accepted. [°C] Refuses the 850 or 32767 of a disconnected probe."""


@dataclass(frozen=True)
class Run:
    """Consecutive readings at or above a threshold.

    Attributes
    ----------
    first, last : int
        Indices of the first and last reading of the run, both included.
    minutes : float
        Time between them. [min]
    """

    first: int
    last: int
    minutes: float


def longest_run(
    times: ArrayLike,
    temps_c: ArrayLike,
    threshold_c: ArrayLike,
    *,
    max_gap_minutes: float | None = None,
) -> Run | None:
    """Return the longest run of consecutive readings at or above a threshold.

    Parameters
    ----------
    times : array_like
        Time of each reading, rising, in one of three forms: minutes as numbers,
        `numpy.datetime64` (assumed to be on a continuous scale such as UTC), or timezone-aware
        `datetime`.
    temps_c : array_like
        The readings of one probe, -60 to 200, as many as `times`. [°C] NaN, a missing reading,
        ends a run.
    threshold_c : float
        The temperature to hold, -60 to 200; a reading equal to it counts. [°C]
    max_gap_minutes : float, optional
        A longer gap between two readings also ends a run. [min] Without it, any gap is bridged,
        which is only right if the log is known to be complete.

    Returns
    -------
    Run or None
        The longest run, the earliest if several are equal; None if no reading reaches the
        threshold.

    Raises
    ------
    ValueError
        If the lengths differ, a time is missing, naive, or not later than the one before, or a
        temperature lies outside its range.

    Notes
    -----
    Only the time between the first and last reading of the run counts, never beyond them, because
    the core's temperature between a reading below and a reading above is unknown. Readings every 5
    minutes of 55.2, 56.1, 56.4, 56.8, 56.9, 55.9 and 56.3 °C hold 56 °C for 15 minutes. ISPM 15
    requires a continuous time [1]_, so runs are never added up.
    """
    temps = np.atleast_1d(in_range("temps_c", temps_c, *CORE_RANGE_C, "°C"))
    threshold = in_range("threshold_c", threshold_c, *CORE_RANGE_C, "°C")
    minutes = _minutes(times)
    if temps.ndim != 1 or temps.shape != minutes.shape:
        raise ValueError(
            "times and temps_c must be series of equal length; "
            f"received shapes {minutes.shape} and {temps.shape}"
        )
    hot = temps >= threshold
    joined = hot[1:] & hot[:-1]
    if max_gap_minutes is not None:
        longest = in_range("max_gap_minutes", max_gap_minutes, 0, 1e6, "min")
        joined &= minutes[1:] - minutes[:-1] <= longest
    # A run begins at a hot reading not joined to the previous one and ends at one not joined to the
    # next.
    firsts = np.flatnonzero(hot & ~np.concatenate(([False], joined)))
    lasts = np.flatnonzero(hot & ~np.concatenate((joined, [False])))
    if not firsts.size:
        return None
    lengths = minutes[lasts] - minutes[firsts]
    best = int(np.argmax(lengths))
    return Run(int(firsts[best]), int(lasts[best]), float(lengths[best]))


def longest_run_above(
    times: ArrayLike,
    temps_c: ArrayLike,
    threshold_c: ArrayLike,
    *,
    max_gap_minutes: float | None = None,
) -> float:
    """Return the longest unbroken time that a probe stayed at or above a threshold.

    Parameters
    ----------
    times : array_like
        Time of each reading, as for `longest_run`.
    temps_c : array_like
        The readings of one probe, -60 to 200, as many as `times`. [°C] NaN ends a run.
    threshold_c : float
        The temperature to hold, -60 to 200; a reading equal to it counts. [°C]
    max_gap_minutes : float, optional
        A longer gap between two readings also ends a run. [min]

    Returns
    -------
    float
        Length of the longest run. [min] Zero if no two consecutive readings reach the threshold.

    Raises
    ------
    ValueError
        As for `longest_run`.
    """
    run = longest_run(times, temps_c, threshold_c, max_gap_minutes=max_gap_minutes)
    return run.minutes if run else 0.0


def _minutes(times: ArrayLike) -> Floats:
    """Return times as minutes since the first of them, after checking that they rise."""
    minutes: Floats
    array: NDArray[Any] = np.atleast_1d(np.asarray(times))
    if array.dtype.kind == "M":
        refuse(np.isnat(array), "times must not be missing")
        minutes = (array - array[:1]) / np.timedelta64(1, "m")
    elif array.size and all(isinstance(time, datetime) for time in array.flat):
        if any(time.tzinfo is None or time.utcoffset() is None for time in array.flat):
            raise ValueError(
                "times must be timezone-aware: without an offset the hour the clocks go back is two"
            )
        # Convert to UTC: subtracting datetimes of one zone would ignore a change of its offset.
        seconds = np.array([time.timestamp() for time in array.flat]).reshape(array.shape)
        minutes = (seconds - seconds[:1]) / 60.0
    else:
        minutes = numbers("times", array)
        refuse(np.isnan(minutes), "times must not be missing", times=minutes)
    if minutes.ndim == 1:
        refuse(
            np.diff(minutes, prepend=-np.inf) <= 0.0,
            "times must rise from each reading to the next",
        )
    return minutes
