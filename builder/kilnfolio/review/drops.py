"""The temperature drop across the load, while wet and later, compared with earlier charges.

Air cools as it takes up water, so the drop depends on air speed and load. Common practice; each
kiln is compared with itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from kilnfolio.records.middle import median
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.review.findings import Case

#: Fewest earlier charges for a usual drop; the median of fewer says little.
_LEAST_EARLIER = 3
Stage = Literal["while wet", "later"]
_STAGES: tuple[Stage, ...] = get_args(Stage)
#: Limits used by `load_drop`.
LOAD_DROP_LIMITS = ("load-drop-hours", "depression-overshoot-above", "shock-change-above")


@dataclass(frozen=True)
class LoadDrop:
    """The drop across the load with the fans on, by stage of the charge."""

    wet_k: float | None
    """Median while the timber is wet [K]; None if the log has too few hours of it."""
    later_k: float | None
    """Median once it is no longer wet [K]; None likewise."""
    later_row: int
    """Index of the first reading that counts as later; 0 if there is none."""


@dataclass(frozen=True)
class UnusualDrop:
    """A charge whose drop across the load is above that of earlier charges in its kiln."""

    charge: str
    stage: Stage
    drop_k: float
    """[K]"""
    usual_k: float
    """Median of the earlier charges at that stage [K]."""
    earlier: int
    """How many there are."""


def load_drop(case: Case) -> LoadDrop | None:
    """Return a charge's drop across the load; None if the log does not have both sides."""
    air, value = case.air, case.limits.value
    sides = (
        [air.log.channels.get(f"dry-bulb-{side}") for side in ("entering", "leaving")]
        if air
        else []
    )
    if air is None or len(sides) < 2 or sides[0] is None or sides[1] is None:
        return None
    drop, fan = np.abs(sides[0] - sides[1]), air.log.channels.get("fan")
    use = np.isfinite(drop) if fan is None else np.isfinite(drop) & (fan > 0)
    use &= case.asked_index >= 0
    mc, hours = case.controlling_at_each, air.hours
    wet = use & (mc > value("depression-overshoot-above"))
    later = use & (mc <= value("shock-change-above"))
    least = value("load-drop-hours")
    wet_k, later_k = (
        median(drop[part]) if float(hours[part].sum()) >= least else None for part in (wet, later)
    )
    return LoadDrop(wet_k, later_k, int(np.argmax(later)))


def unusual_drops(
    charges: Sequence[tuple[str, float | None, float | None]], rise_k: float
) -> tuple[UnusualDrop, ...]:
    """Return which of a kiln's charges have a higher drop than earlier ones.

    Parameters
    ----------
    charges : sequence of tuple
        For each charge, oldest first: its number, and its drops while wet and later [K].
    rise_k : float
        Least rise above the median of earlier charges at the same stage that is reported. [K]
    """
    found = []
    for index, (charge, *drops) in enumerate(charges):
        for stage, drop in zip(_STAGES, drops, strict=True):
            place = 1 + _STAGES.index(stage)
            earlier = [known for one in charges[:index] if isinstance(known := one[place], float)]
            if drop is None or len(earlier) < _LEAST_EARLIER:
                continue
            if drop - (usual := median(earlier)) > rise_k:
                found.append(UnusualDrop(charge, stage, drop, usual, len(earlier)))
    return tuple(found)
