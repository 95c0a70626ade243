"""The page of calculators."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.calculators.catalogue import calculators
from kilnfolio.calculators.form import Calculator, Field
from kilnfolio.calculators.script import script_data, source_words, timbers_of
from kilnfolio.calculators.worked import Answer, worked
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.species import Species
from kilnfolio.rendering import routes
from kilnfolio.rendering.interface import interface
from kilnfolio.rendering.languages import SEALED
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.templating import render
from kilnfolio.runtime.values import dataclass

#: Path of the page in the edition, and the scripts it loads.
PATH = "calculators.html"
SCRIPTS = ("assets/wood.js", "assets/air.js", "assets/calculators.js")


@dataclass(frozen=True)
class View:
    """A calculator as the template prints it."""

    calculator: Calculator
    species: list[Species]
    """Species with a figure on record."""
    chosen: str
    """The species selected by default."""
    fields: list[tuple[Field, str, str]]
    """The fields, each with its initial number and unit."""
    answers: list[Answer]
    sources: list[tuple[str, str]]
    """Sources of its formulas, each once: short title, and the place in it."""


#: Words for units whose symbols are not self-evident.
UNIT_WORDS = {"bf": "board feet", "mbf": "1000 board feet", "d": "days", "h": "hours"}


def _view(folder: MillFolder, calculator: Calculator) -> View:
    examples = {asked.name: asked.example for asked in calculator.fields}
    timbers = list(timbers_of(folder, calculator.timber)) if calculator.timber else []
    first = next(
        (species.id for species, found in timbers if _first_direction(calculator) in found), ""
    )
    if calculator.timber and first:
        found = next(found for species, found in timbers if species.id == first)
        examples[calculator.timber.fills] = found[_first_direction(calculator)]["words"]
    answers = worked(calculator, examples)
    return View(
        calculator,
        [species for species, _ in timbers],
        first,
        [(asked, *_parted(asked, examples[asked.name])) for asked in calculator.fields],
        answers,
        [
            source_words(folder, citation)
            for citation in dict.fromkeys(answer.working.source for answer in answers)
            if citation != "the definition"
        ],
    )


def _first_direction(calculator: Calculator) -> str:
    """Return the form's default direction; "" if it has none."""
    direction = calculator.timber.direction if calculator.timber else None
    return direction.options[0][0] if direction else ""


def _parted(asked: Field, example: str) -> tuple[str, str]:
    number, _, unit = example.rpartition(" ") if asked.units else (example, "", "")
    return number, unit


def render_calculators(folder: MillFolder, env: Environment) -> Page:
    """Return the page of calculators.

    Parameters
    ----------
    folder : MillFolder
        The mill, for its species, sources and altitude.
    env : Environment
        From `templating.environment`.
    """
    views = [_view(folder, calculator) for calculator in calculators(folder.mill.record)]
    title = "Calculators"
    summary = (
        "MC from weights, sample boards, RH and EMC from two bulbs, set-points, shrinkage and "
        "movement, water and heat, surveys, drying rate and meter corrections, with the working."
    )
    html = render(
        env,
        "calculators.html",
        PATH,
        title=title,
        summary=summary,
        views=views,
        unit_words=UNIT_WORDS,
        chapter=routes.chapter,
        scripts=SCRIPTS,
        data=_as_script(_in_language(script_data(folder), folder.mill.record.language)),
    )
    text = "\n".join(
        f"{view.calculator.title}. {view.calculator.purpose} {view.calculator.holds}"
        for view in views
    )
    return Page(PATH, html, title, "calculators", text, summary)


def _in_language(data: dict[str, Any], tag: str) -> dict[str, Any]:
    """Return the data of the script with the labels of fields and steps in a language."""
    if tag != SEALED:
        for calculator in data["calculators"]:
            for one in (*calculator["fields"], *calculator["steps"]):
                one["label"] = interface(tag).say(one["label"])
    return data


def _as_script(data: Mapping[str, Any]) -> Markup:
    """Return JSON escaped for a script element."""
    words = json.dumps(
        data, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    )
    return Markup(words.replace("<", "\\u003c"))
