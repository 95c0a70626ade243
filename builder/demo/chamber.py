"""Kiln air minute by minute: heat, vapour, and a controller that operates valves.

The air is one well-stirred volume with the inside of the walls, coupled to the mean temperature of
the wood; the load takes heat from the passing air and gives off vapour to it. The controller sees
its sensors, not the true air. Valves stick a little before they move, which makes the air oscillate
about its set-point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kilnfolio.physics.air import (
    latent_heat,
    saturation_pressure,
    vapour_pressure_of_bulbs,
    wet_bulb,
)

#: Gas constant of water vapour [J/(kg K)], and heat capacity of kiln air [kJ/(kg K)].
VAPOUR_GAS_CONSTANT, AIR_HEAT = 461.5, 1.02
#: Time steps of the wood and of the air [min].
TICK_MINUTES, AIR_MINUTES = 10, 1
#: Fastest rise of the dry bulb, and of the depression [K/h].
HEAT_RAMP, SOFTWOOD_RAMP = 2.0, 6.0
DEPRESSION_RAMP_WET, DEPRESSION_RAMP_DRY = 0.9, 2.5
#: Share of the heat exchange with the load that remains in still air.
STILL_HEAT_SHARE = 0.3


@dataclass(frozen=True)
class KilnPhysics:
    """Physical properties of a kiln, in m³, kJ/K, kW/K, kW, kg/s and m³/s.

    `drying_s` and `wetting_s` are the times in which its controller aims to correct air that is too
    humid or too dry.
    """

    chamber_m3: float
    heat_capacity: float
    losses: float
    heating_kw: float
    air_flow: float
    vent: float
    spray: float
    compressor: float = 0.0
    compressor_kw: float = 0.0
    fan_kw: float = 8.0
    leak: float = 0.06
    drying_s: float = 180.0
    wetting_s: float = 1500.0

    @property
    def exchange(self) -> float:
        """Heat transfer to the load per kelvin between entering air and wood [kW/K]."""
        return 0.62 * self.air_flow * AIR_HEAT


@dataclass
class SensorErrors:
    """Errors of the controller's own bulbs [K]."""

    dry: float = 0.0
    wet: float = 0.0


@dataclass
class Trace:
    """The course of the air, one row for every five minutes."""

    minute: list[int]
    dry: list[float]
    leaving: list[float]
    vapour: list[float]
    vent: list[float]
    spray: list[float]
    fan: list[float]
    wood: list[float]
    compressor: list[float]

    @classmethod
    def empty(cls) -> Trace:
        """Return an empty trace."""
        return cls(*([] for _ in range(9)))


