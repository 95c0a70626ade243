"""Early warnings on an open charge: a weighing that does not fit, swapped tags, a common drift.

A board is compared with what it should have lost since its last weighing: the usual pace for its
MC, adjusted for what the boards have done together since then and for the board's own recent pace.
A Kalman filter [1]_ tracks each board's pace and its uncertainty, which is large at first, when the
board has hardly been weighed, and small later. Thresholds are learnt from the mill's own earlier
charges, separately for weighings after a step change, when every board jumps.

References
----------
.. [1] Kalman, R. E., Journal of Basic Engineering 82(1), 1960, pp. 35-45.
.. [2] Iglewicz, B., and Hoaglin, D. C., How to Detect and Handle Outliers, ASQC, 1993 (a scale from
   quantiles, so that the outliers themselves do not widen it).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

import numpy as np

from kilnfolio.forecast.curve import WEIGHING_NOISE, Curve
from kilnfolio.forecast.inputs import Run
from kilnfolio.forecast.march import steps_at
from kilnfolio.physics._types import Floats
from kilnfolio.records.middle import median
from kilnfolio.runtime.values import dataclass

LEAST_THRESHOLD = 3.8
"""A weighing off by fewer scales than this is never named. [-]"""

WANDER = 0.1
"""Standard deviation of the change of a board's ln pace from one weighing to the next. [-]"""

SCATTER = 0.12
"""Scatter of single losses beyond the noise of weighing, as a fraction of the loss. [-]"""

EMC_UNSURE = 0.4
"""Standard uncertainty of the EMC between two weighings; it matters near the EMC. [%]"""

SURPRISE_LIMIT = 3.0
"""Deviations are clipped to this many standard deviations before updating a board's pace. [-]"""

DRIFT_WEIGHINGS = 3
"""Number of weighings over which the boards must drift together."""

THRESHOLD_FACTOR = 1.2
"""Factor on the threshold, because the curve fits the charges it was learnt from too well. [-]"""

QUIET_WEIGHINGS = 4
"""Number of weighings for which a board, once named, is not named again."""

_NORMAL_98 = 2.326  # 98 % of |z| of a normal variable lie below this
_FEW_BOARDS = 4


@dataclass(frozen=True)
class Watch:
    """Usual deviations at a mill, from earlier charges of one wood and thickness.

    Attributes
    ----------
    scale, scale_after_step : float
        Scale of the deviations; `scale_after_step` within two weighings of a step change. [-]
    threshold : float
        Larger deviations are named: the second-largest of the earlier charges' largest. [-]
    slower, faster : float
        Common drift of ln pace exceeded by one in two hundred sound weighings, on either side. [-]
    """

    scale: float
    scale_after_step: float
    threshold: float
    slower: float = -np.inf
    faster: float = np.inf


@dataclass(frozen=True)
class EarlyWarning:
    """Something on an open charge that needs a look.

    Attributes
    ----------
    kind : str
        ``weighing``, ``swapped`` or ``drift``.
    at : datetime
        When it was weighed.
    boards : tuple of str
        The boards concerned; empty for a drift.
    message : str
        What was seen, and what to do.
    size : float
        Points of MC off; for a drift, pace over expected pace.
    """

    kind: str
    at: dt.datetime
    boards: tuple[str, ...]
    message: str
    size: float


def watch(curve: Curve, earlier: Sequence[Run]) -> Watch:
    """Return the usual deviations of sound boards, from earlier charges."""
    first = Watch(1.0, 1.0, LEAST_THRESHOLD)
    near: list[Floats] = []
    far: list[Floats] = []
    for run in earlier:
        seen = _Deviations.of(run, curve, first)
        near.append(seen.score[seen.after_step])
        far.append(seen.score[~seen.after_step])
    scales = [_scale(np.concatenate(rows)) if rows else 1.0 for rows in (far, near)]
    scaled = Watch(scales[0], scales[1], LEAST_THRESHOLD)
    largest, drifts = [], []
    for run in earlier:
        seen = _Deviations.of(run, curve, scaled)
        found = np.abs(seen.score[np.isfinite(seen.score)])
        largest.append(float(found.max(initial=0.0)))
        drifts.append(seen.drift[np.isfinite(seen.drift)])
    threshold = sorted(largest)[-2] if len(largest) > 1 else LEAST_THRESHOLD
    every = np.concatenate(drifts) if drifts else np.zeros(0)
    slower, faster = np.quantile(every, (0.005, 0.995)) if every.size >= 30 else (-np.inf, np.inf)
    return Watch(
        scales[0],
        scales[1],
        max(THRESHOLD_FACTOR * threshold, LEAST_THRESHOLD),
        float(slower),
        float(faster),
    )


