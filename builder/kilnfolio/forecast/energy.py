"""What a load will take of energy and money, by what its kiln took before.

A kiln takes about so much energy a day: warmth for the water that goes, for the walls and for the
air let out. What it took on earlier charges, by the day, carries the differences of wood and season
in its spread. No model of the kiln is needed, and none is claimed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kilnfolio.forecast.green_load import Days

ENOUGH = 3
"""Charges with metered energy that a kiln needs."""


@dataclass(frozen=True)
class Amount:
    """An amount, likely and with its band of 80 in 100."""

    low80: float
    median: float
    high80: float

    def times(self, factor: float) -> Amount:
        """Return it times a price."""
        return Amount(self.low80 * factor, self.median * factor, self.high80 * factor)


def energy_for(days: Days, daily_kwh: Sequence[float]) -> Amount | None:
    """Return what a load will take [kWh]; None where fewer than `ENOUGH` charges are known.

    Parameters
    ----------
    days : Days
        From a forecast.
    daily_kwh : sequence of float
        Energy of each earlier charge of the kiln over its days. [kWh/d]

    Notes
    -----
    ln kWh = ln days + ln(kWh/day); the two halves of the 80 % band add as independent errors. The
    mean of the second is known from n charges: Student's t with n - 1 degrees of freedom times
    s √(1 + 1/n).
    """
    from scipy.special import stdtrit  # slow to import, and few commands forecast

    known = np.log([value for value in daily_kwh if value > 0])
    if known.size < ENOUGH or days.low80 <= 0:
        return None
    spread = float(known.std(ddof=1)) * np.sqrt(1.0 + 1.0 / known.size)
    own = float(stdtrit(known.size - 1, 0.9)) * spread
    likely = float(np.log(days.median) + known.mean())
    low = np.hypot(own, np.log(days.median / days.low80))
    high = np.hypot(own, np.log(days.high80 / days.median))
    return Amount(*(float(value) for value in np.exp([likely - low, likely, likely + high])))
