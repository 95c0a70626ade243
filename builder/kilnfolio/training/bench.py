"""The bench: figures to explore and a charge to run, with the constants of `physics`."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.calculators.script import constants
from kilnfolio.charts import cut
from kilnfolio.charts.emc import PANEL as EMC_PANEL
from kilnfolio.charts.emc import emc_chart, usual_temperatures
from kilnfolio.charts.profile import profile_chart
from kilnfolio.physics import air, airflow, drying_board, sorption, survey, water
from kilnfolio.physics.shrinkage import FIBRE_SATURATION_PCT, shrinkage_at
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.quantities import Density, Length, Temperature
from kilnfolio.rendering import routes
from kilnfolio.rendering.amounts import script_patterns
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import RegionalFormat, regional_format
from kilnfolio.rendering.templating import render
from kilnfolio.runtime.values import dataclass
from kilnfolio.training import kiln_air, simulation
from kilnfolio.training.bench_review import LEFT_TO_CHECK, REVIEWED, review_data, titles
from kilnfolio.training.knobs import KNOBS, UNITS, Unit, script_units
from kilnfolio.training.practice_record import record_constants
from kilnfolio.training.scenario import read_scenarios

#: Path of the bench in the edition.
PATH = "bench.html"
#: Woods of the drying board, with D₀ at 45 °C [m²/s]; oak from the red-oak formula, others assumed.
WOODS = {"Oak": 1.2e-10, "Maple": 1.9e-10, "Poplar or basswood": 5.5e-10}
#: The board drying: MC at the start and tangential shrinkage, as red oak's [%]; and the gradient
#: index above which checks threaten, a rule for teaching [%].
DRYING = {"green": 78.0, "tangential": 8.6, "checks": 3.0}
#: The boards drawn without script: sawn through and through, from the bark to the heart. In mm, and
#: in round inches.
BOARDS = ((0.0, 175.0, 180.0, 27.0), (0.0, 80.0, 200.0, 27.0), (160.0, 0.0, 150.0, 27.0))
BOARDS_IN = ((0.0, 7.0, 7.0, 1.125), (0.0, 3.0, 8.0, 1.125), (6.0, 0.0, 6.0, 1.125))
CUT_NAMES = ("Flat-sawn", "Between", "Quarter-sawn")


@dataclass(frozen=True)
class Stack:
    """The load whose air the bench shows, apart from what its sliders set."""

    length: Length
    height: Length
    board: Length
    density: Density
    """Basic density."""
    dry: Temperature
    """Dry bulb of the air that enters."""

    def with_sliders(self, values: Mapping[str, float]) -> dict[str, float]:
        """Return the load for `stack_air`, with the values of the sliders."""
        fixed = {
            "length": self.length.value / 1000.0,
            "height": self.height.value / 1000.0,
            "board": self.board.value,
            "density": self.density.value,
            "dry": self.dry.value,
        }
        return fixed | dict(values)


#: It in metric and in US customary units.
STACKS = (
    Stack(
        Length.parse("8 m"),
        Length.parse("3 m"),
        Length.parse("27 mm"),
        Density.parse("560 kg/m³"),
        Temperature.parse("45 °C"),
    ),
    Stack(
        Length.parse("26 ft"),
        Length.parse("10 ft"),
        Length.parse("1.125 in"),
        Density.parse("35 lb/ft³"),
        Temperature.parse("110 °F"),
    ),
)


def bench_constants() -> dict[str, Any]:
    """Return every constant of `physics` and `simulation` that the bench's scripts need."""
    board = drying_board.Board(25.0, 60.0, 1e-10)
    return {
        "constants": constants(),
        "standard_pressure_pa": air.STANDARD_PRESSURE_PA,
        "board": {
            "gas": drying_board.GAS_CONSTANT,
            "reference": drying_board.REFERENCE_TEMP_K,
            "cells": drying_board.CELLS,
            "longest": drying_board.LONGEST_STEP_H,
            "passes": drying_board._PASSES,
            "newton": drying_board._NEWTON,
            "face": board.face_m_s,
            "effect": board.mc_effect,
            "activation": board.activation_j_mol,
            "fsp": board.fsp_pct,
        },
        "drying": DRYING,
        "figures": {
            "emc": EMC_PANEL,
            "middle": cut.MIDDLE,
            "scale": cut.SCALE,
            "larger": cut.LARGER,
            "along": cut.ALONG,
            "up": cut.UP,
            "dryAir": airflow.DRY_AIR_GAS_CONSTANT,
            "ratio": air.MOLAR_MASS_RATIO,
            "airHeat": air.DRY_AIR_SPECIFIC_HEAT,
        },
        "run": {
            "step": simulation.STEP_H,
            "start": simulation.START_C,
            "dryLag": simulation.DRY_LAG_H,
            "wetLag": simulation.WET_LAG_H,
            "wickPerDay": simulation.WICK_PER_DAY,
            "wickMost": simulation.WICK_MOST,
            "driest": simulation.DRIEST_PCT,
            "wide": simulation.WIDE_K,
            "overheated": simulation.OVERHEATED_C,
            "wet": simulation.WET_PCT,
            "overheatedHours": simulation.OVERHEATED_H,
            "noise": simulation.WEIGHING_NOISE_PCT,
            "least": simulation.LEAST_K,
            "wettest": simulation.WETTEST_C,
            "startClock": kiln_air.START_CLOCK_H,
            "warmest": kiln_air.WARMEST_H,
            "steam": kiln_air.STEAM_C,
        },
    }


