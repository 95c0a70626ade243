"""The data of the practice page's script: every kind of problem in terms, and what they rest on.

The script draws new numbers and works the answers out by the same formulas as `problem`, so the
data holds no answer.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from contextlib import suppress
from typing import Any

from kilnfolio.calculators.script import constants, dimension_data, formula_data, mass_decimals
from kilnfolio.handbook.examples import title_of
from kilnfolio.physics import moisture, rules
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.quantities import Quantity
from kilnfolio.rendering import amounts
from kilnfolio.rendering.regional import NATIVE, RegionalFormat, regional_format
from kilnfolio.review import figures
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.limits import LimitTable, NoLimit, Subject, limit_table
from kilnfolio.review.stages import CONDITIONING_LIMITS
from kilnfolio.review.working import DIFFERENCES, TWO_SYSTEMS, Argument, Formula, parse_any
from kilnfolio.training.expected import RELATIVE, Expected, expected
from kilnfolio.training.expressions import as_data, draws_as_data
from kilnfolio.training.kinds import by_topic
from kilnfolio.training.mistakes import MISTAKES
from kilnfolio.training.problem import Kind, make_problem


def problem_data(folder: MillFolder) -> dict[str, Any]:
    """Return the data of the practice page's script, as plain values.

    Parameters
    ----------
    folder : MillFolder
        The mill, for its limits and its region.
    """
    limits, regional = limit_table(folder), regional_format(folder.mill.record)
    kinds = [kind for group in by_topic().values() for kind in group]
    used = {str(step["compute"]) for kind in kinds for step in kind.terms[0].steps}
    asked = {kind.slug: expected(make_problem(kind, 0, limits, regional)) for kind in kinds}
    formulas = [FORMULAS[name] for name in sorted(used)]
    return {
        "constants": constants()
        | {
            "cell_wall_gravity": moisture.CELL_WALL_SPECIFIC_GRAVITY,
            "four_quarter_mm": rules.FOUR_QUARTER_MM,
        },
        "formulas": {
            formula.name: formula_data(formula)
            | {
                "title": title_of(formula),
                "asked": [_argument(one) for one in formula.arguments],
                "mistakes": [
                    [one.words, as_data(one.term)] for one in MISTAKES.get(formula.name, ())
                ],
            }
            for formula in formulas
        },
        "dimensions": {of.__name__: dimension_data(of) for of in _dimensions(formulas)},
        "mass_decimals": mass_decimals(),
        "metric_within": [],
        "calculators": [],
        "limits": _limits(formulas, limits),
        "relative": RELATIVE,
        "units": _units(one for figures_ in asked.values() for one in figures_),
        "any": _any_unit(),
        "two_systems": [of.__name__ for of in TWO_SYSTEMS],
        "differences": {of.__name__: to.__name__ for of, to in DIFFERENCES.items()},
        **_region(regional),
        "kinds": {kind.slug: _kind(kind, asked[kind.slug]) for kind in kinds},
    }


def _kind(kind: Kind, asked: Iterable[Expected]) -> dict[str, Any]:
    written, drawn = kind.terms
    return {
        "draws": draws_as_data(drawn),
        "ask": written.ask,
        "steps": [as_data(dict(step), drawn) for step in written.steps],
        "also": {name: as_data(part, drawn) for name, part in written.also.items()},
        "answer": written.answer,
        "typed": [[one.name, one.label, one.unit, _unit_key(one)] for one in asked],
    }


def _argument(one: Argument) -> dict[str, Any]:
    return {
        "name": one.name,
        "of": "" if one.of is Quantity else one.of.__name__,
        "many": one.many,
        "word": bool(one.choices),
        "default": one.default,
        "limit": one.limit,
    }


def _dimensions(formulas: Iterable[Formula]) -> list[type[Quantity]]:
    """Return every dimension of an argument or a result."""
    found = {one.of for formula in formulas for one in formula.arguments} - {Quantity}
    found |= {formula.of for formula in formulas if formula.of} | set(figures.METRIC)
    found |= set(DIFFERENCES.values())
    return sorted(found, key=lambda of: of.__name__)


def _any_unit() -> dict[str, str]:
    """Return the dimension that a unit stands for where a formula leaves it open."""
    units = {unit for of in figures.METRIC for unit in of.units if unit}
    return {unit: type(parse_any(f"1 {unit}")).__name__ for unit in sorted(units)}


def _limits(formulas: Iterable[Formula], limits: LimitTable) -> dict[str, Any]:
    """Return the mill's limits that formulas use, by their keys; by kind of wood where they differ."""
    found: dict[str, Any] = {}
    for formula in formulas:
        for one in formula.arguments:
            if one.limit == CONDITIONING_LIMITS[0]:
                found[one.limit] = {
                    kind: _conditioning(limits, Subject(kind=kind))
                    for kind in ("hardwood", "softwood")
                }
            elif one.limit:
                found[one.limit] = limits.value(one.limit)
    return found


def _conditioning(limits: LimitTable, subject: Subject) -> list[float]:
    """Return the points above the target; with those of low targets and both targets, if known."""
    found = [limits.value(CONDITIONING_LIMITS[0], subject)]
    with suppress(NoLimit):
        found += [limits.value(key, subject) for key in CONDITIONING_LIMITS[1:]]
    return found if len(found) == len(CONDITIONING_LIMITS) else found[:1]


def _unit_key(one: Expected) -> str:
    return f"{one.unit}|{','.join(one.units)}"


def _units(asked: Iterable[Expected]) -> dict[str, Mapping[str, tuple[float, float]]]:
    """Return the units that each kind of figure may be typed in, as factor and offset."""
    return {
        _unit_key(one): {word: (unit.factor, unit.offset) for word, unit in one.units.items()}
        for one in asked
    }


def _region(regional: RegionalFormat) -> dict[str, Any]:
    """Return what puts amounts in the region's units, if it puts US customary ones first."""
    found: dict[str, Any] = {"customary_first": regional.customary_first}
    if regional.customary_first:
        found["native"] = {
            of.__name__: [
                [None if below == float("inf") else below, *rest] for below, *rest in steps
            ]
            for of, steps in NATIVE.items()
        }
        found["amounts"] = amounts.script_patterns()
    return found


def script(name: str, value: object) -> str:
    """Return a script file's line that sets a global variable to plain data."""
    words = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return f"window.{name}=" + words.replace("<", "\\u003c") + ";\n"
