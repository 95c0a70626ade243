"""A load in a kiln: wood and air, advanced together tick by tick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from demo.chamber import TICK_MINUTES, Chamber
from demo.timber import STILL_AIR_SHARE, Boards
from kilnfolio.physics.air import saturation_pressure
from kilnfolio.physics.sorption import equilibrium_moisture_content
from kilnfolio.records.setpoints import AirState

#: Ratio of the molar masses of water and dry air.
MOLAR_MASS_RATIO = 0.621945


@dataclass(frozen=True)
class Span:
    """An interval in minutes from the start of heating."""

    first: float
    last: float

    def holds(self, minute: float) -> bool:
        """Return whether a minute is within the interval."""
        return self.first <= minute < self.last


class KilnRun:
    """The boards, the air around them, and the operator's settings.

    Parameters
    ----------
    boards : Boards
        The load boards first, then the sample boards.
    load : int
        Number of load boards.
    chamber : Chamber
        The kiln.
    water_per_point : float
        Water in the whole load per point of MC. [kg]
    reversal_minutes : float
        Time between fan reversals.
    pinned : sequence of int
        Boards of the load with pins, whose course is kept.
    """

    def __init__(
        self,
        boards: Boards,
        load: int,
        chamber: Chamber,
        water_per_point: float,
        reversal_minutes: float,
        pinned: Sequence[int] = (),
    ):
        self.boards, self.load, self.chamber = boards, load, chamber
        self.water_per_point, self.reversal = water_per_point, reversal_minutes
        self.ticks = 0
        self.evaporation = 0.0
        self.asked: AirState | None = None
        self.fan_stops: list[Span] = []
        self.power_stops: list[Span] = []
        self.mean_history = [float(boards.mean_mc[:load].mean())]
        self.emc_history: list[float] = []
        self.pinned = list(pinned)
        self.pinned_history = [boards.mean_mc[self.pinned]]

    @property
    def minute(self) -> int:
        """Minutes since heating began."""
        return self.ticks * TICK_MINUTES

    @property
    def samples(self) -> slice:
        """Indices of the sample boards."""
        return slice(self.load, None)

    def ask(self, air: AirState) -> None:
        """Set the air."""
        self.asked = air

    def advance(self, minute: float) -> None:
        """Let time pass until a minute, or the end of the tick it falls in."""
        while self.minute < minute:
            self._tick()

    def _tick(self) -> None:
        chamber, minute = self.chamber, self.minute
        chamber.fans = not any(stop.holds(minute) for stop in self.fan_stops)
        chamber.power = not any(stop.holds(minute) for stop in self.power_stops)
        moving = chamber.fans and chamber.power
        before = self.mean_history[-1]
        emc = self._local_emc()
        self.boards.dry(
            chamber.wood + self.boards.warmer_k,
            emc,
            60.0 * TICK_MINUTES,
            1.0 if moving else STILL_AIR_SHARE,
        )
        after = float(self.boards.mean_mc[: self.load].mean())
        self.mean_history.append(after)
        self.pinned_history.append(self.boards.mean_mc[self.pinned])
        self.emc_history.append(float(emc[0]))
        given = (before - after) * self.water_per_point / (60.0 * TICK_MINUTES)
        # smooth evaporation over the last tick or two
        self.evaporation += 0.5 * (given - self.evaporation)
        chamber.tick(
            self.ticks,
            self.asked.dry_bulb_c,
            self.asked.wet_bulb_c,
            self.evaporation,
            after,
            wet_wood=after > 27.0,
        )
        self.ticks += 1

    def _local_emc(self) -> np.ndarray:
        """Return the EMC of the air at each board [%]."""
        chamber, boards = self.chamber, self.boards
        forward = int(self.minute // self.reversal) % 2 == 0
        along = boards.across if forward else 1.0 - boards.across
        temps = chamber.dry - chamber.fall_across_load * along + boards.warmer_k
        gained = self.evaporation / chamber.physics.air_flow * chamber.pressure / MOLAR_MASS_RATIO
        vapour = chamber.vapour + gained * along
        humidity = np.clip(100.0 * vapour / saturation_pressure(temps), 2.0, 99.0)
        return equilibrium_moisture_content(temps, humidity)

    def cool_and_rest(self, hours: float, rest_hours: float) -> None:
        """Let the load cool and rest behind closed doors: water only moves inside the boards."""
        start = self.chamber.wood
        still = np.full(len(self.boards.half_thickness), 8.0)
        for step in range(int(hours + rest_hours)):
            share = min(1.0, step / max(hours, 1.0))
            wood = start + (22.0 - start) * share**0.6
            self.boards.dry(np.full(len(still), wood), still, 3600.0, 1e-6)
