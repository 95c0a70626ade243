"""The answers a trainee is to type: a problem's results, their units and tolerances."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from kilnfolio.handbook.examples import PLACEHOLDER, title_of
from kilnfolio.records.quantities import (
    GRAMS_PER_POUND,
    Energy,
    Length,
    Quantity,
    Rate,
    Temperature,
    TemperatureDifference,
    Volume,
)
from kilnfolio.review import figures
from kilnfolio.review.working import Kilograms
from kilnfolio.runtime.values import dataclass
from kilnfolio.training.mistakes import usual_mistakes
from kilnfolio.training.problem import Problem

#: Most figures a problem asks for: the last of those that its answer names.
MOST = 3
#: Relative tolerance of a typed figure, to allow for rounded intermediate steps.
RELATIVE = 0.004
_NUMBER = re.compile(r"[\d.]+")
#: Where customary units come first, what a figure is asked in, by its dimension. Masses that are weighed
#: stay in g and kg, as in the questions.
_CUSTOMARY: Mapping[type[Quantity], str] = {
    Temperature: "°F",
    TemperatureDifference: "°F",
    Length: "in",
    Volume: "board feet",
    Kilograms: "lb",
    Energy: "million Btu",
}
#: Units that answers are printed in and records are not written in.
_PRINTED: Mapping[type[Quantity], Mapping[str, Callable[[float], float]]] = {
    Volume: {"board feet": Volume.units["bf"]},
    Kilograms: {"lb": lambda pounds: pounds * GRAMS_PER_POUND / 1000.0},
    Energy: {"million Btu": lambda heat: heat / figures.CUSTOMARY[Energy][0].of(1.0)},
}


@dataclass(frozen=True)
class Unit:
    """A unit an answer may be typed in: value = number × factor + offset."""

    factor: float
    offset: float


@dataclass(frozen=True)
class Expected:
    """A figure to be typed."""

    name: str
    """The step's name, unique in the problem."""
    label: str
    """The label of its field."""
    value: float
    """The right figure, in `unit`."""
    tolerance: float
    """Largest error that counts as right, in the same unit; a count must be right."""
    unit: str
    """The unit assumed for a bare number; empty for a dimensionless figure."""
    units: dict[str, Unit]
    """Every unit understood, as a conversion to `unit`."""
    wrong: tuple[tuple[float, str], ...]
    """Results of common mistakes, in `unit`, with the comment on each."""


def expected(problem: Problem) -> list[Expected]:
    """Return the figures a problem asks to be typed, in the order of its steps.

    Parameters
    ----------
    problem : Problem
        A worked problem.

    Notes
    -----
    A problem asks for the results that its answer names and its question does not, at most the
    last three. Intervals cannot be typed and are left out.
    """
    names = [
        name for name in _named(problem) if not isinstance(problem.board.results[name].value, tuple)
    ][-MOST:]
    often = [problem.board.formulas[name].name for name in names]
    return [
        _one(problem, name, often.count(problem.board.formulas[name].name) > 1) for name in names
    ]


def _named(problem: Problem) -> Iterator[str]:
    in_question = {match[1] for match in PLACEHOLDER.finditer(problem.written_ask) if not match[2]}
    in_answer = {match[1] for match in PLACEHOLDER.finditer(problem.written_answer) if not match[2]}
    yield from (name for name in problem.board.results if name in in_answer - in_question)


def _one(problem: Problem, name: str, several: bool) -> Expected:
    result, formula = problem.board.results[name], problem.board.formulas[name]
    of, shown = type(result.quantity), result.quantity.entered.replace("\u00a0", " ")
    in_print = shown.rpartition(" ")[2] if " " in shown.strip() else ""
    in_print = in_print if in_print in of.units else of.unit
    unit = "points/day" if of is Rate else in_print
    if problem.board.regional.customary_first:
        unit = _CUSTOMARY.get(of, unit)
    known = {**of.units, **_PRINTED.get(of, {})}
    units = {word: _against(known[word], known[unit]) for word in known}
    house = units[of.unit] if of.unit in units else Unit(1.0, 0.0)

    def in_unit(value: float) -> float:
        return value * house.factor + house.offset

    value = float(result.value) if not isinstance(result.value, tuple) else result.value[0]
    step = _last_digit(shown) * units[in_print].factor
    label = title_of(formula) + (f", {name.replace('_', ' ')}" if several else "")
    right = in_unit(value)
    near = 0.5 if unit == "" and step == 1.0 else max(1.01 * step, RELATIVE * abs(right))
    wrong = [
        (in_unit(other), words)
        for other, words in usual_mistakes(formula.name, problem.given[name], value)
    ]
    if of is Temperature and unit == "°F":
        wrong.append(((right - 32.0) / 1.8, "That is in °C. Write the unit, or give °F."))
    elif of is Temperature:
        wrong.append((right * 1.8 + 32.0, "That is in °F. Write the unit, or give °C."))
    return Expected(
        name,
        label,
        right,
        near,
        unit,
        units,
        tuple((other, words) for other, words in wrong if abs(other - right) > near),
    )


def _against(other: Callable[[float], float], unit: Callable[[float], float]) -> Unit:
    """Return the conversion of numbers from one unit to another."""

    def line(function: Any) -> tuple[float, float]:
        return float(function(1.0)) - float(function(0.0)), float(function(0.0))

    (factor, offset), (own, own_offset) = line(other), line(unit)
    return Unit(factor / own, (offset - own_offset) / own)


def _last_digit(shown: str) -> float:
    """Return the value of one unit of the last printed digit."""
    found = _NUMBER.search(shown.replace(" ", ""))
    decimals = len(found[0].partition(".")[2]) if found else 1
    return 10.0**-decimals