def _scale(scores: Floats) -> float:
    kept = np.abs(scores[np.isfinite(scores)])
    if kept.size < 30:
        return 1.5
    return max(float(np.quantile(kept, 0.98)) / _NORMAL_98, 0.2)


@dataclass(frozen=True)
class _Deviations:
    """Every weighing of a charge compared with what was expected.

    Shapes (weighings - 1, boards), of `drift` (weighings - 1,), of `after_step` (weighings - 1,).
    """

    expected: Floats
    uncertainty: Floats
    score: Floats
    drift: Floats
    after_step: np.ndarray

    @classmethod
    def of(cls, run: Run, curve: Curve, known: Watch) -> _Deviations:
        hours, mc = run.weighings.hours, run.weighings.mc_pct
        spans, emc, dry = run.air.between(hours)
        emc, dry = emc[:, np.newaxis], dry[:, np.newaxis]
        before, after = mc[:-1], mc[1:]
        with np.errstate(invalid="ignore", divide="ignore"):
            usual = curve.usual(np.sqrt(before * after), dry) + np.log(spans)[:, np.newaxis]
            closed = np.log((before - emc) / (after - emc))
            off = np.log(np.maximum(closed, 1e-3)) - usual
        off = np.clip(np.where(np.isfinite(closed), off, np.nan), -2.5, 2.5)
        enough = np.isfinite(off).sum(axis=1) >= _FEW_BOARDS
        together = np.where(enough, _nanmedian(off), np.nan)
        expected, uncertainty = _followed(run, curve, _last_known(together))
        after_step = _after_step(run)
        scale = np.where(after_step, known.scale_after_step, known.scale)[:, np.newaxis]
        uncertainty = uncertainty * scale
        uncertainty[:1] = np.nan  # a board's pace is unknown before its first loss
        score = (after - expected) / uncertainty
        return cls(expected, uncertainty, score, _drift(together), after_step)


def _followed(run: Run, curve: Curve, shared: Floats) -> tuple[Floats, Floats]:
    """Return the expected MC at each weighing, and its standard uncertainty [%].

    The state is a board's ln pace relative to the usual and the shared pace; each loss updates it
    through the slope of the loss with respect to ln pace [1]_.
    """
    mc = run.weighings.mc_pct
    spans, emc, dry = run.air.between(run.weighings.hours)
    own = np.zeros(mc.shape[1])
    variance = np.full(mc.shape[1], curve.board_spread**2)
    expected, uncertainty = np.full_like(mc[1:], np.nan), np.full_like(mc[1:], np.nan)
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        for row, (before, after) in enumerate(pairwise(mc)):
            pace = own + shared[row] + np.log(spans[row])
            ahead = before
            # the pace depends on the MC in between, which depends on the result
            for _ in range(3):
                between = np.sqrt(before * np.maximum(ahead, 1.0))
                closed = np.exp(np.minimum(curve.usual(between, dry[row]) + pace, 3.0))
                ahead = emc[row] + (before - emc[row]) * np.exp(-closed)
            slope = (ahead - emc[row]) * closed  # of the loss on ln pace
            noise = (
                2.0 * WEIGHING_NOISE**2
                + (SCATTER * (before - ahead)) ** 2
                + (EMC_UNSURE * (1.0 - np.exp(-closed))) ** 2
            )
            total = noise + slope**2 * variance
            expected[row], uncertainty[row] = ahead, np.sqrt(total)
            surprise = np.clip(
                ahead - after, -SURPRISE_LIMIT * uncertainty[row], SURPRISE_LIMIT * uncertainty[row]
            )
            gain = variance * slope / total
            updated = np.isfinite(gain * surprise)
            own = np.where(updated, own + gain * surprise, own)
            variance = np.where(updated, (1.0 - gain * slope) * variance, variance) + WANDER**2
    return expected, uncertainty


def _last_known(values: Floats) -> Floats:
    """Return each value, or if unknown the last known one before it, or 0."""
    known = np.isfinite(values)
    last = np.maximum.accumulate(np.where(known, np.arange(values.size), -1))
    return np.where(last >= 0, values[last], 0.0)


def _nanmedian(rows: Floats) -> Floats:
    known = np.isfinite(rows).any(axis=1)
    result = np.full(rows.shape[0], np.nan)
    result[known] = [median(row[~np.isnan(row)]) for row in rows[known]]
    return result


