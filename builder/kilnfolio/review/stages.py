"""What the rule asks of equalizing and conditioning, for a charge or a schedule."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from kilnfolio.physics.rules import conditioning_emc, conditioning_points, equalizing_emc
from kilnfolio.review.limits import LimitTable, NoLimit, Subject

if TYPE_CHECKING:
    from kilnfolio.review.findings import Case

#: Limits used by `conditioning_rule`.
CONDITIONING_LIMITS = (
    "conditioning-above-target",
    "conditioning-above-low-target",
    "conditioning-low-up-to",
    "conditioning-full-from",
)


def stage_rule(case: Case, name: str) -> float:
    """Return the EMC that the rule gives for a charge's equalizing or conditioning [%]."""
    target = case.charge.target_mc.value
    return (
        equalizing_rule(case.limits, target)
        if name == "equalizing"
        else conditioning_rule(case.limits, target)
    )


def equalizing_rule(limits: LimitTable, target_pct: float, subject: Subject | None = None) -> float:
    """Return the EMC of equalizing, and the driest board's MC at which it begins [%]."""
    return float(equalizing_emc(target_pct, limits.value("equalizing-below-target", subject)))


def conditioning_rule(
    limits: LimitTable, target_pct: float, subject: Subject | None = None
) -> float:
    """Return the EMC of conditioning [%]."""
    return float(conditioning_emc(target_pct, points_above(limits, target_pct, subject)))


def points_above(limits: LimitTable, target_pct: float, subject: Subject | None = None) -> float:
    """Return how far the conditioning EMC is above the target [points].

    Older limits, which do not depend on the target, give the same points for all.
    """
    points = limits.value("conditioning-above-target", subject)
    with suppress(NoLimit):
        points = conditioning_points(
            target_pct,
            points,
            limits.value("conditioning-above-low-target", subject),
            limits.value("conditioning-low-up-to", subject),
            limits.value("conditioning-full-from", subject),
        )
    return float(points)
