"""The bench: figures to explore and a charge to run, with the constants of `physics`."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.calculators.script import constants
from kilnfolio.charts import cut
from kilnfolio.charts.emc import emc_chart
from kilnfolio.charts.profile import profile_chart
from kilnfolio.physics import air, airflow, drying_board, sorption, survey, water
from kilnfolio.physics.shrinkage import FIBRE_SATURATION_PCT, shrinkage_at
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import regional_format
from kilnfolio.rendering.templating import render
from kilnfolio.training import kiln_air, simulation
from kilnfolio.training.scenario import read_scenarios

#: Path of the bench in the edition.
PATH = "bench.html"
#: Woods of the drying board, with D₀ at 45 °C [m²/s]; oak from the red-oak formula, others assumed.
WOODS = {"Oak": 1.2e-10, "Maple": 1.9e-10, "Poplar or basswood": 5.5e-10}
#: The board drying: MC at the start and tangential shrinkage, as red oak's [%]; and the gradient
#: index above which checks threaten, a rule for teaching [%].
DRYING = {"green": 78.0, "tangential": 8.6, "checks": 3.0}
#: The boards drawn without script: sawn through and through, from the bark to the heart.
BOARDS = ((0.0, 175.0, 180.0, 27.0), (0.0, 80.0, 200.0, 27.0), (160.0, 0.0, 150.0, 27.0))
CUT_NAMES = ("Flat-sawn", "Between", "Quarter-sawn")
#: The load whose air is computed without script, with its daily loss.
LOAD = {
    "length": 8.0,
    "width": 2.4,
    "height": 3.0,
    "board": 27.0,
    "sticker": 20.0,
    "density": 560.0,
    "flow": 20.0,
    "bypass": 20.0,
    "loss": 3.0,
    "dry": 45.0,
    "depression": 3.0,
}
#: Days of the profile drawn without script.
DEFAULT_DAYS = 4


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
    return bench_constants() | {"load": LOAD, "scenarios": read_scenarios(folder.root, species)}


def stack_air(load: Mapping[str, float]) -> dict[str, float]:
    """Return the air of a stack: its mean speed in the gaps, and its state on the leaving side.

    Parameters
    ----------
    load : mapping
        As `LOAD`, in metres, millimetres, kg/m³, m³/s, %, points/day, °C and K.
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
    words = json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    summary = (
        "Figures to explore, and a charge to run: set the bulbs, weigh the boards, look after the "
        "wick, and see what the load became."
    )
    woods = _shrinking(folder)
    first = next(iter(woods.values()), (4.0, 8.6))
    shrunk = tuple(float(shrinkage_at(total, 8.0, FIBRE_SATURATION_PCT)) for total in first)
    default = drying_board.dry(
        drying_board.Board(27.0, DRYING["green"], WOODS["Oak"]),
        drying_board.Air([24.0 * DEFAULT_DAYS], [45.0], [14.0]),
    )
    html = render(
        env,
        "exercises/bench.html",
        PATH,
        title="Bench",
        summary=summary,
        scenarios=data["scenarios"],
        emc=emc_chart(
            "bench-emc",
            "EMC rising with humidity, a curve for each temperature",
            regional=regional_format(folder.mill.record),
        ),
        profile=profile_chart("bench-profile", default.cells_pct[-1].tolist()),
        profile_words=[
            f"{value:.1f}"
            for value in (
                float(default.mean_pct[-1]),
                float(default.shell_pct[-1]),
                float(default.core_pct[-1]),
            )
        ],
        woods=WOODS,
        shrinking=woods,
        cut=cut.cut_chart("bench-cut-drawing", BOARDS, (shrunk[0], shrunk[1])),
        cuts=[
            (name, *(f"{value:.1f}" for value in cut.board_shape(*board, (shrunk[0], shrunk[1]))))
            for name, board in zip(CUT_NAMES, BOARDS, strict=True)
        ],
        load=LOAD,
        stack=stack_air(LOAD),
        survey=cut.survey_chart("bench-survey-chart", 0.95),
        days=DEFAULT_DAYS,
        shares=[
            (n, k, f"{100.0 * float(survey.share_shown(n, k, 0.95)):.1f}")
            for n in (10, 20, 30, 45, 60, 100)
            for k in (0, 1, 2)
        ],
        chapter=routes.chapter,
        data=Markup(words.replace("<", "\\u003c")),
    )
    text = " ".join(f"{one['title']}. {one['say']}" for one in data["scenarios"].values())
    return Page(PATH, html, "Bench", "practice", text, summary)


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
