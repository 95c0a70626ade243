"""Kinds of practice problem: numbers drawn by seed, a question, a hint and a worked answer.

Every calculation is a formula of the registry and every number in the text is an argument or result
of one, so question and answer cannot disagree. The same kind and seed give the same
problem on every machine, and in the script of the practice page: a kind is written in terms
(`expressions`), which both work out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from functools import cached_property
from typing import Any

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
from kilnfolio.runtime.values import dataclass
from kilnfolio.training.expressions import Part, Scope, Term
from kilnfolio.training.random_numbers import RandomNumbers, seed_of

#: A step as written: its name, its formula, and the formula's arguments, which may be terms.
Step = Mapping[str, Part]
#: A step with its arguments as people write them.
Entered = Mapping[str, str | list[str]]


class Draw:
    """Random values for a kind of problem, rounded as people write them, as terms."""

    def __init__(self) -> None:
        self.drawn: list[Term] = []

    def _term(self, operation: str, *parts: Part) -> Term:
        self.drawn.append(Term(operation, parts))
        return self.drawn[-1]

    def number(self, low: Part, high: Part, step: float) -> Term:
        """Return one of low, low + step, …, high."""
        return self._term("number", low, high, step)

    def numbers(self, count: Part, low: Part, high: Part, step: float) -> Term:
        """Return a list of several different ones."""
        return self._term("different", count, low, high, step)

    def pick(self, choices: Sequence[float | str | bool]) -> Term:
        """Return one of the choices."""
        return self._term("pick", tuple(choices))

    def readings(self, count: int, middle: Part, sd: float, step: float) -> Term:
        """Return a list of readings scattered about a mean."""
        return self._term("readings", count, middle, sd, step)


@dataclass(frozen=True)
class Written:
    """A problem before it has numbers.

    In the text, ``{step}`` stands for a result, ``{step.argument}`` for an argument as entered, and
    any other ``{name}`` for the words of `also`.
    """

    ask: str
    hint: str
    steps: Sequence[Step]
    answer: str
    also: Mapping[str, Part] = field(default_factory=dict)
    """Further words by their names, such as those that depend on a result; they may contain
    placeholders for steps, and for others of them that come before."""


@dataclass(frozen=True)
class Kind:
    """A kind of problem."""

    slug: str
    topic: str
    title: str
    write: Callable[[Draw], Written]

    @cached_property
    def terms(self) -> tuple[Written, tuple[Term, ...]]:
        """The problem in terms, and the random values to draw for it, in order."""
        draw = Draw()
        return self.write(draw), tuple(draw.drawn)

    def entered(self, seed: int) -> tuple[Scope, list[Entered]]:
        """Return the random values of a seed, and the steps with their arguments as entered."""
        written, drawn = self.terms
        scope = Scope()
        scope.draw(drawn, RandomNumbers(seed_of(f"{self.slug} {seed}")))
        steps: list[Entered] = [
            {name: scope.value(part) for name, part in step.items()} for step in written.steps
        ]
        return scope, steps


@dataclass(frozen=True)
class Problem:
    """A worked problem with its numbers."""

    kind: Kind
    seed: int
    steps: Sequence[Entered]
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
    written, _ = of.terms
    scope, steps = of.entered(seed)
    board = WorkedSteps(regional)
    given = {str(step["let"]): _work(board, step, limits) for step in steps}
    scope.results = {name: _lower(result.value) for name, result in board.results.items()}
    also: dict[str, str] = {}
    for name, part in written.also.items():
        also[name] = _put(scope.value(part), also)
    ask, hint, answer = (_put(text, also) for text in (written.ask, written.hint, written.answer))
    return Problem(
        of,
        seed,
        steps,
        board,
        _prose(ask, board),
        _prose(hint, board),
        _prose(answer, board) + board.html(),
        given,
        ask,
        answer,
    )


def _lower(value: float | tuple[float, float]) -> float:
    return value[0] if isinstance(value, tuple) else value


def _put(text: str, also: Mapping[str, str]) -> str:
    """Put further words into a text, and leave the placeholders of steps."""
    return PLACEHOLDER.sub(lambda match: also.get(match[1], match[0]), text)


def _work(board: WorkedSteps, step: Entered, limits: LimitTable) -> dict[str, Any]:
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


def _value(argument: Argument, entered: str | list[str], board: WorkedSteps) -> Any:
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
