"""Common mistakes with each formula and what they give, so that a wrong answer can be explained.

Each is the calculation somebody did instead, in house units; none is a tolerance. It is written in
terms, which the script of the practice page works out too. The choice of mistakes is common
practice among those who teach drying; no publication is claimed.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from typing import Any

from kilnfolio.runtime.values import dataclass
from kilnfolio.training.expressions import (
    Part,
    Scope,
    Term,
    argument,
    computed,
    count_at_least,
    driest_half,
    either,
    greatest,
    least,
    mean,
    pairs_at_least,
    total,
)


@dataclass(frozen=True)
class Mistake:
    """A wrong way to use a formula."""

    words: str
    """What the trainee did, addressed to them."""
    work: Callable[..., Part]
    """The wrong calculation in terms of some of the formula's arguments, in house units."""

    @cached_property
    def term(self) -> Part:
        """The wrong calculation as a term."""
        asked = inspect.signature(self.work).parameters.values()
        return self.work(
            *(
                argument(one.name)
                if one.default is inspect.Parameter.empty
                else argument(one.name, one.default)
                for one in asked
            )
        )

    def result(self, given: Mapping[str, Any]) -> float | None:
        """Return what the mistake gives with a formula's arguments; None if it gives nothing."""
        try:
            found = Scope(arguments=given).value(self.term)
        except (KeyError, ValueError, ZeroDivisionError):
            return None
        return float(found) if found is not None and math.isfinite(found) else None


def _humidity(dry_bulb: Part, wet_bulb: Part, altitude: Part = 0.0) -> Term:
    return computed("relative_humidity", dry_bulb=dry_bulb, wet_bulb=wet_bulb, altitude=altitude)