def bench_data(folder: MillFolder) -> Mapping[str, Any]:
    """Return the data for the page's scripts: constants and scenarios."""
    species = {name: located.record for name, located in folder.species.items()}
    scenarios = read_scenarios(folder.root, species)
    return bench_constants() | {
        **script_units(),
        "load": stack_load(regional_format(folder.mill.record)),
        "record": record_constants(),
        "amounts": script_patterns(),
        "checks": titles(REVIEWED),
        "left": titles(LEFT_TO_CHECK),
        "scenarios": {name: review_data(folder, given) for name, given in scenarios.items()},
    }


def stack_load(regional: RegionalFormat) -> dict[str, float]:
    """Return the load as the sliders stand at first in a region, for `stack_air`."""
    names = ("flow", "bypass", "sticker", "width", "loss", "depression")
    return STACKS[regional.customary_first].with_sliders(
        {name: KNOBS[f"stack-{name}"].first(regional) for name in names}
    )


def stack_air(load: Mapping[str, float]) -> dict[str, float]:
    """Return the air of a stack: its mean speed in the gaps, and its state on the leaving side.

    Parameters
    ----------
    load : mapping
        As from `stack_load`, in metres, millimetres, kg/m³, m³/s, %, points/day, °C and K.
    """
    wood = (
        load["length"] * load["width"] * load["height"] * load["board"]
        / (load["board"] + load["sticker"])
    )  # fmt: skip
    lost = float(water.water_removed(wood, load["density"], load["loss"], 0.0))
    through = load["flow"] * (1.0 - load["bypass"] / 100.0)
    wet = load["dry"] - load["depression"]
    drop = float(airflow.drop_across(lost, through, load["dry"], wet))
    leaving = load["dry"] - drop
    speed = airflow.gap_speed(
        *(load[name] for name in ("flow", "length", "height", "board", "sticker", "bypass"))
    )
    return {
        "speed": float(speed),
        "water": lost,
        "drop": drop,
        "entering": float(emc_of_bulbs(load["dry"], wet)),
        "leaving": float(emc_of_bulbs(leaving, wet)),
    }


def emc_of_bulbs(dry: float, wet: float) -> float:
    """Return the EMC for a dry and a wet bulb at standard pressure [%]."""
    humidity = min(float(air.relative_humidity(dry, wet)), 99.0)
    return float(sorption.equilibrium_moisture_content(dry, humidity))


