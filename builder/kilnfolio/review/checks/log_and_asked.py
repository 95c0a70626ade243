"""The log against the set-points: faults that only the two together can show."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

from itertools import pairwise

import numpy as np

from kilnfolio.records.middle import median
from kilnfolio.records.quantities import fahrenheit_from_celsius
from kilnfolio.records.setpoints import AskedAir
from kilnfolio.review.air import AirSeries
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.review.measures import measure

_GROUP = "instruments and log"
_ZERO = fahrenheit_from_celsius(0.0)
_DEGREE = fahrenheit_from_celsius(1.0) - _ZERO
#: Channels of the air that follow the dry-bulb set-point.
_DRY_BULBS = ("dry-bulb", "dry-bulb-entering", "dry-bulb-leaving")


# --- units ----------------------------------------------------------------------------------------


@check(
    "unit-slip",
    title="Column in another unit",
    group=_GROUP,
    severity="fail",
    answers=("instrument at fault",),
    limits=("unit-slip", "unit-slip-set-points"),
    source="common practice",
    reason="A logger switched from °C to °F goes on writing numbers, and every one after it is "
    "wrong; where the profile names the wrong unit, all are.",
    passes="No temperature column changes its unit, or fits its set-points only in the other one.",
)
def unit_slip(case: Case) -> Results:
    air = case.need_air()
    columns = [
        name
        for name in air.log.channels
        if name in (*_DRY_BULBS, "wet-bulb") or name.startswith("core-")
    ]
    if not columns:
        raise NoData("the log has no temperature column")
    value = case.limits.value
    for name in columns:
        slip = _slip_midway(case, name, value("unit-slip")) or _slip_throughout(
            case, name, value("unit-slip-set-points")
        )
        if slip:
            yield slip
    yield Pass(
        f"None of {len(columns)} temperature columns changes its unit or fits its "
        "set-points only in the other one."
    )


@measure
def _slip_midway(case: Case, name: str, near: float) -> Breach | None:
    """Return the first jump from a temperature to the same temperature in the other unit."""
    air = case.need_air()
    values = air.log.channels[name]
    if (np.abs(values[1:] - values[:-1]) <= 2 * near).all():
        return None  # most logs: no jumps and no gaps
    known = np.flatnonzero(np.isfinite(values))
    readings = values[known]
    # only real jumps: near -40 degrees the two scales meet
    for index in np.flatnonzero(np.abs(np.diff(readings)) > 2 * near).tolist():
        before, after = readings[index : index + 2].tolist()
        if abs(after - (_ZERO + _DEGREE * before)) <= near:
            scales = "°C to °F"
        elif abs(after - (before - _ZERO) / _DEGREE) <= near:
            scales = "°F to °C"
        else:
            continue
        row = int(known[index + 1])
        return Breach(
            f"{name} changes from {scales} at {case.clock(air.times[row])}: "
            f"{before:.1f}, then {after:.1f}.",
            (air.log.place(row),),
            name,
            after,
        )
    return None


@measure
def _slip_throughout(case: Case, name: str, near: float) -> Breach | None:
    """Return a breach if most of a column fits the set-points only in the other unit."""
    air = case.need_air()
    values = air.log.channels[name]
    low, high = _asked_range(case, name)
    if 2 * np.count_nonzero((values >= low - near) & (values <= high + near)) > len(values):
        return None  # most columns of most logs: no need to measure the difference
    as_read = _median_distance(values, low, high)
    if as_read <= near:
        return None
    for unit, other, turned in (
        ("°F", "°C", (values - _ZERO) / _DEGREE),
        ("°C", "°F", _ZERO + _DEGREE * values),
    ):
        if _median_distance(turned, low, high) > near:
            continue
        row = int(np.flatnonzero(np.isfinite(values) & np.isfinite(high))[-1])
        return Breach(
            f"{name} may be in {unit} and be read as {other}: it stays {as_read:.0f} K away from "
            "what was asked, and would match it in the other unit. At "
            f"{case.clock(air.times[row])} it is read as {values[row]:.1f} °C, and would be {turned[row]:.1f} °C; "
            f"{high[row]:.1f} °C was the {'wet' if name == 'wet-bulb' else 'dry'} bulb asked for. "
            "Check its unit in the logger's profile.",
            (air.log.place(row),),
            name,
            as_read,
            near,
            "K",
        )
    return None


def _asked_range(case: Case, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the range of temperatures asked of a channel at each reading [°C].

    Drying timber is between the wet-bulb and the dry-bulb temperature.
    """
    dry = case.asked_dry_bulb
    wet = dry - case.asked_depression
    return (dry if name in _DRY_BULBS else wet), (wet if name == "wet-bulb" else dry)


