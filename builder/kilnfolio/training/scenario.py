"""Scenarios of the bench: loads with hidden boards, written by a trainer in YAML."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from kilnfolio.records.model import Located, Name, Record, Slug, Text, in_range
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.quantities import (
    Length,
    Percent,
    Temperature,
    TemperatureDifference,
    Volume,
)
from kilnfolio.records.species import Species
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml
from kilnfolio.review.working import Points
from kilnfolio.training import kiln_air

#: Folder of scenarios in a mill folder.
SCENARIOS = "content/handbook/scenarios"


class BenchStep(Record):
    """A step of the sheet beside the trainee."""

    dry_bulb: Annotated[Temperature, in_range(20, 110)]
    """Dry bulb."""
    depression: Annotated[TemperatureDifference, in_range(0.3, 40)]
    """Wet-bulb depression."""
    until_mc: Annotated[Percent, in_range(2, 150)] | Literal["final"]
    """Controlling MC at which it ends."""


class Spell(Record):
    """A spell of weather."""

    from_day: Annotated[float, Field(ge=0, le=200)]
    """Day of the charge on which it begins; the first begins on day 0."""
    temperature: Annotated[Temperature, in_range(-40, 50)]
    """Mean outdoor temperature."""
    humidity: Annotated[Percent, in_range(5, 100)]
    """RH outdoors at that temperature."""
    swing: Annotated[TemperatureDifference, in_range(0, 30)]
    """Difference between the warmest and the coldest hour of a day."""


class BenchKiln(Record):
    """What the kiln can do against the weather."""

    heating_kw: Annotated[float, Field(gt=0, le=5000)]
    """Most heat of its coils [kW]."""
    wall_loss_w_k: Annotated[float, Field(ge=0, le=50_000)]
    """Heat through walls, roof and floor for each kelvin between inside and outdoors [W/K]."""
    vents_m3_h: Annotated[float, Field(gt=0, le=500_000)]
    """Outdoor air with the vents open [m³/h]."""
    leak_m3_h: Annotated[float, Field(gt=0, le=500_000)]
    """Outdoor air that comes in with the vents shut [m³/h]."""
    spray_kg_h: Annotated[float, Field(ge=0, le=10_000)]
    """Most steam of its spray [kg/h]."""


class Scenario(Record):
    """``content/handbook/scenarios/NAME.yaml``."""

    format: Literal[1]
    """The record format."""
    title: Name
    """Its title."""
    say: Text
    """The case, as told to the trainee."""
    invented: Literal[True]
    """Always true: a scenario is invented, and says so."""
    species: Slug
    """The wood, whose density and shrinkage come from its species record."""
    thickness: Length
    """Thickness of the boards."""
    volume: Volume
    """Green volume of the load."""
    boards: Annotated[int, Field(ge=4, le=60)]
    """Number of boards computed."""
    samples: Annotated[int, Field(ge=2, le=20)]
    """Number of them that may be weighed."""
    initial_mc: Annotated[Percent, in_range(30, 200)]
    """Mean MC at the start."""
    initial_spread: Points
    """Standard deviation of the MC at the start between boards."""
    diffusivity: Annotated[float, Field(gt=1e-12, lt=1e-8)]
    """D₀ at 45 °C [m²/s]."""
    diffusivity_spread: Annotated[float, Field(ge=0, le=0.5)]
    """Relative standard deviation of D₀ between boards."""
    target: Annotated[Percent, in_range(4, 25)]
    """Final MC to reach."""
    target_within: Points
    """Largest deviation of a board from the target."""
    checks_above: Annotated[float, Field(gt=0, lt=20)]
    """Gradient index above which a board counts as checked; for teaching only."""
    wick_life_days: Annotated[float, Field(gt=0, le=60)]
    """Mean days until a wick begins to dry out."""
    kwh_per_kg: Annotated[float, Field(gt=0, le=10)] | None = None
    """Energy of the kiln per kilogram of water [kWh/kg]; given where no weather is, for with weather
    the heat is computed."""
    weather: Annotated[list[Spell], Field(min_length=1, max_length=60)] | None = None
    """The weather outdoors, in spells; without it the kiln reaches any air it is set to."""
    kiln: BenchKiln | None = None
    """What the kiln can do; given with weather, and only then."""
    day_cost: Annotated[float, Field(ge=0)]
    """Cost of a kiln day, in the mill's currency."""
    kwh_price: Annotated[float, Field(ge=0)]
    """Price of a kWh, in the mill's currency."""
    timber_value: Annotated[float, Field(ge=0)]
    """Value of a cubic metre, in the mill's currency."""
    good_days: Annotated[float, Field(gt=0)]
    """Days a good operator needs."""
    longest_days: Annotated[float, Field(gt=1, le=200)]
    """Days after which the charge is aborted."""
    steps: Annotated[list[BenchStep], Field(min_length=1)]
    """The sheet beside the trainee."""


