"""Worked steps: reading arguments, computing results with `physics`, writing out the working."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup
from pydantic import ConfigDict

from kilnfolio.records.model import Name, Record
from kilnfolio.records.problems import Place, Problem
from kilnfolio.records.quantities import Quantity
from kilnfolio.records.yaml_source import Document
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.limits import LimitTable
from kilnfolio.review.working import (
    Argument,
    Formula,
    Result,
    WrongArgumentsError,
    board_line,
    evaluate,
    parse_any,
    with_limits,
    words_of,
)

#: A placeholder in prose, for a result or for one of its arguments as entered.
PLACEHOLDER = re.compile(r"\{([A-Za-z_]\w*)(?:\.(\w+))?\}")


class Step(Record):
    """A step: a name for its result, the formula, and the arguments as further keys."""

    model_config = ConfigDict(extra="allow")

    let: Name
    """The name of the result."""
    compute: Name
    """The formula."""


@dataclass
class WorkedSteps:
    """The worked steps of an example or problem."""

    regional: RegionalFormat = PLAIN
    """The region, which decides which units come first."""
    results: dict[str, Result] = field(default_factory=dict)
    entered: dict[tuple[str, str], str] = field(default_factory=dict)
    formulas: dict[str, Formula] = field(default_factory=dict)

    def words(self, name: str, argument: str | None) -> str | None:
        """Return the text for a placeholder, or None if nothing has this name."""
        if argument:
            found = self.entered.get((name, argument))
        else:
            found = self.results[name].text if name in self.results else None
        return found and self.regional.localized(found)

    def html(self) -> Markup:
        """Return every step written out: the formula, the substituted values, the result."""
        shown: set[str] = set()
        often = [formula.name for formula in self.formulas.values()]
        parts = []
        for name, result in self.results.items():
            formula = self.formulas[name]
            label = title_of(formula)
            if often.count(formula.name) > 1:
                label += f": {name.replace('_', ' ')}"
            lines = [Markup('<p class="meta">{}</p>').format(label)]
            left, equals, _ = result.working.formula.partition(" = ")
            if formula.name not in shown:
                lines.append(Markup("<p>{}</p>").format(result.working.formula))
                left = ""
            lines.append(
                Markup("<p>{}</p>").format(
                    board_line(
                        result.working.substituted,
                        left if equals and " at which" not in left else "",
                    )
                )
            )
            lines.append(Markup("<p>= <b>{}</b></p>").format(self.regional.localized(result.text)))
            shown.add(formula.name)
            parts.append(Markup('<div class="working">{}</div>').format(Markup("").join(lines)))
        return Markup("\n").join(parts)


_TITLES = {
    "emc_from_bulbs": "EMC from the two bulbs",
    "maximum_mc": "Highest possible MC",
    "mass_at": "Mass at an MC",
    "oven_dry_mass": "Oven-dry mass",
    "relative_humidity": "Relative humidity from the two bulbs",
    "relative_humidity_for_emc": "Relative humidity for an EMC",
    "equalizing_emc": "Equalizing EMC",
    "conditioning_emc": "Conditioning EMC",
    "sum": "Sum",
    "wet_basis": "MC on the wet basis",
    "shrinkage_at": "Shrinkage so far",
    "thickness_scaled_rate": "Limit for this thickness",
    "mean_for_share_below": "Mean to dry to",
    "longest_run_above": "Longest unbroken time",
    "meter_temperature_correction": "Corrected reading",
    "shrunk_size": "Size after shrinking",
    "strength_at": "Strength at an MC",
    "timber_mass": "Mass of the timber",
    "priced": "Cost",
}


def title_of(formula: Formula) -> str:
    """Return the name of a formula's result."""
    return _TITLES.get(formula.name) or formula.name.replace("_", " ").capitalize()