def _median_distance(values: np.ndarray, low: np.ndarray, high: np.ndarray) -> float:
    """Return the median distance of the readings from a range [K]; 0 if none can be compared."""
    apart = np.maximum(low - values, values - high)
    known = apart[np.isfinite(apart)]
    return median(known) if len(known) else 0.0


# --- clocks ---------------------------------------------------------------------------------------


@check(
    "clock-against-hand",
    title="Log's clock against hand-written times",
    group=_GROUP,
    severity="question",
    limits=("clock-apart", "clock-apart-rise"),
    source="common practice",
    reason="A logger's clock drifts, or was never put forward in spring; then weighings, steps and "
    "stops do not line up with the log. The file alone cannot tell which clock is right.",
    passes="The dry bulb rises in the log when the step changes say so.",
)
def clock_against_hand(case: Case) -> Results:
    air, allowed = case.need_air(), case.limits.value("clock-apart")
    rise = case.limits.value("clock-apart-rise")
    late = _rises(case, rise)
    if len(late) < 2:
        raise NotApplicable(
            "fewer than two written step changes raise the dry bulb far enough to "
            "be seen in the log"
        )
    for side, word in ((1, "after"), (-1, "before")):
        off = [(hours, row) for hours, row in late if side * hours > allowed]
        if len(off) >= 2 and 2 * len(off) > len(late):
            (first, row), (last, _) = off[0], off[-1]
            yield Breach(
                f"The log and the hand-written times differ: at {len(off)} of {len(late)} step "
                f"changes the dry bulb rises {word} it was written, by {abs(first):.1f} h at the "
                f"first ({case.clock(air.times[row])} in the log) and {abs(last):.1f} h at the "
                "last. Compare the logger's clock with a true one; nothing was moved.",
                (air.log.place(row),),
                "log",
                max(abs(hours) for hours, _ in off),
                allowed,
                "h",
                at=air.times[row],
            )
    yield Pass(
        f"At most of {len(late)} step changes the dry bulb rises in the log within "
        f"{allowed:g} h of the time written."
    )


@measure
def _rises(case: Case, rise: float) -> list[tuple[float, int]]:
    """Return by how many hours the log shows each written rise late, and the row, where it does."""
    if not case.charge.step_changes:
        return []  # timed steps: nobody wrote down when
    air = case.need_air()
    moments = [item.at.timestamp() for item in case.asked]
    moments.append(max(moments[-1], float(air.seconds[-1])))
    found = [
        _rise(air, old, moments[index - 1 : index + 2], rise)
        for index, (old, new) in enumerate(pairwise(case.asked), 1)
        if new.air.dry_bulb_c - old.air.dry_bulb_c >= rise
    ]
    return [one for one in found if one is not None]


def _rise(
    air: AirSeries, old: AskedAir, moments: list[float], rise: float
) -> tuple[float, int] | None:
    """Return when the dry bulb leaves its level, relative to the time written.

    The search runs from halfway since the last change to halfway to the next; None if the log was
    not at the old level at its start, or is still at it at its end.
    """
    before, written, after = moments
    first, last = np.searchsorted(air.seconds, [(before + written) / 2, (written + after) / 2])
    dry = air.dry_bulb[first:last]
    beyond = np.flatnonzero(dry > old.air.dry_bulb_c + rise / 2)
    cold = dry[: beyond[0]] if len(beyond) else dry[:0]
    known = cold[np.isfinite(cold)]
    if not len(known):
        return None
    row = int(first + np.flatnonzero(cold <= median(known))[-1])
    return float(air.seconds[row] - written) / 3600.0, row