#: The common mistakes with each formula.
MISTAKES: Mapping[str, tuple[Mistake, ...]] = {
    "moisture_content": (
        Mistake(
            "That is the wet basis: the water was divided by the wet mass. Divide by the "
            "oven-dry mass.",
            lambda mass, oven_dry_mass: 100.0 * (mass - oven_dry_mass) / mass,
        ),
        Mistake(
            "That is the whole mass over the dry one. Take the dry mass off first: only the "
            "water stands on top.",
            lambda mass, oven_dry_mass: 100.0 * mass / oven_dry_mass,
        ),
        Mistake(
            "That is the mass of the water. Divide it by the oven-dry mass.",
            lambda mass, oven_dry_mass: mass - oven_dry_mass,
        ),
    ),
    "wet_basis": (
        Mistake(
            "That is the dry basis you were given. The wet basis divides by the whole mass.",
            lambda mc: mc,
        ),
        Mistake(
            "You divided by 1 − MC; divide by 1 + MC.",
            lambda mc: either(mc < 100.0, 100.0 * mc / (100.0 - mc), None),
        ),
    ),
    "oven_dry_mass": (
        Mistake(
            "You took the MC off the wet mass. MC is a share of the dry wood: divide by 1 + MC.",
            lambda mass, mc: mass * (1.0 - mc / 100.0),
        ),
        Mistake(
            "You multiplied by 1 + MC; divide by it. Dry wood weighs less than wet.",
            lambda mass, mc: mass * (1.0 + mc / 100.0),
        ),
    ),
    "mass_at": (
        Mistake(
            "You divided by 1 + MC; multiply. Wet wood weighs more than dry.",
            lambda oven_dry_mass, mc: oven_dry_mass / (1.0 + mc / 100.0),
        ),
        Mistake(
            "That is the water alone. Add the dry wood to it.",
            lambda oven_dry_mass, mc: oven_dry_mass * mc / 100.0,
        ),
    ),
    "controlling_moisture_content": (
        Mistake(
            "That is the plain mean of all boards. Only the wettest half controls.",
            mean,
        ),
        Mistake(
            "That is the wettest board alone. Take the mean of the wettest half.",
            greatest,
        ),
        Mistake("That is the driest half. The wettest half controls.", driest_half),
    ),
    "mean": (Mistake("That is the sum. Divide it by how many there are.", total),),
    "difference": (
        Mistake("You took them the other way round: mind the sign.", lambda a, b: b - a),
    ),
    "drying_rate": (
        Mistake(
            "Those are the points lost, not the points a day. Bring them to 24 hours.",
            lambda mc_from, mc_to: mc_from - mc_to,
        ),
        Mistake(
            "You multiplied by the hours of the interval and divided by 24; it is the other "
            "way round.",
            lambda mc_from, mc_to, time: (mc_from - mc_to) * time / 24.0,
        ),
    ),
    "shrinkage_at": (
        Mistake(
            "That is what is still to come. It has shrunk by the share of the way from fibre "
            "saturation.",
            lambda total, mc, fsp=30.0: total * least(mc, fsp) / fsp,
        ),
        Mistake(
            "That is the whole shrinkage, to oven-dry. Only part of it has happened.",
            lambda total: total,
        ),
    ),
    "dimension_change": (
        Mistake(
            "The size is right and the sign is not: drying makes it smaller.",
            lambda size, coefficient, mc_from, mc_to: size * coefficient * (mc_from - mc_to),
        ),
        Mistake(
            "The coefficient is for one point already; do not divide by 100 again.",
            lambda size, coefficient, mc_from, mc_to: (
                size * coefficient * (mc_to - mc_from) / 100.0
            ),
        ),
    ),
    "water_removed": (
        Mistake(
            "Points of MC are hundredths: divide by 100.",
            lambda volume, basic_density, mc_from, mc_to: (
                volume * basic_density * (mc_from - mc_to)
            ),
        ),
        Mistake(
            "That is all the water there was. Take off what stays.",
            lambda volume, basic_density, mc_from: volume * basic_density * mc_from / 100.0,
        ),
    ),
    "equilibrium_moisture_content": (
        Mistake(
            "That is the relative humidity. EMC is the MC that this air asks for.",
            lambda relative_humidity: relative_humidity,
        ),
        Mistake(
            "You read °F as °C: work with the temperature in one unit.",
            lambda temperature, relative_humidity: computed(
                "equilibrium_moisture_content",
                temperature=least(temperature * 1.8 + 32.0, 120.0),
                relative_humidity=relative_humidity,
            ),
        ),
    ),
    "emc_from_bulbs": (
        Mistake("That is the relative humidity. Go on from it to the EMC.", _humidity),
    ),
    "relative_humidity": (
        Mistake(
            "That is the wet bulb over the dry one. Humidity does not go by that.",
            lambda dry_bulb, wet_bulb: 100.0 * wet_bulb / dry_bulb,
        ),
    ),
    "meter_temperature_correction": (
        Mistake(
            "You corrected the wrong way: hot wood reads too high, cold wood too low.",
            lambda reading, wood_temperature, calibration_temperature=20.0, per_kelvin=0.1: (
                reading + per_kelvin * (wood_temperature - calibration_temperature)
            ),
        ),
    ),
    "equalizing_start": (
        Mistake(
            "You went above the target; equalizing begins when the driest is below it.",
            lambda target, below: target + below,
        ),
    ),
    "equalizing_emc": (
        Mistake(
            "That is above the target: the air is set to the driest board's MC, below it.",
            lambda target, below: target + below,
        ),
        Mistake("That is the target itself. The air is set below it.", lambda target: target),
    ),
    "longest_run_above": (
        Mistake(
            "You added the runs together. One reading below the line begins the count again.",
            lambda interval, temperatures, threshold: (
                interval * pairs_at_least(temperatures, threshold)
            ),
        ),
        Mistake(
            "You counted the readings. Time runs between them: one interval fewer.",
            lambda interval, temperatures, threshold: (
                interval * count_at_least(temperatures, threshold)
            ),
        ),
    ),
    "share_shown": (
        Mistake(
            "That is the share you saw. What you can be sure of is less.",
            lambda readings, failures: 100.0 * (1.0 - failures / readings),
        ),
    ),
}


def usual_mistakes(
    formula: str, given: Mapping[str, Any], right: float
) -> Iterator[tuple[float, str]]:
    """Yield the result of each common mistake with these values, with the comment on it.

    Parameters
    ----------
    formula : str
        The formula's name.
    given : mapping
        Its arguments in house units; lists for those that take several values.
    right : float
        The right result; mistakes that happen to give it are left out.
    """
    for mistake in MISTAKES.get(formula, ()):
        wrong = mistake.result(given)
        if wrong is not None and abs(wrong - right) > 1e-9 * max(1.0, abs(right)):
            yield wrong, mistake.words
