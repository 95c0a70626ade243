"""Scales, moisture sections, thermometers and the meter, each with its error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kilnfolio.physics.meters import POINTS_PER_KELVIN, RESISTANCE_RANGE_PCT

#: Resolution of the board scale and the section balance [g].
SCALE_STEP_G, BALANCE_STEP_G = 1.0, 0.1
#: Scatter of a section's MC about its board's, along the grain: relative, and in points.
SECTION_SHARE, SECTION_POINTS = 0.006, 0.2
#: Scatter of a meter reading about the board's MC, and of a hand-read bulb.
METER_POINTS, HAND_KELVIN = 0.30, 0.12
#: Wood temperature for which the meter's scale is right [°C].
METER_CALIBRATION_C = 20.0
#: Wettest MC that pins tell [%].
PINS_WETTEST = RESISTANCE_RANGE_PCT[1]
#: A wafer's lag behind the air [min] and how much too little it shows [points].
WAFER_LAG_MINUTES, WAFER_LOW = 90.0, 0.4


def rounded(value: float, step: float) -> float:
    """Return a reading rounded to an instrument's resolution."""
    return round(round(value / step) * step, 6)


@dataclass(frozen=True)
class CutSection:
    """A moisture section: masses shown by the balance [g]."""

    id: str
    green_g: float
    oven_dry_g: float

    @property
    def mc_pct(self) -> float:
        """MC from the two masses [%]."""
        return 100.0 * (self.green_g - self.oven_dry_g) / self.oven_dry_g


def cut_sections(
    tag: str, board_mc: float, board_dry_g: float, chance: np.random.Generator
) -> tuple[CutSection, CutSection]:
    """Return the two sections cut at the ends of a board before it is weighed.

    A section is about one inch along the grain of a 760 mm board. Its MC differs from the board's,
    because wood varies along the grain, and it loses a little water on the way to the balance.
    """
    sections = []
    for letter in "ab":
        dry = board_dry_g * 25.4 / 760.0 * chance.normal(1.0, 0.015)
        mc = board_mc * chance.normal(1.0, SECTION_SHARE) + chance.normal(-0.1, SECTION_POINTS)
        # oven-drying is stopped slightly before constant mass
        left = 1.0 + abs(chance.normal(0.0, 0.0006))
        sections.append(
            CutSection(
                f"{tag}{letter}",
                rounded(dry * (1 + mc / 100), BALANCE_STEP_G),
                rounded(dry * left, BALANCE_STEP_G),
            )
        )
    return sections[0], sections[1]


def weigh(mass_g: float, chance: np.random.Generator) -> int:
    """Return a mass shown by the board scale [g]."""
    return int(rounded(mass_g + chance.normal(0.0, 0.6), SCALE_STEP_G))


def transposed(mass_g: int, least_drop: float, floor_g: float) -> int | None:
    """Return a mass with two neighbouring digits swapped so that it is too low, or None.

    The swap is the smallest that lowers it by at least `least_drop` and leaves it above `floor_g`.
    """
    digits = str(mass_g)
    swaps = [
        int(digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :])
        for i in range(len(digits) - 1)
    ]
    fitting = [swap for swap in swaps if swap <= mass_g - least_drop and swap > floor_g]
    return max(fitting, default=None)


def wafer_emc(emc: np.ndarray, minutes: float) -> np.ndarray:
    """Return what an EMC sensor shows of the air's EMC [%], given the minutes between its rows.

    The wafer follows the air with a lag, and its scale is low by `WAFER_LOW` points.
    """
    shown, share = np.empty(len(emc)), 1.0 - np.exp(-minutes / WAFER_LAG_MINUTES)
    felt = emc[0]
    for row, value in enumerate(emc):
        felt += share * (value - felt)
        shown[row] = felt
    return shown - WAFER_LOW


def pin_readings(mc: np.ndarray, wood_temp_c: np.ndarray) -> np.ndarray:
    """Return what pins left in a board show at its MC, without correction for temperature [%].

    Above `PINS_WETTEST` their resistance hardly changes, and they show too little.
    """
    wet = np.maximum(mc - PINS_WETTEST, 0.0)
    felt = np.minimum(mc, PINS_WETTEST) + 0.4 * wet
    return felt + (wood_temp_c - METER_CALIBRATION_C) * POINTS_PER_KELVIN


def meter_readings(
    mc: np.ndarray, wood_temp_c: float, chance: np.random.Generator, *, temperature_corrected: bool
) -> np.ndarray:
    """Return a resistance meter's readings on boards of given MCs [%].

    Warm wood conducts better, so an uncorrected reading is too high by half a point for each
    5.6 °C (Wood Handbook, FPL-GTR-190, p. 13-3).
    """
    shown = mc + 0.1 + chance.normal(0.0, METER_POINTS, len(mc))
    if not temperature_corrected:
        shown = shown + (wood_temp_c - METER_CALIBRATION_C) * POINTS_PER_KELVIN
    return np.round(shown, 1)
