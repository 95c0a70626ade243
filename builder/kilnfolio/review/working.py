"""Formulas, and their working with the values put in, as a teacher writes it on the board.

The review uses it to keep the working of every published number, and the handbook to compute its
examples and problems. The formulas themselves are in `review.formulas`.

A value may be a float in the house unit of its dimension, or a `Quantity`, which is shown as
entered.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property, lru_cache
from typing import Any, ClassVar

from kilnfolio.records.quantities import (
    Density,
    Duration,
    Energy,
    Length,
    Mass,
    Percent,
    Pressure,
    Quantity,
    Rate,
    Speed,
    Temperature,
    TemperatureDifference,
    Volume,
)
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.figures import NBSP
from kilnfolio.review.limits import LimitTable, Subject
from kilnfolio.review.stages import CONDITIONING_LIMITS, points_above
from kilnfolio.runtime.values import dataclass


class Bare(Quantity):
    """A number without a unit: a count, a coefficient, a specific gravity."""

    dimension, unit, example = "number", "", "0.56"
    units: ClassVar[dict[str, Callable[[float], float]]] = {"": float}
    bare_unit = ""


class Points(Percent):
    """A difference of two percentages [points]."""

    dimension, unit, example = "number of points", "points", "1.5 points"
    units: ClassVar[dict[str, Callable[[float], float]]] = {"points": float, "%": float}


class Kilograms(Quantity):
    """A mass of water [kg]."""

    dimension, unit, example = "mass of water", "kg", "280 kg"
    units: ClassVar[dict[str, Callable[[float], float]]] = {"kg": float}


class Stress(Quantity):
    """A strength or a stiffness [MPa]."""

    dimension, unit, example = "strength", "MPa", "99 MPa"
    lowest = 0.0
    units: ClassVar[dict[str, Callable[[float], float]]] = {
        "MPa": float,
        "GPa": lambda value: 1000.0 * value,
    }


#: The dimensions to try for a value of unknown kind, in this order.
ANY: tuple[type[Quantity], ...] = (
    Percent,
    Mass,
    Length,
    Temperature,
    TemperatureDifference,
    Volume,
    Duration,
    Rate,
    Energy,
    Pressure,
    Density,
    Speed,
    Points,
)
#: Dimensions whose results are printed in both unit systems; a balance shows only one unit.
TWO_SYSTEMS = (Temperature, TemperatureDifference, Length, Volume, Energy, Pressure)

Given = Quantity | tuple[Quantity, ...] | str | None


@dataclass(frozen=True)
class Argument:
    """One argument of a formula."""

    name: str
    """Its name in the handbook and the review."""
    of: type[Quantity] = Quantity
    """Its dimension; `Quantity` itself accepts any."""
    many: bool = False
    """Whether it is a list of such values."""
    optional: bool = False
    """Whether it may be omitted."""
    default: str = ""
    """The default, as a person would write it; empty for none."""
    choices: tuple[str, ...] = ()
    """The words allowed, if it is a word."""
    limit: str = ""
    """The mill's limit used by default; see `with_limits`."""


@dataclass(frozen=True)
class Formula:
    """A formula for the handbook and the review."""

    name: str
    """Its name in `compute`."""
    function: Callable[..., Any]
    """The physics function, called by keyword in house units."""
    arguments: tuple[Argument, ...]
    """Its arguments."""
    symbols: str
    """The formula in symbols."""
    put_in: str | Callable[[Mapping[str, Given]], str]
    """The right-hand side with ``{argument}`` for values, or a function that writes it."""
    source: str
    """Its source."""
    of: type[Quantity] | None = None
    """Dimension of the result; None for that of the arguments."""
    decimals: int = 1
    """Decimals of the result."""
    unit: str = ""
    """Unit of the printed result, if not the house unit."""

    @cached_property
    def _by_name(self) -> dict[str, Argument]:
        return {one.name: one for one in self.arguments}

    def argument(self, name: str) -> Argument | None:
        """Return the argument of this name."""
        return self._by_name.get(name)


@dataclass(frozen=True)
class Result:
    """The result of a formula."""

    value: float | tuple[float, float]
    """The value in the house unit; two values for an interval."""
    quantity: Quantity
    """The value with its rounded text; the lower end of an interval."""
    text: str
    """The printed text, in both unit systems if they differ."""
    working: Working
    """The working."""


class WrongArgumentsError(ValueError):
    """A formula was given an unknown argument or lacks one; `argument` names it."""

    def __init__(self, argument: str, message: str, instead: str = ""):
        super().__init__(message)
        self.argument, self.instead = argument, instead


