"""Expressions that Python and the script of the practice page work out alike.

The numbers of a problem, and what a usual mistake gives, are written once, as terms: ``dry - 2.0``
makes a term, not a number. `Scope` works terms out here, and ``assets/problems.js`` works out the
same terms from the data that `as_data` returns. So no problem's answer needs to be stored.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from typing import Any

from kilnfolio.physics import sums
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.training.random_numbers import RandomNumbers

#: What a term may be made of: another term, or a literal.
Part = Any


@dataclass(frozen=True, eq=False)
class Term:
    """A value that is worked out for each set of numbers."""

    operation: str
    """A name in `_OPERATIONS` or `_DRAWS`, or one of those that `Scope.value` treats itself."""
    parts: tuple[Part, ...]
    """What it works on."""

    def __add__(self, other: Part) -> Term:
        return Term("add", (self, other))

    def __radd__(self, other: Part) -> Term:
        return Term("add", (other, self))

    def __sub__(self, other: Part) -> Term:
        return Term("subtract", (self, other))

    def __rsub__(self, other: Part) -> Term:
        return Term("subtract", (other, self))

    def __mul__(self, other: Part) -> Term:
        return Term("multiply", (self, other))

    def __rmul__(self, other: Part) -> Term:
        return Term("multiply", (other, self))

    def __truediv__(self, other: Part) -> Term:
        return Term("divide", (self, other))

    def __rtruediv__(self, other: Part) -> Term:
        return Term("divide", (other, self))

    def __lt__(self, other: Part) -> Term:
        return Term("below", (self, other))

    def __ge__(self, other: Part) -> Term:
        return Term("reaches", (self, other))

    def __bool__(self) -> bool:
        raise TypeError("a term has no truth of its own: use either()")


# --- how terms are made ---------------------------------------------------------------------------


def rounded(value: Part, step: float) -> Term:
    """Return a value rounded to a multiple of `step`, without binary rounding errors."""
    return Term("round", (value, step))


def words(value: Part, unit: str, decimals: int = 1) -> Term:
    """Return a quantity as people write it: ``121.5 g``."""
    return Term("words", (value, unit, decimals))


def either(condition: Part, one: Part, other: Part) -> Term:
    """Return one of two values, by a condition."""
    return Term("either", (condition, one, other))


def each(values: Term, function: Callable[[Term], Part]) -> Term:
    """Return a list with a function applied to each value."""
    return Term("each", (values, function(Term("one", ()))))


def replaced(values: Part, place: Part, value: Part) -> Term:
    """Return a list with the value at a place replaced; a negative place replaces nothing."""
    return Term("replaced", (values, place, value))


def first(values: Part, count: Part) -> Term:
    """Return so many values from the beginning of a list."""
    return Term("first", (values, count))


def least(one: Part, other: Part) -> Term:
    """Return the smaller of two values."""
    return Term("least", (one, other))


def mean(of: Part) -> Term:
    """Return the mean of a list."""
    return Term("mean", (of,))


def total(of: Part) -> Term:
    """Return the sum of a list."""
    return Term("total", (of,))


def greatest(of: Part) -> Term:
    """Return the greatest value of a list."""
    return Term("greatest", (of,))


def driest_half(of: Part) -> Term:
    """Return the mean of the smaller half of a list, an odd number rounded up."""
    return Term("driest_half", (of,))


def count_at_least(values: Part, threshold: Part) -> Term:
    """Return the number of values at or above a threshold."""
    return Term("count_at_least", (values, threshold))


def pairs_at_least(values: Part, threshold: Part) -> Term:
    """Return the number of neighbours in a list that are both at or above a threshold."""
    return Term("pairs_at_least", (values, threshold))


def computed(formula: str, **arguments: Part) -> Term:
    """Return the result of a formula of the registry, in house units."""
    return Term("computed", (formula, arguments))


def result_of(step: str) -> Term:
    """Return the result of a problem's step in its house unit; of an interval, the lower end."""
    return Term("result", (step,))


def argument(name: str, *default: Part) -> Term:
    """Return an argument of the formula that a mistake is about, or the default without it."""
    return Term("argument", (name, *default))


# --- how they are worked out ----------------------------------------------------------------------


def in_steps(value: float, step: float) -> float:
    """Return a value rounded to a multiple of a step, as its decimal number."""
    return float(round(value / step) * Decimal(str(step)))


def _words(value: float, unit: str, decimals: int) -> str:
    return f"{value:.{decimals}f} {unit}".rstrip()


