"""Defaults for the mills of each region, with sources."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Literal

from kilnfolio.records.model import Name, Record, Text
from kilnfolio.records.sourced import Status
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.runtime.files import read_file

RegionName = Literal["North American", "British", "continental", "Australasian"]
ControlRule = Literal["wettest half", "wettest board", "mean"]


class Custom(Record):
    """One custom of a region, and how it is known."""

    is_: Text
    """What is done, in words."""
    source: Text
    """The publication and place, or 'common practice'."""
    status: Status
    """How it is known."""


class Region(Record):
    """The customs of a region, used unless a mill's records say otherwise."""

    control_rule: Custom
    """Which boards decide a step."""
    units: Custom
    """Which units come first."""
    conditions: Custom
    """How the air is stated."""
    sizes: Custom
    """How sizes are written."""
    targets: Custom
    """Usual final MC."""
    lot_rule: Custom
    """What an order asks of a lot."""
    oven_method: Custom
    """Standard of the oven-dry method."""
    meter_method: Custom
    """Standard of the resistance meter."""
    stress_test: Custom
    """How drying stress is shown."""
    words: dict[Name, Custom]
    """This region's terms for terms of the records and the glossary."""

    @property
    def customary_first(self) -> bool:
        """Whether US customary units come before metric ones."""
        return _FIRST[self.units.is_]

    @property
    def rule(self) -> ControlRule:
        """Which boards decide a step."""
        return RULES[self.control_rule.is_]


RULES: dict[str, ControlRule] = {
    "wettest half": "wettest half",
    "wettest board": "wettest board",
    "mean": "mean",
}
_FIRST = {"metric first": False, "customary first": True}


@cache
def regions() -> dict[str, Region]:
    """Return every region by its name in `practice` of mill.yaml."""
    raw = read_file(Path(__file__).with_name("regions.yaml"))
    value = parse_yaml(raw, "regions.yaml").value
    return {
        name: Region.model_validate(
            {key: _custom(raw) for key, raw in customs.items() if key != "words"}
            | {"words": {ours: _custom(raw) for ours, raw in customs["words"].items()}}
        )
        for name, customs in value.items()
    }


def _custom(raw: dict[str, str]) -> dict[str, str]:
    return {"is_": raw["is"], "source": raw["source"], "status": raw["status"]}