def _drift(together: Floats) -> Floats:
    """Return the ln of the boards' common pace at the last weighings relative to before."""
    result = np.full(together.size, np.nan)
    for row in range(2 * DRIFT_WEIGHINGS - 1, together.size):
        late = together[row - DRIFT_WEIGHINGS + 1 : row + 1]
        early = together[max(row - 3 * DRIFT_WEIGHINGS, 0) : row - DRIFT_WEIGHINGS + 1]
        if np.isfinite(late).all() and np.isfinite(early).sum() >= DRIFT_WEIGHINGS:
            result[row] = median(late) - median(early[~np.isnan(early)])
    return result


def _after_step(run: Run) -> np.ndarray:
    """Return whether each weighing except the first comes within two of a step change."""
    steps = steps_at(run, run.weighings.hours)
    changed = np.diff(steps) != 0
    within = changed.copy()
    for later in (1, 2):
        within[later:] |= changed[:-later]
    return np.asarray(within)


def check(charge: Run, curve: Curve, known: Watch) -> tuple[EarlyWarning, ...]:
    """Return the early warnings on a charge, oldest first.

    Parameters
    ----------
    charge : Run
        The charge as known at the time.
    curve : Curve
        The mill's usual pace.
    known : Watch
        Usual deviations, from `watch`.
    """
    if charge.weighings.hours.size < 3 or not charge.air.hours.size:
        return ()
    seen = _Deviations.of(charge, curve, known)
    return tuple(
        sorted(
            [*_weighings(charge, seen, known), *_drifts(charge, seen, known)],
            key=lambda one: one.at,
        )
    )


def _weighings(charge: Run, seen: _Deviations, known: Watch) -> Iterator[EarlyWarning]:
    named: dict[int, int] = {}
    for row in range(seen.score.shape[0]):
        bad = np.flatnonzero(np.abs(seen.score[row]) > known.threshold)
        # a wrong weighing makes the next ones look wrong too, so a board is named once
        bad = np.array(
            [b for b in bad if row - named.get(int(b), -QUIET_WEIGHINGS) >= QUIET_WEIGHINGS], int
        )
        named |= dict.fromkeys(bad.tolist(), row)
        at = charge.moment(float(charge.weighings.hours[row + 1]))
        pair = _swapped(charge, seen, row, bad, known.threshold)
        if pair is not None:
            one, other = (charge.weighings.boards[i] for i in pair)
            named |= dict.fromkeys(pair, row)
            yield EarlyWarning(
                "swapped",
                at,
                (one, other),
                f"Boards {one} and {other} fit "
                "each other's weights: were their tags or entries swapped? Weigh "
                "both again.",
                0.0,
            )
            continue
        for b in bad:
            off = float(charge.weighings.mc_pct[row + 1, b] - seen.expected[row, b])
            name = charge.weighings.boards[b]
            side = "wetter" if off > 0 else "drier"
            yield EarlyWarning(
                "weighing",
                at,
                (name,),
                f"Board {name} reads {abs(off):.1f} points {side} than it should: weigh it again.",
                off,
            )


def _swapped(
    charge: Run, seen: _Deviations, row: int, bad: np.ndarray, threshold: float
) -> tuple[int, int] | None:
    """Return a pair of boards that fit only if their masses are swapped."""
    after = charge.weighings.mc_pct[row + 1]
    score = np.abs(seen.score[row])
    boards = np.flatnonzero(np.isfinite(score))
    best, found = 0.0, None
    for a, b in combinations(boards, 2):
        if a not in bad and b not in bad and np.hypot(score[a], score[b]) < threshold + 0.5:
            continue
        crossed = [
            abs(after[y] - seen.expected[row, x]) / seen.uncertainty[row, x]
            for x, y in ((a, b), (b, a))
        ]
        less = min(score[a], score[b])
        # far apart, a board's expected MC is less sure than in a usual weighing
        if less < 2.0 or max(crossed) > max(2.5, less / 4):
            continue
        gain = float(score[a] + score[b] - sum(crossed))
        if gain > best:
            best, found = gain, (int(a), int(b))
    return found


def _drifts(charge: Run, seen: _Deviations, known: Watch) -> Iterator[EarlyWarning]:
    looks = (
        (
            seen.drift > known.faster,
            "faster",
            "Look at the wick: a dry one shows the air moister than it is.",
        ),
        (
            seen.drift < known.slower,
            "more slowly",
            "Look at the fans, the baffles and the sensors.",
        ),
    )
    for beyond, how, look in looks:
        if not beyond.any():
            continue
        row = int(np.flatnonzero(beyond)[0])
        ratio = float(np.exp(seen.drift[row]))
        yield EarlyWarning(
            "drift",
            charge.moment(float(charge.weighings.hours[row + 1])),
            (),
            f"All boards have been drying {how} than the logged "
            f"air would make them, by about {abs(ratio - 1):.0%}. {look} Only a hint.",
            ratio,
        )