def evaluate(formula: Formula, label: str, values: Mapping[str, Any]) -> Result:
    """Compute a formula with values as in `work`; return the result with its text."""
    for name in values:
        if formula.argument(name) is None:
            raise WrongArgumentsError(
                name,
                f"{formula.name} takes no '{name}'",
                "It takes " + ", ".join(a.name for a in formula.arguments),
            )
    given = {
        argument.name: _given(formula, argument, values.get(argument.name))
        for argument in formula.arguments
    }
    raw = formula.function(**{name: bare(value) for name, value in given.items()})
    dimension = formula.of or _common_dimension(formula, given)
    put_in = formula.put_in
    substituted = put_in(given) if callable(put_in) else _substitute(put_in, given)
    ends = [
        _printed(formula, dimension, end, given)
        for end in (raw if isinstance(raw, tuple) else (raw,))
    ]
    quantity = ends[0]
    text = " to ".join(_side_by_side(end) for end in ends)
    working = Working(
        name=label,
        formula=formula.symbols,
        substituted=substituted,
        result=text,
        source=formula.source,
    )
    value = tuple(map(float, raw)) if isinstance(raw, tuple) else float(raw)
    return Result(value, quantity, text, working)  # type: ignore[arg-type]


def with_limits(formula: Formula, values: Mapping[str, Any], limits: LimitTable) -> dict[str, Any]:
    """Return the values, completed by the mill's limits that the formula uses.

    Parameters
    ----------
    formula : Formula
        The formula.
    values : mapping
        The values given; `kind` chooses between limits for hardwood and softwood.
    limits : LimitTable
        The mill's limits.

    Raises
    ------
    NoLimit
        The mill has no limit that applies.
    """
    subject = Subject(kind=str(values["kind"]) if "kind" in values else None)

    def of(key: str) -> float:
        if key == CONDITIONING_LIMITS[0] and "target" in values:
            given = values["target"]
            target = given if isinstance(given, Percent) else Percent.parse(str(given))
            return points_above(limits, target.value, subject)
        return limits.value(key, subject)

    return dict(values) | {
        argument.name: argument.of.parse(f"{of(argument.limit):.4g} {argument.of.unit}".strip())
        for argument in formula.arguments
        if argument.limit and argument.name not in values
    }


def parse_any(text: object) -> Quantity:
    """Return a quantity, with its dimension determined by its unit.

    Raises
    ------
    ValueError
        It belongs to no dimension.
    """
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        return Bare.parse(text)
    if re.fullmatch(r"\d+/4", str(text).strip()):
        return Length.parse(text)  # quarters of an inch, as hardwood is sold
    for dimension in ANY:
        try:
            return dimension.parse(text)
        except ValueError:
            continue
    try:
        return Bare.parse(text)
    except ValueError:
        units = dict.fromkeys(unit for dimension in ANY for unit in dimension.units)
        raise ValueError(
            "it is not a number with a unit this book knows: " + ", ".join(units)
        ) from None


# --- values ---------------------------------------------------------------------------------------


def _given(formula: Formula, argument: Argument, value: Any) -> Given:
    if value is None:
        if argument.default:
            return argument.of.parse(argument.default)
        if argument.optional:
            return None
        raise WrongArgumentsError(
            argument.name, f"{formula.name} needs '{argument.name}'", f"Add '{argument.name}: …'"
        )
    if argument.choices:
        if value not in argument.choices:
            raise WrongArgumentsError(
                argument.name,
                f"{argument.name} is {value!r}",
                "Write " + " or ".join(argument.choices),
            )
        return str(value)
    if argument.many:
        if isinstance(value, (str, Quantity, float, int)):
            value = (value,)
        return tuple([_quantity(argument, one) for one in value])
    return _quantity(argument, value)


def _quantity(argument: Argument, value: Any) -> Quantity:
    if isinstance(value, argument.of):
        return value
    if isinstance(value, Quantity):
        raise WrongArgumentsError(
            argument.name,
            f"{argument.name} is a {value.dimension}, {value.entered}",
            f"A {argument.of.dimension} is needed here, as in '{argument.of.example}'",
        )
    dimension = Bare if argument.of is Quantity else argument.of
    return dimension(float(value), _plain_words(float(value), dimension))


def _plain_words(value: float, dimension: type[Quantity]) -> str:
    """Return a plain float as text, with the decimals usual for its dimension."""
    decimals = _DECIMALS.get(dimension)
    words = f"{value:g}" if decimals is None else f"{value:.{decimals}f}"
    return f"{words} {dimension.unit}".strip()


def bare(value: Given) -> Any:
    """Return a value in its house unit, or a word unchanged."""
    if isinstance(value, tuple):
        return [one.value for one in value]
    return value.value if isinstance(value, Quantity) else value