def render_bench(folder: MillFolder, env: Environment) -> Page:
    """Return the page of the bench.

    Parameters
    ----------
    folder : MillFolder
        The mill, for its scenarios.
    env : Environment
        From `templating.environment`.
    """
    data = bench_data(folder)
    regional = regional_format(folder.mill.record)
    words = json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    summary = (
        "Figures to explore, and a charge to run: set the bulbs, weigh the boards, look after the "
        "wick, and see what the load became."
    )
    html = render(
        env,
        "exercises/bench.html",
        PATH,
        title="Bench",
        summary=summary,
        scenarios=data["scenarios"],
        ranges={name: knob.in_order(regional)[0] for name, knob in KNOBS.items()},
        first=lambda name: KNOBS[name].first_words(regional),
        shown=lambda value, of: _unit(of, regional).words(value),
        thickness=lambda scenario: Length.parse(scenario["thickness"]),
        emc=emc_chart(
            "bench-emc",
            "EMC rising with humidity, a curve for each temperature",
            usual_temperatures(regional),
            regional=regional,
        ),
        woods=WOODS,
        stack=STACKS[regional.customary_first],
        load=data["load"],
        air=stack_air(data["load"]),
        survey=cut.survey_chart("bench-survey-chart", 0.95),
        shares=[
            (n, k, f"{100.0 * float(survey.share_shown(n, k, 0.95)):.1f}")
            for n in (10, 20, 30, 45, 60, 100)
            for k in (0, 1, 2)
        ],
        chapter=routes.chapter,
        data=Markup(words.replace("<", "\\u003c")),
        **_board_drying(regional),
        **_boards_of_a_log(_shrinking(folder), regional),
    )
    text = " ".join(f"{one['title']}. {one['say']}" for one in data["scenarios"].values())
    return Page(PATH, html, "Bench", "practice", text, summary)


def _unit(of: str, regional: RegionalFormat) -> Unit:
    return UNITS[of][regional.customary_first]


def _board_drying(regional: RegionalFormat) -> dict[str, Any]:
    """Return the profile drawn without script, and its words."""
    thickness, temperature, emc, days = (
        KNOBS[f"board-{name}"].first(regional)
        for name in ("thickness", "temperature", "emc", "day")
    )
    dried = drying_board.dry(
        drying_board.Board(thickness, DRYING["green"], WOODS["Oak"]),
        drying_board.Air([24.0 * days], [temperature], [emc]),
    )
    means = (dried.mean_pct, dried.shell_pct, dried.core_pct)
    return {
        "profile": profile_chart("bench-profile", dried.cells_pct[-1].tolist()),
        "profile_words": [f"{float(mean[-1]):.1f}" for mean in means],
    }


def _boards_of_a_log(
    woods: Mapping[str, tuple[float, float]], regional: RegionalFormat
) -> dict[str, Any]:
    """Return the boards drawn without script, with their losses and cups."""
    first = next(iter(woods.values()), (4.0, 8.6))
    shrunk = tuple(float(shrinkage_at(total, 8.0, FIBRE_SATURATION_PCT)) for total in first)
    cup = _unit("thickness", regional)
    boards = [
        (x / cup.times, y / cup.times, width / cup.times, thick / cup.times)
        for x, y, width, thick in (BOARDS_IN if regional.customary_first else BOARDS)
    ]
    shapes = [cut.board_shape(*board, (shrunk[0], shrunk[1])) for board in boards]
    return {
        "shrinking": woods,
        "cut": cut.cut_chart("bench-cut-drawing", boards, (shrunk[0], shrunk[1])),
        "cut_unit": cup.unit,
        "cuts": [
            (name, f"{width:.1f}", f"{thick:.1f}", f"{hollow * cup.times:.{cup.decimals}f}")
            for name, (width, thick, hollow) in zip(CUT_NAMES, shapes, strict=True)
        ],
    }


def _shrinking(folder: MillFolder) -> dict[str, tuple[float, float]]:
    """Return woods of the library with their radial and tangential shrinkage to oven-dry [%]."""
    found = {}
    for located in folder.species.values():
        shrinkage = located.record.shrinkage
        if shrinkage and shrinkage.radial and shrinkage.tangential:
            found[located.record.trade_name] = (
                shrinkage.radial.value,
                shrinkage.tangential.value,
            )
    return dict(sorted(found.items()))