def read_scenarios(root: Path, species: dict[str, Species]) -> dict[str, dict[str, Any]]:
    """Read every scenario of a mill folder, as plain values for the simulation.

    Parameters
    ----------
    root : Path
        The mill folder.
    species : dict
        The woods on record, by id.

    Raises
    ------
    RecordProblems
        All problems of all scenarios, with their lines.
    """
    found: dict[str, dict[str, Any]] = {}
    problems: list[Problem] = []
    for path in sorted((root / SCENARIOS).glob("*.yaml")):
        shown_as = path.relative_to(root).as_posix()
        try:
            located = validate(read_yaml(path, shown_as), Scenario)
        except RecordProblems as error:
            problems += error.problems
            continue
        weather = list(_weather_problems(located))
        problems += weather
        wood = species.get(located.record.species)
        if (
            wood is None
            or wood.basic_density_kg_m3 is None
            or wood.shrinkage is None
            or wood.shrinkage.tangential is None
        ):
            problems.append(
                Problem(
                    located.document.place("species"),
                    f"species '{located.record.species}'",
                    "its sheet must give a density and tangential shrinkage",
                    "Choose a wood that has both",
                )
            )
            continue
        if weather:
            continue
        found[path.stem] = plain_values(located.record, wood)
    if problems:
        raise RecordProblems(problems)
    return found


def _weather_problems(located: Located[Scenario]) -> Iterator[Problem]:
    """Yield what does not fit together in weather, kiln and energy."""
    scenario, document = located.record, located.document
    spells = scenario.weather
    if (spells is None) != (scenario.kiln is None):
        given, missing = ("weather", "kiln") if spells else ("kiln", "weather")
        yield Problem(
            document.place(given),
            f"{given} without {missing}",
            "what the weather does depends on the kiln",
            f"Give '{missing}' too, or leave out both",
        )
    if (spells is None) == (scenario.kwh_per_kg is None):
        yield Problem(
            document.place("kwh_per_kg" if spells else "title"),
            "kwh_per_kg beside weather" if spells else "no energy",
            "energy is either computed from the weather or given per kilogram of water",
            "Leave out 'kwh_per_kg'" if spells else "Give 'kwh_per_kg', or 'weather' and 'kiln'",
        )
    days = [spell.from_day for spell in spells or ()]
    if days and (days[0] != 0 or sorted(set(days)) != days):
        yield Problem(
            document.place("weather"),
            f"spells from day {', '.join(f'{day:g}' for day in days)}",
            "the first must begin on day 0, and each later than the one before",
            "Put them in order, the first with from_day: 0",
        )
    kiln = scenario.kiln
    if kiln and kiln.leak_m3_h >= kiln.vents_m3_h:
        yield Problem(
            document.place("kiln", "leak_m3_h"),
            f"a leak of {kiln.leak_m3_h:g} m³/h",
            "open vents must let in more air than shut ones",
            f"Give less than vents_m3_h, {kiln.vents_m3_h:g}",
        )


def _plain_kiln(kiln: BenchKiln) -> dict[str, float]:
    """Return a kiln in kW, kW/K, m³/s and kg/s."""
    return {
        "heating": kiln.heating_kw,
        "walls": kiln.wall_loss_w_k / 1000.0,
        "vents": kiln.vents_m3_h / 3600.0,
        "leak": kiln.leak_m3_h / 3600.0,
        "spray": kiln.spray_kg_h / 3600.0,
    }


def plain_values(scenario: Scenario, wood: Species) -> dict[str, Any]:
    """Return a scenario as plain values in house units, as used by the simulation and the page."""
    assert wood.shrinkage is not None
    assert wood.shrinkage.tangential is not None
    values = scenario.model_dump(
        include={
            "title",
            "say",
            "boards",
            "samples",
            "diffusivity",
            "diffusivity_spread",
            "checks_above",
            "wick_life_days",
            "kwh_per_kg",
            "day_cost",
            "kwh_price",
            "timber_value",
            "good_days",
            "longest_days",
        }
    )
    return values | {
        "weather": kiln_air.plain_weather(scenario.weather or ()),
        "kiln": _plain_kiln(scenario.kiln) if scenario.kiln else None,
        "wood": wood.trade_name,
        "species": scenario.species,
        "thickness": scenario.thickness.entered,
        "thickness_mm": scenario.thickness.value,
        "volume_m3": scenario.volume.value,
        "basic_density": wood.basic_density_kg_m3,
        "tangential": wood.shrinkage.tangential.value,
        "initial_mc": scenario.initial_mc.value,
        "initial_spread": scenario.initial_spread.value,
        "target": scenario.target.value,
        "target_within": scenario.target_within.value,
        "steps": [
            {
                "dry_bulb": step.dry_bulb.value,
                "depression": step.depression.value,
                "until_mc": None if step.until_mc == "final" else step.until_mc.value,
            }
            for step in scenario.steps
        ],
    }