def _common_dimension(formula: Formula, given: Mapping[str, Given]) -> type[Quantity]:
    kinds: dict[type[Quantity], None] = {}
    for value in given.values():
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, Quantity):
                kinds[type(one)] = None
    first, *others = kinds
    for kind in others:
        if not (issubclass(kind, first) or issubclass(first, kind)):
            raise WrongArgumentsError(
                next(iter(given)),
                f"the values are of different kinds: {first.dimension} and {kind.dimension}",
                "Give one kind only",
            )
    if formula.name in ("difference", "combined_uncertainty", "standard_deviation"):
        return DIFFERENCES.get(first, first)
    return first


#: The dimension of the difference between two values.
DIFFERENCES: dict[type[Quantity], type[Quantity]] = {
    Percent: Points,
    Temperature: TemperatureDifference,
}


def words_of(value: Given) -> str:
    """Return a value as entered, for running text, in both unit systems if they differ."""
    if isinstance(value, tuple):
        return listed(value)
    return _side_by_side(value) if isinstance(value, Quantity) else str(value)


def listed(values: Sequence[Quantity]) -> str:
    """Return a list of values, with a common unit only once: ``55.2, 56.1 and 56.4 °C``."""
    words = [figures.as_entered(value) for value in values]
    heads = [word.rpartition(NBSP) for word in words]
    if len({unit for _, _, unit in heads}) == 1 and all(head for head, _, _ in heads):
        words = [head for head, _, _ in heads[:-1]] + [words[-1]]
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _side_by_side(quantity: Quantity) -> str:
    if isinstance(quantity, TWO_SYSTEMS):
        return figures.side_by_side(quantity)
    if isinstance(quantity, Kilograms):
        pounds = figures.customary(quantity.value * 1000.0, Mass)
        return f"{figures.as_entered(quantity)} ({pounds})"
    return figures.as_entered(quantity)


def _substitute(pattern: str, given: Mapping[str, Given]) -> str:
    parts = list(_parts(pattern))
    parts[1::2] = [term(given[name]) for name in parts[1::2]]
    return "".join(parts)


@lru_cache(maxsize=256)
def _parts(pattern: str) -> tuple[str, ...]:
    """Return the text of a pattern, and every second part the name of an argument."""
    return tuple(re.split(r"\{(\w+)\}", pattern))


def term(value: Given) -> str:
    """Return a value for use in a formula: metric for temperatures, else in the unit as entered."""
    if isinstance(value, tuple):
        return " + ".join(map(term, value))
    if not isinstance(value, Quantity):
        return str(value)
    if isinstance(value, Temperature) and "F" in value.entered:
        return figures.metric(value.value, Temperature)
    words = figures.as_entered(value)
    return f"({words})" if words.startswith(figures.MINUS) else words


#: A line of working that names what it computes: RH = 100 × …
_NAMED = re.compile(r"[^\W\d]{1,5}[₀-₉]* = ")


def board_line(substituted: str, left: str = "") -> str:
    """Return the line of working with the values put in, without repeating the left side.

    Parameters
    ----------
    substituted : str
        The right-hand side with values, or whole equations, which name what they compute.
    left : str
        The left-hand side; empty if the line above has it.
    """
    if _NAMED.match(substituted):
        return substituted
    return f"{left} = {substituted}".lstrip()


# --- results --------------------------------------------------------------------------------------

#: Decimals of a result by dimension; others use the formula's own.
_DECIMALS: dict[type[Quantity], int] = {
    Temperature: 1,
    Percent: 1,
    Points: 1,
    Mass: 1,
    Rate: 1,
    Length: 1,
}
_MASS_DECIMALS = {"g": 1, "kg": 3, "lb": 2, "oz": 1}


def _printed(
    formula: Formula, dimension: type[Quantity], value: float, given: Mapping[str, Given]
) -> Quantity:
    """Return a result as a quantity whose text is its rounded value."""
    unit, decimals = formula.unit or dimension.unit, formula.decimals
    if dimension is Mass:
        unit = _mass_unit(given)
        decimals = _MASS_DECIMALS[unit]
    shown = value / dimension.units[unit](1.0) if formula.unit or dimension is Mass else value
    return dimension(float(value), f"{shown:.{decimals}f} {unit}".strip())


def _mass_unit(given: Mapping[str, Given]) -> str:
    for value in given.values():
        first = value[0] if isinstance(value, tuple) and value else value
        if isinstance(first, Mass):
            unit = first.entered.split()[-1].lstrip("0123456789.")
            return unit if unit in _MASS_DECIMALS else "g"
    return "g"