class Chamber:
    """A kiln with its load, from the start of heating.

    Parameters
    ----------
    physics : KilnPhysics
        The kiln.
    pressure_pa : float
        Air pressure.
    wood_heat : float
        Heat capacity of the oven-dry wood. [kJ/K]
    outside_c : ndarray
        Outside temperature at each tick.
    errors : SensorErrors
        Errors of the controlling sensors.
    chance : Generator
        Random steam pressure and stirring of the air.
    ramp : float
        Fastest rise of the dry bulb. [K/h]
    """

    def __init__(
        self,
        physics: KilnPhysics,
        pressure_pa: float,
        wood_heat: float,
        outside_c: np.ndarray,
        errors: SensorErrors,
        chance: np.random.Generator,
        *,
        indoors_c: float,
        ramp: float = HEAT_RAMP,
    ):
        self.physics, self.pressure, self.errors, self.chance = physics, pressure_pa, errors, chance
        self.wood_heat, self.outside, self.ramp = wood_heat, outside_c, ramp
        self.dry = self.dry_before = self.wood = self.measured = indoors_c
        self.vapour = 0.86 * saturation_pressure(indoors_c)
        self.set_dry, self.set_depression = indoors_c, 1.4
        self.valve = self.heat_integral = self.coil = 0.0
        self.vent = self.vent_integral = self.spray = self.compressor = 0.0
        self.stratified = 0.0
        self.steam, self.stir = 1.0, 0.0
        self.fans, self.power = True, True
        self.trace = Trace.empty()
        self.energy_kwh = self.condensed_kg = 0.0
        self._row(0)

    @property
    def fall_across_load(self) -> float:
        """Drop in air temperature across the load [K]."""
        flow = 1.0 if self.fans and self.power else 0.05
        return 0.62 * (self.dry - self.wood) * flow + self.stratified

    def tick(
        self,
        number: int,
        asked_dry: float,
        asked_wet: float,
        evaporation: float,
        wood_mc: float,
        *,
        wet_wood: bool,
    ) -> None:
        """Advance the air by one tick, given the evaporation of the load [kg/s]."""
        if not self.power:
            self._rest()
        set_before = self.set_dry
        self._ramp_to(asked_dry, asked_dry - asked_wet, wet_wood)
        set_after = self.set_dry
        now, then, slope = self._vapour_wanted()
        rising = (then - now) / (60.0 * TICK_MINUTES)
        latent = latent_heat(min(max(self.dry, 1.0), 149.0))
        heat_of_load = self.wood_heat * (1.0 + 4.19 / 1.35 * wood_mc / 100.0)
        ceiling = 0.995 * saturation_pressure(max(self.dry, 2 * self.dry - self.dry_before))
        outside = self.outside[number]
        outside_vapour = 0.7 * saturation_pressure(outside)
        self.dry_before = self.dry
        self.steam += 0.15 * (1.0 - self.steam) + 0.02 * self.chance.standard_normal()
        stirs = 0.05 * self.chance.standard_normal(TICK_MINUTES)
        self.energy_kwh += self.physics.fan_kw * TICK_MINUTES / 60.0 * self.power
        for minute in range(TICK_MINUTES):
            if minute % 5 == 0 and minute:
                self._row(number * TICK_MINUTES + minute)
            self.stir = 0.9 * self.stir + float(stirs[minute])
            share = (minute + 1) / TICK_MINUTES
            self.set_dry = set_before + share * (set_after - set_before)
            self._minute(
                now + share * (then - now),
                rising,
                slope,
                latent,
                heat_of_load,
                ceiling,
                outside,
                outside_vapour,
                evaporation,
            )
        self._row((number + 1) * TICK_MINUTES)

    def _rest(self) -> None:
        """Let the set-point follow the air during a stop, so that the kiln ramps up from there."""
        shown = wet_bulb(self.dry, self.humidity(), self.pressure)
        self.set_dry = self.dry
        self.set_depression = min(self.set_depression, max(self.dry - shown, 0.5))

    def _ramp_to(self, dry: float, depression: float, wet_wood: bool) -> None:
        hours = TICK_MINUTES / 60.0
        self.set_dry = (
            min(dry, max(self.set_dry, self.dry - 1.0) + self.ramp * hours)
            if dry > self.set_dry
            else dry
        )
        opening = (DEPRESSION_RAMP_WET if wet_wood else DEPRESSION_RAMP_DRY) * hours
        self.set_depression = min(depression, self.set_depression + opening)

    def _vapour_wanted(self) -> tuple[float, float, float]:
        """Return the vapour pressure the controller aims for, now and one tick later.

        The third value is its rise per kelvin of wet bulb. While the air is still heating up the
        controller keeps the depression, not the wet bulb of a dry bulb not yet reached.
        """
        later = self.dry + (self.dry - self.dry_before)
        dry = np.array([self.dry, self.dry, later])
        held = np.minimum(self.set_dry, dry + self.errors.dry + 0.5)
        wet = np.minimum(held - self.set_depression, dry) - self.errors.wet
        wet[1] -= 0.5
        now, below, then = vapour_pressure_of_bulbs(dry, wet, self.pressure)
        least = 300.0  # even a very dry kiln holds some vapour
        return (
            float(max(now, least)),
            float(max(then, least)),
            float(max((now - below) / 0.5, 20.0)),
        )

    def _minute(
        self,
        wanted: float,
        rising: float,
        slope: float,
        latent: float,
        heat_of_load: float,
        ceiling: float,
        outside: float,
        outside_vapour: float,
        evaporation: float,
    ) -> None:
        k, seconds = self.physics, 60.0
        self.measured += (self.dry + self.errors.dry - self.measured) * 0.4
        flow = 1.0 if self.fans and self.power else 0.05
        self._move_heat_valve()
        self.coil += (self.valve * self.steam - self.coil) * 0.3
        kelvin = self.dry + 273.15
        density = 1.0 / (VAPOUR_GAS_CONSTANT * kelvin)
        # walls, stickers and board faces hold as much vapour as several chambers of air
        room = 4.0 * k.chamber_m3 * density
        # the vapour that would correct the air [kg]; the controller adds no more
        self._move_vents(
            (self.vapour - wanted) / slope,
            abs(self.vapour - wanted) * room,
            max(k.vent * (self.vapour - outside_vapour) * density, 1e-6),
            max(
                k.leak * (self.vapour - outside_vapour) * density - evaporation + rising * room, 0.0
            ),
        )
        through = (k.vent * self.vent + k.leak) * flow
        vented = through * (self.vapour - outside_vapour) * density
        drawn = k.compressor * self.compressor * min(1.0, max(0.0, (self.vapour - 1800.0) / 4500.0))
        made = k.spray * self.spray
        to_load = k.exchange * max(flow, STILL_HEAT_SHARE) * (self.dry - self.wood)
        air_loss = through * 1.0 * AIR_HEAT * (self.dry - outside)
        compressor_heat = drawn * latent + k.compressor_kw * self.compressor
        # steam brings its own heat; a mist of cold water takes it from the air
        misted = made * latent if k.compressor else 0.0
        heat = (
            k.heating_kw * self.coil * flow
            + compressor_heat
            - misted
            - to_load
            - air_loss
            - k.losses * (self.dry - outside)
        )
        self.dry += heat * seconds / k.heat_capacity
        self.wood += (to_load - evaporation * latent) * seconds / heat_of_load
        self.vapour += (evaporation + made - vented - drawn) * seconds / room
        self.vapour = min(max(self.vapour, 200.0), ceiling)
        self.energy_kwh += (
            max(k.heating_kw * self.coil * flow, 0.0)
            + made * latent
            - misted
            + k.compressor_kw * self.compressor
        ) / 60.0
        self.condensed_kg += drawn * seconds
        drift = 4.5 if not (self.fans and self.power) else 0.0
        self.stratified += (drift - self.stratified) * (1 / 70.0 if drift else 1 / 12.0)

    def _move_heat_valve(self) -> None:
        if not self.power:
            self.valve = 0.0
            return
        error = self.set_dry + 0.25 * self.stir - self.measured
        band = self.physics.heating_kw / self.physics.exchange * 0.45
        wanted = error / band + self.heat_integral
        if -0.02 < wanted < 1.02 or (wanted >= 1.0) == (error < 0.0):
            self.heat_integral += error / band / 22.0
        self.heat_integral = min(max(self.heat_integral, -0.05), 1.0)
        wanted = min(max(wanted, 0.0), 1.0)
        if abs(wanted - self.valve) > 0.025:
            self.valve = wanted

    def _move_vents(self, excess_k: float, enough: float, vent_removes: float, lost: float) -> None:
        """Open vents or run the compressor if too humid; spray if too dry.

        `excess_k` is the excess of the wet bulb [K], `enough` the vapour that would correct it
        [kg], `vent_removes` what open vents remove and `lost` what leaks and dry wood remove
        meanwhile [kg/s].
        """
        if not self.power:
            self.vent = self.spray = self.compressor = 0.0
            return
        k, excess = self.physics, excess_k + 0.2 * self.stir
        # far from the set-point the integral part of the controller pauses, or it would overshoot
        if abs(excess) < 1.5:
            self.vent_integral = min(max(self.vent_integral + excess / 60.0, 0.0), 1.0)
        elif excess < 0.0:
            self.vent_integral *= 0.8
        swing = max(-1.0, min(excess / 2.2, enough / k.drying_s / (k.compressor or vent_removes)))
        wanted = min(max(swing + self.vent_integral, 0.0), 1.0)
        if k.compressor:
            if abs(wanted - self.compressor) > 0.03 or wanted == 0.0:
                self.compressor = wanted
            hot = self.dry - self.set_dry - 0.6
            # a compressor does little in cold air, so vents let out the first water
            cold = wanted if self.vapour < 3500.0 else 0.0
            self.vent = min(max(hot / 1.2, cold, 0.0), 1.0)
        elif abs(wanted - self.vent) > 0.03 or wanted == 0.0:
            self.vent = wanted
        closed = self.vent < 0.02 and self.compressor < 0.02
        needed = enough / k.wetting_s + lost if closed and excess < -0.1 else 0.0
        self.spray = min(needed / k.spray, 1.0)

    def _row(self, minute: int) -> None:
        trace = self.trace
        trace.minute.append(minute)
        trace.dry.append(self.dry)
        trace.leaving.append(self.dry - self.fall_across_load)
        trace.vapour.append(self.vapour)
        trace.vent.append(self.vent)
        trace.spray.append(self.spray)
        trace.fan.append(float(self.fans and self.power))
        trace.wood.append(self.wood)
        trace.compressor.append(self.compressor)

    def humidity(self) -> float:
        """Return the true RH of the entering air [%]."""
        return min(100.0, 100.0 * self.vapour / saturation_pressure(self.dry))
