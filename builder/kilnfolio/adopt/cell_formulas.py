"""Recalculates the formulas of a workbook to find cached values that are out of date.

A workbook stores each formula with its last value. If the two disagree, the value is older than the
cells it depends on. Plain arithmetic, sums and means of cells of the same sheet are recalculated;
nothing is assumed about any other formula.
"""

from __future__ import annotations

import ast
import operator
import re
import warnings
from collections.abc import Callable, Sequence
from decimal import ROUND_HALF_UP, Decimal

_CELL = re.compile(r"[A-Z]{1,3}\d{1,7}")
_RANGE = re.compile(rf"{_CELL.pattern}:{_CELL.pattern}")
#: Characters of a formula of numbers and cells of its own sheet.
_PLAIN = re.compile(r"[A-Z0-9$.,:()+\-*/ ]+", re.IGNORECASE)
#: Longer formulas and larger ranges are not recalculated.
LONGEST, _MOST_CELLS = 300, 10_000
#: Limit of work on the formulas of one workbook: characters read plus cells looked up.
_MOST_EFFORT = 500_000

_OPERATIONS: dict[type[ast.AST], Callable[..., float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
}


def _round(numbers: Sequence[float]) -> float:
    """Round half away from zero, as spreadsheets do."""
    value, places = numbers
    return float(Decimal(repr(value)).quantize(Decimal(1).scaleb(-int(places)), ROUND_HALF_UP))


_FUNCTIONS: dict[str, Callable[[Sequence[float]], float]] = {
    "SUM": sum,
    "AVERAGE": lambda numbers: sum(numbers) / len(numbers),
    "MIN": min,
    "MAX": max,
    "ROUND": _round,
}


class _Unknown(Exception):  # noqa: N818  an outcome, not a fault
    """The formula cannot be recalculated here."""


class Effort:
    """The work spent on the formulas of a workbook so far."""

    class Spent(Exception):  # noqa: N818  an outcome, not a fault
        """Checking the formulas has taken more work than it is worth."""

    def __init__(self) -> None:
        self.left = _MOST_EFFORT

    def spend(self, effort: int) -> None:
        """Count some work; raise `Effort.Spent` if the total is too much."""
        self.left -= effort
        if self.left < 0:
            raise Effort.Spent


def recalculated(
    formula: str, value_at: Callable[[str], object], effort: Effort | None = None
) -> float | None:
    """Return the value of a formula now; None if it cannot be told.

    Parameters
    ----------
    formula : str
        The formula with its equals sign, as in =B2-C2.
    value_at : callable
        Takes the name of a cell of the same sheet; returns its stored value.
    effort : Effort, optional
        The work spent on this workbook so far.

    Raises
    ------
    Effort.Spent
        The formulas take too much work.
    """
    effort = effort or Effort()
    effort.spend(len(formula))
    text = formula.removeprefix("=").strip()
    if len(text) > LONGEST or not _PLAIN.fullmatch(text):
        return None
    text = _RANGE.sub(r'"\g<0>"', text.upper().replace("$", ""))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Python warns of "1 (2)"
            body = ast.parse(text, mode="eval").body

        def counted(name: str) -> object:
            effort.spend(1)
            return value_at(name)

        numbers = _numbers(body, counted)
    except (SyntaxError, _Unknown, ArithmeticError, ValueError, RecursionError, MemoryError):
        return None
    return numbers[0] if len(numbers) == 1 else None


def _numbers(node: ast.AST, value_at: Callable[[str], object]) -> list[float]:
    """Return the number in one part of a formula, or all the numbers in a range."""
    match node:
        case ast.Constant(value=bool()):
            raise _Unknown
        case ast.Constant(value=int() | float() as number):
            return [float(number)]
        case ast.Constant(value=str() as area):
            found = [value_at(cell) for cell in _cells(area)]
            return [number for value in found if value is not None for number in _plain(value)]
        case ast.Name(id=name) if _CELL.fullmatch(name):
            value = value_at(name)
            return [0.0] if value is None else _plain(value)
        case ast.UnaryOp(op=op, operand=operand) if type(op) in _OPERATIONS:
            return [_OPERATIONS[type(op)](*_one(operand, value_at))]
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATIONS:
            return [_OPERATIONS[type(op)](*_one(left, value_at), *_one(right, value_at))]
        case ast.Call(func=ast.Name(id=name), args=args, keywords=[]) if name in _FUNCTIONS:
            return [_FUNCTIONS[name]([n for arg in args for n in _numbers(arg, value_at)])]
    raise _Unknown


def _one(node: ast.AST, value_at: Callable[[str], object]) -> list[float]:
    if len(numbers := _numbers(node, value_at)) != 1:
        raise _Unknown
    return numbers


def _plain(value: object) -> list[float]:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _Unknown  # text and dates: programs treat them differently
    return [float(value)]


def _cells(area: str) -> list[str]:
    """Return the names of the cells in a range."""
    from openpyxl.utils.cell import coordinate_to_tuple, get_column_letter

    (top, left), (bottom, right) = map(coordinate_to_tuple, area.split(":"))
    if (right - left + 1) * (bottom - top + 1) > _MOST_CELLS:
        raise _Unknown
    return [
        f"{get_column_letter(column)}{row}"
        for column in range(left, right + 1)
        for row in range(top, bottom + 1)
    ]
