"""From charge to charge: the limits of a control chart."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from kilnfolio.physics.control_chart import D2, ControlLimits, control_limits, shift_scores
from kilnfolio.review.figures import number
from kilnfolio.review.working import Argument, Formula, Given, bare

_SOURCE = "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2"
_CUSUM = "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3"
_OF = Argument("of", many=True)
_WIDTH = Argument("width")


def _limits(of: Sequence[float], width: float) -> ControlLimits:
    return replace(control_limits(of), width=width)


def _wide(sign: str) -> Callable[[Mapping[str, Given]], str]:
    def put_in(given: Mapping[str, Given]) -> str:
        limits, width = control_limits(bare(given["of"])), bare(given["width"])
        return (
            f"{number(limits.mean, 3)} {sign} {number(width, 2)} × "
            f"{number(limits.sigma * D2, 3)} ÷ {D2:g}"
        )

    return put_in


def _score_put_in(given: Mapping[str, Given]) -> str:
    values = np.array(bare(given["of"]))
    at = int(np.argmax(np.abs(shift_scores(values)))) + 1
    total = float(abs((values[:at] - values.mean()).sum()))
    n, spread = values.size, float(values.std(ddof=1))
    return f"{number(total, 3)} ÷ ({number(spread, 3)} × √({at} × {n - at} ÷ {n}))"


def _put_in(sign: str) -> Callable[[Mapping[str, Given]], str]:
    def put_in(given: Mapping[str, Given]) -> str:
        limits = control_limits(bare(given["of"]))
        return f"{number(limits.mean, 3)} {sign} 3 × {number(limits.sigma * D2, 3)} ÷ {D2:g}"

    return put_in


TREND = (
    Formula(
        "upper_control_limit",
        lambda of: control_limits(of).high,
        (_OF,),
        f"upper limit = mean + 3 × mean of |x₂ − x₁|, |x₃ − x₂|, … ÷ {D2:g}",
        _put_in("+"),
        _SOURCE,
        decimals=2,
    ),
    Formula(
        "lower_control_limit",
        lambda of: control_limits(of).low,
        (_OF,),
        f"lower limit = mean − 3 × mean of |x₂ − x₁|, |x₃ − x₂|, … ÷ {D2:g}",
        _put_in("−"),
        _SOURCE,
        decimals=2,
    ),
    Formula(
        "upper_trend_limit",
        lambda of, width: _limits(of, width).high,
        (_OF, _WIDTH),
        f"upper limit = mean + width × mean of |x₂ − x₁|, |x₃ − x₂|, … ÷ {D2:g}",
        _wide("+"),
        _SOURCE,
        decimals=2,
    ),
    Formula(
        "lower_trend_limit",
        lambda of, width: _limits(of, width).low,
        (_OF, _WIDTH),
        f"lower limit = mean − width × mean of |x₂ − x₁|, |x₃ − x₂|, … ÷ {D2:g}",
        _wide("−"),
        _SOURCE,
        decimals=2,
    ),
    Formula(
        "shift_score",
        lambda of: float(np.abs(shift_scores(of)).max()),
        (_OF,),
        "score = |sum of (x − mean) over the first k charges| ÷ (s × √(k × (n − k) ÷ n)), at the k "
        "where it is largest",
        _score_put_in,
        _CUSUM,
        decimals=2,
    ),
)
