"""From charge to charge: the limits of a control chart."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from kilnfolio.physics.control_chart import D2, control_limits
from kilnfolio.review.figures import number
from kilnfolio.review.working import Argument, Formula, Given, bare

_SOURCE = "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2"
_OF = Argument("of", many=True)


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
)
