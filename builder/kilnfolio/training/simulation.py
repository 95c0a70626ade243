"""A practice charge: hidden boards, a kiln with lag, and a wick that may fail.

The boards dry by `physics.drying_board`, like those of the forecast, and the air is that of
`physics.air`. The kiln, the wick and the count of spoiled boards are simple models for teaching.
Without weather, the kiln reaches any air it is set to; with weather, see `kiln_air`.
``assets/charge-run.js`` mirrors this file step by step; both give the same figures for the same
seed and decisions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field
from typing import Any

import numpy as np

from kilnfolio.physics import air, drying_board, moisture, sorption, water
from kilnfolio.physics._types import Floats
from kilnfolio.runtime.values import dataclass
from kilnfolio.training import kiln_air
from kilnfolio.training.random_numbers import RandomNumbers

STEP_H = 2.0
"""Time step, during which the air is constant. [h]"""
STEP_S = 3600.0 * STEP_H
"""The same. [s]"""
DRY_LAG_H, WET_LAG_H = 3.0, 2.0
"""Time constants of the kiln's dry bulb and depression. [h]"""
START_C = 20.0
"""Temperature of kiln and load at the start. [°C]"""
WICK_PER_DAY, WICK_MOST = 0.12, 0.7
"""Share of the depression that a wick drying out hides, per day, and its maximum."""
DRIEST_PCT, WIDE_K, LEAST_K = 5.0, 8.0, 0.2
"""The driest air this kiln can reach [% RH]; only checked above this depression [K]. The smallest
depression of moving air over wet wood [K]."""
OVERHEATED_C, WET_PCT, OVERHEATED_H = 3.0, 35.0, 12.0
"""While a board's mean is above 35 % MC, its gradient can open surface checks, and heat can spoil
it: more than 12 h at over 3 °C above the sheet's first step. These are the handbook's rules, made
exact enough to count for teaching."""
WETTEST_C = 99.0
"""Highest wet bulb: water boils at 100 °C, and no vapour of more pressure stays in an open kiln. [°C]"""
WEIGHING_NOISE_PCT = 0.12
"""Standard deviation of a weighing. [% MC]"""

Decision = Mapping[str, Any]


@dataclass(frozen=True)
class Weighing:
    """A weighing of the sample boards."""

    hour: float
    mcs: tuple[float, ...]
    controlling: float


@dataclass(frozen=True)
class Outcome:
    """The result of a charge."""

    days: float
    mean: float
    spread: float
    wettest: float
    driest: float
    in_target: float
    """Share of boards within the target, 0 to 1."""
    checked: float
    """Share of boards whose gradient index exceeded the scenario's limit."""
    overheated: float
    peak_gradient: float
    """Highest gradient index of any board while it was wet [%]."""
    fastest_loss: float
    """Largest loss of a sample board between two weighings [points/day]."""
    wick_sound: float
    """Share of the hours in which the wick hid less than a fifth of the depression."""
    water_kg: float
    energy_kwh: float
    cost: float
    """Cost of kiln days, energy and spoiled boards, in the mill's currency."""
    rating: float
    """Of 100: 40 for boards in the target, 30 for sound boards, 20 for time, 10 for the wick."""


