"""How good forecasts and early warnings were on check charges: ``measured.yaml``, made by a command.

The file is written by the command it names, from charges that no curve was learnt from. The
constants of the early warning were chosen on some of them; the others are counted apart. Pages
print these figures; nobody types them.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import NamedTuple

import yaml


class Fault(NamedTuple):
    """A planted fault, and how often it was found."""

    words: str
    planted: int
    found: int
    right_pair: int | None
    """How often the right pair was named, of tags that were swapped."""
    days: float | None
    """Days until it was found, median; of a drift."""

    @property
    def share_pct(self) -> float:
        """Share that was found [%]."""
        return 100.0 * self.found / self.planted


class Warned(NamedTuple):
    """Early warnings: false alarms on sound charges, and planted faults."""

    weighings: int
    weighings_named: int
    charges: int
    charges_named: int
    charges_with_drift: int
    others: int
    """Of the charges: those on which no constant of the warning was chosen."""
    others_named: int
    others_weighings: int
    others_weighings_named: int
    faults: tuple[Fault, ...]


class Foretold(NamedTuple):
    """Forecasts of the end from one share of the time; errors in % of the whole time."""

    share: float
    charges: int
    median_error: float
    error_90: float
    line: float
    exponential: float
    in80: int
    in95: int
    next_step_days: float


class Loads(NamedTuple):
    """Forecasts of loads before they went in, and how many ended inside the bands."""

    charges: int
    in80: int
    in95: int


class Measured(NamedTuple):
    """All of it, and the command that made it."""

    command: str
    warnings: Warned
    forecasts: tuple[Foretold, ...]
    loads: Loads


@cache
def measured() -> Measured:
    """Return the measured figures."""
    text = (resources.files("kilnfolio.forecast") / "measured.yaml").read_text("utf-8")
    data = yaml.safe_load(text)
    found = data["warnings"]
    faults = tuple(
        Fault(
            one["fault"],
            one["planted"],
            one["found"],
            one.get("right_pair"),
            one.get("days_until_found"),
        )
        for one in found["faults"]
    )
    return Measured(
        data["command"],
        Warned(
            found["sound_weighings"],
            found["sound_weighings_named"],
            found["sound_charges"],
            found["sound_charges_named"],
            found["sound_charges_with_drift"],
            found["other_charges"],
            found["other_charges_named"],
            found["other_weighings"],
            found["other_weighings_named"],
            faults,
        ),
        tuple(Foretold(**row) for row in data["forecasts"]),
        Loads(**data["loads"]),
    )