def _replaced(values: Sequence[Any], place: int, value: Any) -> list[Any]:
    return [value if number == place else one for number, one in enumerate(values)]


_OPERATIONS: Mapping[str, Callable[..., Any]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "divide": lambda a, b: a / b,
    "below": lambda a, b: a < b,
    "reaches": lambda a, b: a >= b,
    "round": in_steps,
    "words": _words,
    "either": lambda condition, one, other: one if condition else other,
    "replaced": _replaced,
    "first": lambda values, count: values[: int(count)],
    "least": min,
    "mean": lambda values: float(sums.mean(values)),
    "total": lambda values: float(sums.total(values)),
    "greatest": max,
    "driest_half": lambda values: float(sums.mean(sorted(values)[: (len(values) + 1) // 2])),
    "count_at_least": lambda values, threshold: sum(value >= threshold for value in values),
    "pairs_at_least": lambda values, threshold: sum(
        min(pair) >= threshold for pair in pairwise(values)
    ),
}


def _number(numbers: RandomNumbers, low: float, high: float, step: float) -> float:
    return in_steps(low + step * numbers.below(round((high - low) / step) + 1), step)


def _different(
    numbers: RandomNumbers, count: int, low: float, high: float, step: float
) -> list[float]:
    places: list[int] = []
    while len(places) < count:
        place = numbers.below(round((high - low) / step) + 1)
        if place not in places:
            places.append(place)
    return [in_steps(low + step * place, step) for place in places]


_DRAWS: Mapping[str, Callable[..., Any]] = {
    "number": _number,
    "different": _different,
    "pick": lambda numbers, choices: choices[numbers.below(len(choices))],
    "readings": lambda numbers, count, middle, sd, step: [
        in_steps(middle + sd * numbers.normal(), step) for _ in range(count)
    ],
}


@dataclass
class Scope:
    """What terms are worked out with."""

    drawn: dict[Term, Any] = field(default_factory=dict)
    """The random values by their terms."""
    results: Mapping[str, float] = field(default_factory=dict)
    """The results of a problem's steps."""
    arguments: Mapping[str, Any] = field(default_factory=dict)
    """The arguments of a formula."""

    def draw(self, terms: Sequence[Term], numbers: RandomNumbers) -> None:
        """Draw the random values of these terms, in their order."""
        for term in terms:
            parts = [self.value(part) for part in term.parts]
            self.drawn[term] = _DRAWS[term.operation](numbers, *parts)

    def value(self, part: Part, one: Any = None) -> Any:
        """Return the value of a term; a literal is its own."""
        if isinstance(part, (list, tuple)):
            return [self.value(each_part, one) for each_part in part]
        if not isinstance(part, Term):
            return part
        if part in self.drawn:
            return self.drawn[part]
        match part.operation:
            case "result":
                return self.results[part.parts[0]]
            case "argument":
                name, *default = part.parts
                return self.arguments.get(name, *default) if default else self.arguments[name]
            case "one":
                return one
            case "each":
                values, pattern = part.parts
                return [self.value(pattern, value) for value in self.value(values, one)]
            case "computed":
                name, given = part.parts
                return self._computed(name, given, one)
        parts = [self.value(each_part, one) for each_part in part.parts]
        return _OPERATIONS[part.operation](*parts)

    def _computed(self, name: str, given: Mapping[str, Part], one: Any) -> float:
        formula = FORMULAS[name]
        values = {
            asked.name: asked.of.parse(asked.default).value if asked.default else None
            for asked in formula.arguments
        } | {key: self.value(part, one) for key, part in given.items()}
        return float(formula.function(**values))


def as_data(part: Part, drawn: Sequence[Term] = ()) -> Any:
    """Return a term as data for the script; random values by their place in `drawn`."""
    if isinstance(part, dict):
        return {name: as_data(value, drawn) for name, value in part.items()}
    if isinstance(part, (list, tuple)):
        return ["list", *(as_data(one, drawn) for one in part)]
    if not isinstance(part, Term):
        return part
    if part in drawn:
        return ["draw", drawn.index(part)]
    return [part.operation, *(as_data(one, drawn) for one in part.parts)]


def draws_as_data(drawn: Sequence[Term]) -> list[Any]:
    """Return the random values to draw as data for the script, in order."""
    return [
        [term.operation, *(as_data(part, drawn[:place]) for part in term.parts)]
        for place, term in enumerate(drawn)
    ]
