"""Energy and cost of a load, estimated from the kiln's earlier charges.

A kiln uses roughly the same energy each day, for evaporating water and for losses through walls and
vents. The daily energy of earlier charges includes differences of wood and season in its spread, so
no model of the kiln is needed, and none is claimed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kilnfolio.forecast.green_load import Days
from kilnfolio.runtime.values import dataclass

ENOUGH = 3
"""Number of charges with metered energy that an estimate needs."""


@dataclass(frozen=True)
class Amount:
    """An amount: its median and 80 % band."""

    low80: float
    median: float
    high80: float

    def times(self, factor: float) -> Amount:
        """Return the amount times a factor, such as a price."""
        return Amount(self.low80 * factor, self.median * factor, self.high80 * factor)


def energy_for(days: Days, daily_kwh: Sequence[float]) -> Amount | None:
    """Return the energy a load will take [kWh]; None with fewer than `ENOUGH` charges.

    Parameters
    ----------
    days : Days
        Days the load takes, from a forecast.
    daily_kwh : sequence of float
        Energy a day of each earlier charge of the kiln. [kWh/d]

    Notes
    -----
    ln kWh = ln days + ln(kWh/day); the half-widths of the two 80 % bands add as independent errors.
    ln(kWh/day) is estimated from n charges: Student's t with n - 1 degrees of freedom, times
    s √(1 + 1/n).
    """
    # imported here because it is slow, and few commands forecast
    from scipy.special import stdtrit

    known = np.log([value for value in daily_kwh if value > 0])
    if known.size < ENOUGH or days.low80 <= 0:
        return None
    spread = float(known.std(ddof=1)) * np.sqrt(1.0 + 1.0 / known.size)
    own = float(stdtrit(known.size - 1, 0.9)) * spread
    likely = float(np.log(days.median) + known.mean())
    low = np.hypot(own, np.log(days.median / days.low80))
    high = np.hypot(own, np.log(days.high80 / days.median))
    return Amount(*(float(value) for value in np.exp([likely - low, likely, likely + high])))