@dataclass
class Run:
    """A running charge."""

    scenario: Mapping[str, Any]
    seed: int
    hour: float = 0.0
    set_dry: float = START_C
    set_depression: float = 0.5
    dry: float = START_C
    depression: float = 0.5
    wick: float = 0.0
    weighings: list[Weighing] = field(default_factory=list)
    log: list[tuple[float, float, float, float]] = field(default_factory=list)
    """Hour, dry bulb, wet bulb as read, and true EMC."""
    limits: frozenset[str] = frozenset()
    """What held the kiln back in the last step: 'heating', 'vents', 'spray'."""
    heat_kwh: float = 0.0
    """Heat of coils and spray so far, in a kiln with weather."""

    def __post_init__(self) -> None:
        given, self._numbers = self.scenario, RandomNumbers(self.seed)
        initial, diffusivity = [], []
        for _ in range(given["boards"]):
            mc = given["initial_mc"] + given["initial_spread"] * self._numbers.normal()
            initial.append(max(mc, 30.0))
            share = 1.0 + given["diffusivity_spread"] * self._numbers.normal()
            diffusivity.append(given["diffusivity"] * max(share, 0.3))
        self.board = drying_board.Board(
            given["thickness_mm"], np.array(initial), np.array(diffusivity)
        )
        self.initial_mean = float(np.mean(initial))
        self.profile: Floats = self.board.start()
        self.peak = np.zeros(given["boards"])
        self.hot_hours = np.zeros(given["boards"])
        self._wick_sound = 0.0
        self._dry_mass = given["volume_m3"] * given["basic_density"]
        self._flow = self._loss = 0.0
        self._new_wick()

    def _new_wick(self) -> None:
        self.wick = 0.0
        self._wick_left = 24.0 * self.scenario["wick_life_days"] * (0.5 + self._numbers.share())

    # --- what a trainee does ----------------------------------------------------------------------

    def set_air(self, dry_bulb: float, depression: float) -> None:
        """Set the kiln's dry bulb [°C] and depression [K]."""
        self.set_dry, self.set_depression = dry_bulb, depression

    def change_wick(self) -> None:
        """Put a clean, wet wick on the wet bulb."""
        self._new_wick()

    def weigh(self) -> Weighing:
        """Weigh the sample boards."""
        means = self.profile.mean(axis=-1)[: self.scenario["samples"]]
        mcs = tuple(float(mean) + WEIGHING_NOISE_PCT * self._numbers.normal() for mean in means)
        taken = Weighing(self.hour, mcs, float(moisture.controlling_moisture_content(mcs)))
        self.weighings.append(taken)
        return taken

    def wait(self, hours: float) -> None:
        """Let the kiln run, in steps of two hours."""
        for _ in range(round(hours / STEP_H)):
            if self.hour < 24.0 * self.scenario["longest_days"]:
                self._step()

    # --- what happens -----------------------------------------------------------------------------

    def _step(self) -> None:
        self._wick_left -= STEP_H
        if self._wick_left < 0.0:
            self.wick = min(WICK_MOST, self.wick + WICK_PER_DAY * STEP_H / 24.0)
        before, dry, outside = self.dry, self.set_dry, self._outside()
        if outside:
            dry = max(dry, outside.temp)  # no kiln here cools
        wanted = self.set_depression / (1.0 - self.wick)
        self.dry += (dry - self.dry) * (1.0 - math.exp(-STEP_H / DRY_LAG_H))
        self.depression += (wanted - self.depression) * (1.0 - math.exp(-STEP_H / WET_LAG_H))
        if outside:
            self._hold_back(before, outside)
        else:
            self._settle(self.depression)
        emc = self._emc()
        start = self.profile
        self.profile, face = drying_board.advance(self.board, start, STEP_H, self.dry, emc)
        if outside:
            self._count_heat(before, outside, self._loss_between(start, self.profile))
        self.hour += STEP_H
        self._judge(face)
        shown = self.dry - self.depression * (1.0 - self.wick)
        self.log.append((self.hour, self.dry, shown, emc))
        self._wick_sound += self.wick < 0.2

    def _settle(self, depression: float) -> None:
        """Take a depression, if air at the dry bulb can have it."""
        self.depression = max(LEAST_K, self.dry - WETTEST_C, depression)
        if self.depression > WIDE_K:
            driest = float(air.wet_bulb(self.dry, DRIEST_PCT))
            self.depression = min(self.depression, self.dry - driest)

    def _humidity(self) -> float:
        return float(air.relative_humidity(self.dry, self.dry - self.depression))

    def _emc(self) -> float:
        return float(sorption.equilibrium_moisture_content(self.dry, self._humidity()))

    def _ratio(self) -> float:
        return float(air.humidity_ratio(self.dry, self._humidity()))

    # --- the kiln in weather; see `kiln_air` ------------------------------------------------------

    def _outside(self) -> kiln_air.Outdoors | None:
        """Return the air outdoors in the middle of the step; None without weather."""
        weather = self.scenario.get("weather")
        return kiln_air.outdoors(weather, self.hour + 0.5 * STEP_H) if weather else None

    def _hold_back(self, before: float, outside: kiln_air.Outdoors) -> None:
        """Keep the air within what heating, vents and spray can do.

        The loss of the wood depends on the humidity, and the humidity on the loss: where the air as
        set is out of reach, both are taken from a straight line between two trials.
        """
        kiln, limits = self.scenario["kiln"], set()
        most = kiln_air.hottest(
            kiln, outside, self._capacity(), before, self._flow, self._loss, STEP_S
        )
        if self.dry > most:
            self.dry = most
            limits.add("heating")
        self._settle(self.depression)
        wanted = self._ratio()
        first = kiln_air.exchange(kiln, outside, wanted, self._loss_at(self._emc()))
        if first.limit:
            limits.add(first.limit)
            self._take_ratio(first.ratio)
            tried = self._ratio()
            second = kiln_air.exchange(kiln, outside, wanted, self._loss_at(self._emc()))
            ahead, behind = tried - wanted, tried - second.ratio
            share = ahead / (ahead + behind) if ahead + behind else 1.0
            self._take_ratio(wanted + max(0.0, min(1.0, share)) * ahead)
        self.limits = frozenset(limits)

    def _take_ratio(self, ratio: float) -> None:
        humidity = max(DRIEST_PCT, kiln_air.humidity_of(ratio, self.dry))
        self._settle(self.dry - float(air.wet_bulb(self.dry, humidity)))

    def _loss_at(self, emc: float) -> float:
        """Return the water the wood would give off in this step [kg/s]."""
        after, _ = drying_board.advance(self.board, self.profile, STEP_H, self.dry, emc)
        return self._loss_between(self.profile, after)

    def _loss_between(self, start: Floats, after: Floats) -> float:
        points = float(start.mean(axis=-1).mean()) - float(after.mean(axis=-1).mean())
        return float(max(points, 0.0) / 100.0 * self._dry_mass / STEP_S)

    def _capacity(self) -> float:
        return kiln_air.load_heat(self._dry_mass, float(self.profile.mean()), self.dry)

    def _count_heat(self, before: float, outside: kiln_air.Outdoors, loss: float) -> None:
        kiln = self.scenario["kiln"]
        made = kiln_air.exchange(kiln, outside, self._ratio(), loss)
        used = kiln_air.heat_used(
            kiln, outside, self._capacity(), (before, self.dry), made, loss, STEP_S
        )
        self.heat_kwh += used / water.KJ_PER_KWH
        self._flow, self._loss = made.flow, loss

    def _judge(self, face: Floats) -> None:
        fsp = float(np.asarray(self.board.fsp_pct))
        below = np.maximum(fsp - self.profile, 0.0).mean(axis=-1)
        gradient = self.scenario["tangential"] / fsp * (np.maximum(fsp - face, 0.0) - below)
        wet = self.profile.mean(axis=-1) > WET_PCT
        self.peak = np.where(wet, np.maximum(self.peak, gradient), self.peak)
        ceiling = self.scenario["steps"][0]["dry_bulb"] + OVERHEATED_C
        self.hot_hours += STEP_H * ((self.dry > ceiling) & wet)

    def outcome(self) -> Outcome:
        """Return the result as if the kiln were opened now."""
        given, means = self.scenario, self.profile.mean(axis=-1)
        mean, days = float(np.mean(means)), self.hour / 24.0
        in_target = float(np.mean(np.abs(means - given["target"]) <= given["target_within"]))
        checked = float(np.mean(self.peak > given["checks_above"]))
        overheated = float(np.mean(self.hot_hours > OVERHEATED_H))
        spoiled = float(
            np.mean((self.peak > given["checks_above"]) | (self.hot_hours > OVERHEATED_H))
        )
        lost = float(
            water.water_removed(
                given["volume_m3"],
                given["basic_density"],
                self.initial_mean,
                min(mean, self.initial_mean),
            )
        )
        energy = self.heat_kwh if given.get("weather") else lost * given["kwh_per_kg"]
        wick = self._wick_sound / len(self.log) if self.log else 1.0
        late = (days - given["good_days"]) / (given["longest_days"] - given["good_days"])
        return Outcome(
            days,
            mean,
            float(np.std(means)),
            float(means.max()),
            float(means.min()),
            in_target,
            checked,
            overheated,
            float(self.peak.max()),
            self._fastest(),
            wick,
            lost,
            energy,
            days * given["day_cost"]
            + energy * given["kwh_price"]
            + spoiled * given["volume_m3"] * given["timber_value"],
            40.0 * in_target
            + 30.0 * (1.0 - spoiled)
            + 20.0 * (1.0 - max(0.0, min(1.0, late))) * (in_target > 0.0)
            + 10.0 * wick,
        )

    def _fastest(self) -> float:
        rates = [
            (first - second) / (after.hour - before.hour) * 24.0
            for before, after in zip(self.weighings, self.weighings[1:], strict=False)
            if after.hour > before.hour
            for first, second in zip(before.mcs, after.mcs, strict=True)
        ]
        return max(rates, default=0.0)


def replay(scenario: Mapping[str, Any], seed: int, decisions: Sequence[Decision]) -> Run:
    """Run a charge by recorded decisions: set, wick, weigh, wait.

    Parameters
    ----------
    scenario : mapping
        From `scenario.read_scenarios`.
    seed : int
        Seed of the boards and the wick, 0 to 2³² − 1.
    decisions : sequence of mapping
        As ``{"do": "set", "dry_bulb": 43.5, "depression": 2.2}``, ``{"do": "wait", "hours": 24}``,
        ``{"do": "weigh"}`` or ``{"do": "wick"}``.
    """
    run = Run(scenario, seed)
    for decision in decisions:
        apply(run, decision)
    return run


def apply(run: Run, decision: Decision) -> None:
    """Carry out one decision; see `replay`."""
    if decision["do"] == "set":
        run.set_air(decision["dry_bulb"], decision["depression"])
    elif decision["do"] == "wick":
        run.change_wick()
    elif decision["do"] == "weigh":
        run.weigh()
    elif decision["do"] == "wait":
        run.wait(decision["hours"])
    else:
        raise ValueError(f"do must be set, wick, weigh or wait; received {decision['do']!r}")
