"""Measured accuracy of forecasts and early warnings on check charges: ``measured.yaml``.

The file is written by the command it names, from charges that no curve was learnt from. Some of
them were used to choose the constants of the early warning; the others are counted separately.
Pages print these figures; nobody types them.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import NamedTuple

import yaml


class PlantedFault(NamedTuple):
    """A kind of planted fault, and how often it was found."""

    words: str
    planted: int
    found: int
    right_pair: int | None
    """For swapped tags, how often the right pair was named."""
    days: float | None
    """For a drift, the median days until it was found."""

    @property
    def share_pct(self) -> float:
        """Share of faults found [%]."""
        return 100.0 * self.found / self.planted


class WarningAccuracy(NamedTuple):
    """Accuracy of early warnings: false alarms on sound charges, and planted faults found."""

    weighings: int
    weighings_named: int
    charges: int
    charges_named: int
    charges_with_drift: int
    others: int
    """Number of charges that were not used to choose constants of the warning."""
    others_named: int
    others_weighings: int
    others_weighings_named: int
    faults: tuple[PlantedFault, ...]


class ForecastAccuracy(NamedTuple):
    """Accuracy of forecasts of the end at one share of the time; errors in % of the whole time."""

    share: float
    charges: int
    median_error: float
    error_90: float
    line: float
    exponential: float
    in80: int
    in95: int
    next_step_days: float


class LoadAccuracy(NamedTuple):
    """Accuracy of forecasts of loads before they went in: how many ended inside the bands."""

    charges: int
    in80: int
    in95: int


class Measured(NamedTuple):
    """All measured figures, and the command that made them."""

    command: str
    warnings: WarningAccuracy
    forecasts: tuple[ForecastAccuracy, ...]
    loads: LoadAccuracy


@cache
def measured() -> Measured:
    """Return the measured figures."""
    text = (resources.files("kilnfolio.forecast") / "measured.yaml").read_text("utf-8")
    data = yaml.load(text, yaml.CSafeLoader)
    found = data["warnings"]
    faults = tuple(
        PlantedFault(
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
        WarningAccuracy(
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
        tuple(ForecastAccuracy(**row) for row in data["forecasts"]),
        LoadAccuracy(**data["loads"]),
    )
