"""Evaluation of a calculator in Python, for the page's example and to check its script."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from kilnfolio.calculators.accepted import ALL_FORMULAS
from kilnfolio.calculators.form import Calculator, Field, Step
from kilnfolio.records.quantities import Density, Mass, Quantity, TemperatureDifference, Volume
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.working import Kilograms, Result, evaluate
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class Answer:
    """The result of a step as the page prints it."""

    step: Step
    label: str
    value: float
    """The unrounded value, in the house unit."""
    first: str
    other: str
    """In the other unit system; empty if both use the same unit."""
    working: Working

    @property
    def text(self) -> str:
        """Both unit systems in one phrase."""
        return f"{self.first} ({self.other})" if self.other else self.first


#: Dimensions that are substituted in metric, because the formula's other terms are metric.
METRIC_WITHIN = (Volume, Density, TemperatureDifference)


def worked(
    calculator: Calculator,
    entries: Mapping[str, str] | None = None,
    choices: Mapping[str, str] | None = None,
) -> list[Answer]:
    """Evaluate a calculator.

    Parameters
    ----------
    calculator : Calculator
        The calculator.
    entries : mapping, optional
        Content of fields as a person would write it, such as ``60 °C``; the example if left out,
        an empty field if "".
    choices : mapping, optional
        Values of choices; the first option if left out.

    Returns
    -------
    list of Answer
        In the order of the steps; steps that lack an optional value are skipped.

    Raises
    ------
    ValueError
        If a value cannot be read or is refused.
    """
    chosen = {choice.name: choice.options[0][0] for choice in calculator.all_choices} | dict(
        choices or {}
    )
    given: dict[str, list[Quantity]] = {}
    for asked in calculator.fields:
        if asked.when is None or chosen[asked.when[0]] == asked.when[1]:
            given[asked.name] = _read(asked, (entries or {}).get(asked.name, asked.example))
    answers: list[Answer] = []
    for step in calculator.steps:
        if step.when is None or chosen[step.when[0]] == step.when[1]:
            answers += _answers(step, given)
    return answers


def _read(asked: Field, entered: str) -> list[Quantity]:
    unit = asked.example.rpartition(" ")[2] if asked.many else ""
    words = (
        [f"{one} {unit}" for one in entered.split() if one != unit]
        if asked.many
        else ([entered] if entered else [])
    )
    if not words and not asked.optional:
        raise ValueError(f"{asked.label} is missing")
    quantities = [asked.of.parse(one) for one in words]
    for quantity in quantities:
        if asked.range and not asked.range.holds(quantity.value):
            raise ValueError(f"{asked.label} is outside its range: {quantity.entered}")
    return [_metric_within(quantity) for quantity in quantities]


def _metric_within(quantity: Quantity) -> Quantity:
    if not isinstance(quantity, METRIC_WITHIN):
        return quantity
    number, _, unit = figures.both(quantity)[0].rpartition(figures.NBSP)
    number = number.replace(figures.NBSP, "").replace(figures.MINUS, "-")
    return type(quantity)(quantity.value, f"{number} {unit}")


def _answers(step: Step, given: dict[str, list[Quantity]]) -> Iterator[Answer]:
    """Yield the answers of a step, and add the last to the values for later steps."""
    for one in given[step.each] if step.each else [None]:
        values: dict[str, Any] = {}
        for argument, source in step.arguments.items():
            if isinstance(source, tuple):
                values[argument] = [quantity for name in source for quantity in given[name]]
            elif one is not None and source == step.each:
                values[argument] = one
            else:
                values[argument] = next(iter(given[source]), None)
        if any(value is None for value in values.values()):
            given[step.name] = []
            return
        label = step.label if one is None else f"{step.label} {figures.as_entered(one)}"
        result = evaluate(ALL_FORMULAS[step.formula], label, values)
        given[step.name] = [_metric_within(result.quantity)]
        yield _answer(step, label, result)


def _answer(step: Step, label: str, result: Result) -> Answer:
    quantity = result.quantity
    # a value that rounds to zero in one system is printed as zero in the other too
    if not float(quantity.entered.split()[0]):
        quantity = type(quantity)(0.0, quantity.entered)
    if isinstance(quantity, Kilograms):
        first, other = (
            figures.as_entered(quantity),
            figures.customary(quantity.value * 1000.0, Mass),
        )
    else:
        first, other = figures.both(quantity)
    return Answer(step, label, float(result.quantity.value), first, other, result.working)
