"""Kinds of practice problem: numbers drawn by seed, a question, a hint and a worked answer.

Every calculation is a formula of the registry and every number in the text is an argument or result
of one, so question and answer cannot disagree. The same kind and seed give the same
problem on every machine.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, TypeVar

import numpy as np
from markupsafe import Markup

from kilnfolio.handbook.examples import PLACEHOLDER, WorkedSteps, as_worked, title_of
from kilnfolio.records.quantities import Quantity
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.limits import LimitTable
from kilnfolio.review.working import (
    Argument,
    evaluate,
    with_limits,
    words_of,
)

T = TypeVar("T")
Entered = str | list[str]
#: A step: its name, its formula, and the formula's arguments as people write them.
Step = Mapping[str, Entered]


class Draw:
    """Random numbers for a problem, rounded as people write them.

    Parameters
    ----------
    kind : str
        Slug of the kind of problem.
    seed : int
        Seed, from 0; another seed gives other numbers.
    """

    def __init__(self, kind: str, seed: int):
        self._generator = np.random.default_rng([seed, *kind.encode()])

    def number(self, low: float, high: float, step: float) -> float:
        """Return one of low, low + step, …, high."""
        count = round((high - low) / step)
        return rounded(low + step * int(self._generator.integers(0, count + 1)), step)

    def numbers(self, count: int, low: float, high: float, step: float) -> list[float]:
        """Return several different ones."""
        most = round((high - low) / step) + 1
        chosen = self._generator.choice(most, size=count, replace=False)
        return [rounded(low + step * int(one), step) for one in chosen]

    def pick(self, choices: Sequence[T]) -> T:
        """Return one of the choices."""
        return choices[int(self._generator.integers(0, len(choices)))]

    def readings(self, count: int, mean: float, sd: float, step: float) -> list[float]:
        """Return readings scattered about a mean."""
        return [rounded(float(value), step) for value in self._generator.normal(mean, sd, count)]


def rounded(value: float, step: float) -> float:
    """Return a value rounded to a multiple of `step`, without binary rounding errors."""
    return float(round(value / step) * Decimal(str(step)))


def words(value: float, unit: str, decimals: int = 1) -> str:
    """Return a quantity as people write it: ``121.5 g``."""
    return f"{value:.{decimals}f} {unit}"


def value_of(board: WorkedSteps, name: str) -> float:
    """Return the result of a step in its house unit; for an interval, its lower end."""
    value = board.results[name].value
    return value[0] if isinstance(value, tuple) else value


@dataclass(frozen=True)
class Written:
    """A problem before it is worked.

    In the text, ``{step}`` stands for a result and ``{step.argument}`` for an argument as entered.
    """

    ask: str
    hint: str
    steps: Sequence[Step]
    answer: str | Callable[[WorkedSteps], str]
    """The text of the answer, or a function that writes it from the results."""


@dataclass(frozen=True)
class Kind:
    """A kind of problem."""

    slug: str
    topic: str
    title: str
    write: Callable[[Draw], Written]


@dataclass(frozen=True)
class Problem:
    """A worked problem with its numbers."""

    kind: Kind
    seed: int
    steps: Sequence[Step]
    board: WorkedSteps
    ask: Markup
    hint: Markup
    answer: Markup
    """The answer in words, followed by the working."""
    given: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    """The arguments of every step in house units, by the step's name."""
    written_ask: str = ""
    """The question with its placeholders."""
    written_answer: str = ""
    """The answer with its placeholders."""


#: Every kind of problem by slug, in the order of the handbook; filled by `kind`.
KINDS: dict[str, Kind] = {}

Writer = Callable[[Draw], Written]


def kind(slug: str, topic: str, title: str) -> Callable[[Writer], Writer]:
    """Register a kind of problem under a slug, a topic and a title."""

    def register(write: Writer) -> Writer:
        if slug in KINDS:
            raise ValueError(f"two kinds of problem are called {slug}")
        KINDS[slug] = Kind(slug, topic, title, write)
        return write

    return register


def make_problem(
    of: Kind, seed: int, limits: LimitTable, regional: RegionalFormat = PLAIN
) -> Problem:
    """Return the worked problem of a kind and seed.

    Parameters
    ----------
    of : Kind
        The kind of problem.
    seed : int
        The seed, from 0.
    limits : LimitTable
        The mill's limits, for the formulas that rest on one.
    regional : RegionalFormat, optional
        The region, which decides which units come first.
    """
    written = of.write(Draw(of.slug, seed))
    board = WorkedSteps(regional)
    given = {str(step["let"]): _work(board, step, limits) for step in written.steps}
    answer = written.answer if isinstance(written.answer, str) else written.answer(board)
    return Problem(
        of,
        seed,
        written.steps,
        board,
        _prose(written.ask, board),
        _prose(written.hint, board),
        _prose(answer, board) + board.html(),
        given,
        written.ask,
        answer,
    )


def _work(board: WorkedSteps, step: Step, limits: LimitTable) -> dict[str, Any]:
    """Work a step, add it to the board, and return its arguments in house units."""
    name, formula = str(step["let"]), FORMULAS[str(step["compute"])]
    values = {
        argument.name: _value(argument, step[argument.name], board)
        for argument in formula.arguments
        if argument.name in step
    }
    given = with_limits(formula, values, limits)
    board.results[name] = evaluate(formula, title_of(formula), given)
    board.formulas[name] = formula
    used: dict[str, Any] = {}
    for argument in formula.arguments:
        value = given.get(argument.name)
        if value is None and argument.default:
            value = argument.of.parse(argument.default)
        if value is not None:
            board.entered[name, argument.name] = words_of(value)
            used[argument.name] = _bare(value)
    return used


def _bare(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_bare(one) for one in value]
    return value.value if isinstance(value, Quantity) else value


def _value(argument: Argument, entered: Entered, board: WorkedSteps) -> Any:
    if isinstance(entered, list):
        return tuple(_quantity(argument, one, board) for one in entered)
    return entered if argument.choices else _quantity(argument, entered, board)


def _quantity(argument: Argument, entered: str, board: WorkedSteps) -> Quantity:
    if entered in board.results:
        return board.results[entered].quantity
    return as_worked(board.regional, argument, entered)


def _prose(text: str, board: WorkedSteps) -> Markup:
    paragraphs = [
        Markup("<p>{}</p>").format(
            board.regional.localized(PLACEHOLDER.sub(lambda match: _filled(match, board), part))
        )
        for part in text.split("\n\n")
    ]
    return Markup("\n").join(paragraphs)


def _filled(match: Any, board: WorkedSteps) -> str:
    found = board.words(match[1], match[2])
    if found is None:
        raise KeyError(f"no step of this problem has {match[0]}")
    return found
