"""Changes to a schedule for what-ifs: steps moved, capped, milder or as another kiln keeps them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.physics.air import (
    WET_BULB_FLOOR_C,
    saturation_pressure,
    vapour_pressure_of_bulbs,
    wet_bulb,
)
from kilnfolio.physics.sorption import equilibrium_moisture_content, relative_humidity_for_emc
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.region import regions
from kilnfolio.runtime.values import dataclass

EARLIER_POINTS, MILDER = 5.0, 0.8
"""The usual changes: steps so much earlier [% MC], depressions multiplied by [-]."""

CAP_C, CAP_F = 65.0, 150.0
"""The usual cap [°C], and a round number near it for mills that set °F [°F]."""

_DRIEST_RH_PCT, _WETTEST_RH_PCT = 1.0, 99.0
_EMC_RANGE = (0.5, 26.0)


def sets_fahrenheit(folder: MillFolder) -> bool:
    """Return whether a mill sets its kilns in °F."""
    return regions()[folder.mill.record.practice].customary_first


@dataclass(frozen=True)
class Change:
    """A change to a schedule.

    Attributes
    ----------
    words : str
        The change in words, as pages print it.
    kind : str
        A key of `what_if.MISSES`.
    steps : tuple of PlannedStep
        The changed schedule.
    """

    words: str
    kind: str
    steps: tuple[PlannedStep, ...]


def usual_changes(
    steps: Sequence[PlannedStep], *, customary_first: bool = False
) -> Iterator[Change]:
    """Yield changes worth asking about in any schedule by MC: earlier, cooler, milder.

    With `customary_first` the cap is a round number in °F.
    """
    if len(steps) > 1:
        yield Change(
            f"Every step {EARLIER_POINTS:g} points of MC earlier",
            "step",
            earlier(steps, EARLIER_POINTS),
        )
    cap = (CAP_F - 32.0) / 1.8 if customary_first else CAP_C
    if max(step.dry_bulb_c for step in steps) > cap + 1.0:
        pair = f"{CAP_F:g} °F ({cap:.0f} °C)" if customary_first else f"{CAP_C:g} °C (149 °F)"
        yield Change(f"No step hotter than {pair}", "cap", capped(steps, cap))
    yield Change(
        "Every depression a fifth smaller",
        "air",
        tuple(moved(step, 0.0, MILDER) for step in steps),
    )


def earlier(
    steps: Sequence[PlannedStep], points: float, only: int | None = None
) -> tuple[PlannedStep, ...]:
    """Return a schedule whose steps begin at a higher MC; the end stays.

    Parameters
    ----------
    steps : sequence of PlannedStep
        The schedule.
    points : float
        How much earlier; later if negative. [% MC]
    only : int, optional
        Number of the only step to move, from 2; by default all move.

    Raises
    ------
    ValueError
        If there is no such step, or it begins by the clock.
    """
    if only is not None and not 2 <= only <= len(steps):
        raise ValueError(f"step must be 2 to {len(steps)}; received {only}")
    if only is not None and steps[only - 2].until_mc_pct is None:
        raise ValueError(f"step {only} begins by the clock, not at an MC")
    return tuple(
        replace(step, until_mc_pct=step.until_mc_pct + points)
        if step.until_mc_pct is not None and place < len(steps) and only in (None, place + 1)
        else step
        for place, step in enumerate(steps, start=1)
    )


def capped(steps: Sequence[PlannedStep], hottest_c: float) -> tuple[PlannedStep, ...]:
    """Return a schedule with its dry bulb capped; depressions stay as planned."""
    return tuple(moved(step, min(0.0, hottest_c - step.dry_bulb_c)) for step in steps)


def moved(step: PlannedStep, kelvin: float, depression: float = 1.0) -> PlannedStep:
    """Return a step with its dry bulb shifted and its depression multiplied by a factor.

    If the cooler air cannot have that depression, it becomes very dry.
    """
    if kelvin == 0.0 and depression == 1.0:
        return step
    humidity = relative_humidity_for_emc(step.dry_bulb_c, step.emc_pct)
    apart = (step.dry_bulb_c - wet_bulb(step.dry_bulb_c, humidity)) * depression
    dry = step.dry_bulb_c + kelvin
    vapour = vapour_pressure_of_bulbs(dry, max(dry - apart, WET_BULB_FLOOR_C))
    there = 100.0 * vapour / saturation_pressure(dry)
    emc = equilibrium_moisture_content(dry, min(max(there, _DRIEST_RH_PCT), _WETTEST_RH_PCT))
    return replace(step, dry_bulb_c=dry, emc_pct=float(emc))


def kept_as(steps: Sequence[PlannedStep], ratio: float) -> tuple[PlannedStep, ...]:
    """Return a schedule as kept by a kiln whose EMC is the planned EMC times a ratio."""
    low, high = _EMC_RANGE
    return tuple(replace(step, emc_pct=min(max(step.emc_pct * ratio, low), high)) for step in steps)


def from_mc(steps: Sequence[PlannedStep], mc_pct: float) -> tuple[PlannedStep, ...]:
    """Return the steps still to run at an MC, which always include the last."""
    left = [step for step in steps if step.until_mc_pct is None or step.until_mc_pct < mc_pct]
    return tuple(left) or tuple(steps[-1:])
