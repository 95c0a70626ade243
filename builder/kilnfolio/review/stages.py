"""What the rule asks of equalizing and conditioning, for a charge or for a schedule by itself."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from kilnfolio.physics.rules import conditioning_emc, conditioning_points, equalizing_emc
from kilnfolio.review.limits import LimitTable, NoLimit, Subject

if TYPE_CHECKING:
    from kilnfolio.review.findings import Case

#: What `conditioning_rule` reads.
CONDITIONING_LIMITS = (
    "conditioning-above-target",
    "conditioning-above-low-target",
    "conditioning-low-up-to",
    "conditioning-full-from",
)


def stage_rule(case: Case, name: str) -> float:
    """Return the EMC the rule gives for a charge's equalizing or conditioning [%]."""
    target = case.charge.target_mc.value
    return (
        equalizing_rule(case.limits, target)
        if name == "equalizing"
        else conditioning_rule(case.limits, target)
    )


def equalizing_rule(limits: LimitTable, target_pct: float, subject: Subject | None = None) -> float:
    """Return the EMC, and the driest board's MC, equalizing begins at [%]."""
    return float(equalizing_emc(target_pct, limits.value("equalizing-below-target", subject)))


def conditioning_rule(
    limits: LimitTable, target_pct: float, subject: Subject | None = None
) -> float:
    """Return the EMC conditioning is set to [%]."""
    return float(conditioning_emc(target_pct, points_above(limits, target_pct, subject)))


def points_above(limits: LimitTable, target_pct: float, subject: Subject | None = None) -> float:
    """Return how far above the target the conditioning EMC is set [points].

    Limits written before the points depended on the target give the same points for all.
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
