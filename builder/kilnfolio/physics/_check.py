"""Checks of arguments, made before any equation uses them."""

import math
from collections.abc import Collection

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kilnfolio.physics._types import FloatOrArray, Floats

MC_RANGE_PCT = (0.0, 500.0)
"""Moisture contents accepted, on the oven-dry basis. [%]

Wood Handbook eq. 4-3 gives 500 % for a basic specific gravity of 0.18, lighter than any timber
commonly sawn; more than that is a weighing or typing error.
"""


def numbers(name: str, value: ArrayLike) -> Floats:
    """Return `value` as an array of floats: NaN passes, infinities and non-numbers are refused.

    Parameters
    ----------
    name : str
        The argument's name in the public function, for the message.
    value : scalar or array_like
        The argument. Masked entries of a masked array become NaN.

    Returns
    -------
    ndarray of float

    Raises
    ------
    ValueError
        If `value` is not numeric (None, text and truth values included) or holds an infinity.
    """
    one: object = value
    if isinstance(one, float) and not math.isinf(one):
        return np.float64(one)  # type: ignore[return-value]  # an array of no dimensions
    # only a masked array has a mask; numpy imports what knows of them when it is first named
    if hasattr(value, "mask") and isinstance(value, np.ma.MaskedArray):
        value = np.ma.filled(value.astype(float), np.nan)
    array = np.asarray(value)
    # Without this, numpy would read None as NaN and "12" as 12, but a missing argument is no gap.
    if array.dtype.kind not in "iuf" and array.size:
        raise ValueError(f"{name} must be a number or an array of numbers; received {value!r}")
    array = array.astype(float)
    refuse(np.isinf(array), f"{name} must be finite", **{name: array})
    return array


def in_range(
    name: str, value: ArrayLike, low: float, high: float, unit: str, *, above_low: bool = False
) -> Floats:
    """Return `value` as an array of floats after checking that it lies between two limits.

    Parameters
    ----------
    name, value
        As for `numbers`.
    low, high : float
        Limits, both included unless `above_low`.
    unit : str
        The unit of `value`, for the message.
    above_low : bool, default False
        Refuse `low` itself.

    Returns
    -------
    ndarray of float

    Raises
    ------
    ValueError
        Naming the argument, the range, the first value outside it and its index.
    """
    # A review makes thousands of these calls, so valid values pass after two comparisons. The
    # slower code below only runs to find out what is wrong.
    one: object = value
    if isinstance(one, float) and (low < one if above_low else low <= one) and one <= high:
        return np.float64(one)  # type: ignore[return-value]  # an array of no dimensions
    if type(value) is np.ndarray and value.dtype == np.float64:
        inside = ((value > low) if above_low else (value >= low)) & (value <= high)
        if inside.all():
            return value
    array = numbers(name, value)
    outside = (array > high) | ((array <= low) if above_low else (array < low))
    floor = f"above {low:g} and at most" if above_low else f"between {low:g} and"
    refuse(outside, f"{name} must lie {floor} {high:g} {unit}".rstrip(), **{name: array})
    return array


def moisture_content(name: str, value: ArrayLike) -> Floats:
    """Return `value` as floats after checking it against `MC_RANGE_PCT`."""
    return in_range(name, value, *MC_RANGE_PCT, "%")


def some(mask: NDArray[np.bool_]) -> bool:
    """Return whether a condition holds anywhere; for a single number without a reduction."""
    return bool(mask.any() if mask.ndim else mask)


def together(*values: Floats) -> tuple[Floats, ...]:
    """Return values in their common shape; single numbers as such, which is quicker."""
    if any(value.ndim for value in values):
        return np.broadcast_arrays(*values)
    return tuple([value[()] for value in values])


def refuse(bad: ArrayLike, problem: str, **values: ArrayLike) -> None:
    """Raise ValueError if `bad` is true anywhere, quoting the arguments at the first such index.

    Parameters
    ----------
    bad : ndarray of bool
    problem : str
        What is wrong, and what would be right.
    **values : ndarray
        The arguments to quote, broadcastable to the shape of `bad`.
    """
    if bad is False or bad is np.False_:
        return
    bad = np.asarray(bad)
    if not bad.any():
        return
    index = np.unravel_index(np.argmax(bad), bad.shape)
    place = f" at index {', '.join(map(str, index))}" if index else ""
    quoted = ", ".join(
        f"{name} = {np.broadcast_to(value, bad.shape)[index]:.10g}"
        for name, value in values.items()
    )
    raise ValueError(f"{problem}; received {quoted}{place}" if quoted else f"{problem}{place}")


def one_of(name: str, value: str, choices: Collection[str]) -> str:
    """Return `value` if it is one of `choices`; otherwise raise ValueError listing them."""
    if value not in choices:
        known = ", ".join(map(repr, choices))
        raise ValueError(f"{name} must be one of {known}; received {value!r}")
    return value


def plain(result: Floats) -> FloatOrArray:
    """Return a zero-dimensional result as a float, any other array unchanged."""
    return result.item() if result.ndim == 0 else result