def work_steps(
    document: Document, steps: list[Step], limits: LimitTable, regional: RegionalFormat
) -> tuple[WorkedSteps, list[Problem]]:
    """Work the steps of a directive.

    Parameters
    ----------
    document : Document
        The directive's options, for line numbers in messages.
    steps : list of Step
        The validated steps.
    limits : LimitTable
        The mill's limits, for the formulas that rest on one.
    regional : RegionalFormat
        The region, which decides which units come first.

    Returns
    -------
    tuple of WorkedSteps and list of Problem
        The steps that could be worked, and the problems of the others.
    """
    board, problems = WorkedSteps(regional), []
    for index, step in enumerate(steps):
        path = ("steps", index)
        formula = FORMULAS.get(step.compute)
        if formula is None:
            problems.append(_unknown_formula(document.place(*path, "compute"), step.compute))
            continue
        if step.let in board.results:
            problems.append(
                Problem(
                    document.place(*path, "let"),
                    f"let '{step.let}'",
                    "an earlier step has this name",
                    "Give it another",
                )
            )
        values, bad = _read_arguments(document, path, formula, step.model_extra or {}, board)
        problems += bad
        if bad:
            continue
        try:
            result = evaluate(formula, title_of(formula), with_limits(formula, values, limits))
        except WrongArgumentsError as error:
            problems.append(
                Problem(
                    document.place(*path, error.argument),
                    str(error),
                    f"{formula.name} takes " + ", ".join(a.name for a in formula.arguments),
                    error.instead,
                )
            )
            continue
        except ValueError as error:
            problems.append(
                Problem(
                    document.place(*path),
                    f"{step.compute} cannot be computed",
                    str(error),
                    "Check the values",
                )
            )
            continue
        board.results[step.let], board.formulas[step.let] = result, formula
        for argument in formula.arguments:
            given = values.get(argument.name)
            if given is None and argument.default:
                given = argument.of.parse(argument.default)
            if given is not None:
                board.entered[step.let, argument.name] = words_of(
                    tuple(given) if isinstance(given, list) else given
                )
    return board, problems


def _unknown_formula(place: Place, name: str) -> Problem:
    near = difflib.get_close_matches(name, list(FORMULAS), n=1, cutoff=0.5)
    return Problem(
        place,
        f"compute '{name}'",
        "there is no formula of this name",
        f"Did you mean '{near[0]}'?" if near else "Known ones: " + ", ".join(FORMULAS),
    )


def _read_arguments(
    document: Document,
    path: tuple[str | int, ...],
    formula: Formula,
    given: Mapping[str, Any],
    board: WorkedSteps,
) -> tuple[dict[str, Any], list[Problem]]:
    values: dict[str, Any] = {}
    problems: list[Problem] = []
    for name, value in given.items():
        argument = formula.argument(name)
        if argument is None:
            near = difflib.get_close_matches(name, [a.name for a in formula.arguments], n=1)
            problems.append(
                Problem(
                    document.key_place(*path, name),
                    f"the argument '{name}'",
                    f"{formula.name} takes " + ", ".join(a.name for a in formula.arguments),
                    f"Did you mean '{near[0]}'?" if near else "",
                )
            )
            continue
        items = value if isinstance(value, list) else [value]
        read = []
        for index, item in enumerate(items):
            place = document.place(*path, name, *([index] if isinstance(value, list) else []))
            try:
                read.append(_value(argument, item, board))
            except ValueError as error:
                why = getattr(error, "context", None) or {}
                problems.append(
                    Problem(
                        place,
                        f"{name} '{item}'",
                        why.get("why", str(error)),
                        why.get(
                            "instead",
                            f"Write it as in '{argument.of.example}', or name an earlier step",
                        ),
                    )
                )
        if isinstance(value, list) and not argument.many:
            problems.append(
                Problem(
                    document.place(*path, name), f"{name} is a list", "one value is needed here"
                )
            )
        values[name] = read if argument.many else (read[0] if read else None)
    return values, problems


def as_worked(regional: RegionalFormat, argument: Argument, item: object) -> Quantity:
    """Return a literal value of an example or problem, as a round value in the region's units.

    Lists of readings, and arguments whose kind the formula leaves open, stay as written, because
    they are compared with one another to the tenth.
    """
    if argument.of is Quantity:
        return parse_any(item)
    value = argument.of.parse(item)
    return value if argument.many or "threshold" in argument.name else regional.native(value)


def _value(argument: Argument, item: Any, board: WorkedSteps) -> Quantity | str:
    if argument.choices:
        return str(item)
    if isinstance(item, str) and item in board.results:
        return board.results[item].quantity
    return as_worked(board.regional, argument, item)
