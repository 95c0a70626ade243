"""The registry of formulas, by subject, and `work`, which computes one by name.

Each entry names the physics function that does the calculation; this package only combines physics
functions and converts units.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kilnfolio.review.dossier import Working
from kilnfolio.review.formulas.air import AIR
from kilnfolio.review.formulas.drying import DRYING
from kilnfolio.review.formulas.load import LOAD
from kilnfolio.review.formulas.masses import MASSES
from kilnfolio.review.formulas.trend import TREND
from kilnfolio.review.working import Formula, evaluate

#: Every formula by its name in `compute`.
FORMULAS: Mapping[str, Formula] = {
    formula.name: formula for formula in (*MASSES, *AIR, *LOAD, *DRYING, *TREND)
}


def work(formula_name: str, label: str, /, **values: Any) -> tuple[float, Working]:
    """Compute one number and show its working.

    Parameters
    ----------
    formula_name : str
        A key of `FORMULAS`.
    label : str
        A description of the number, as in 'MC of board S1'.
    **values
        The formula's arguments: floats in house units, `Quantity`, lists of them, or words.

    Returns
    -------
    tuple of float and Working
        The unrounded value in the house unit, and its working.

    Raises
    ------
    WrongArgumentsError
        An argument is unknown or missing.
    ValueError
        Physics refuses a value, or the formula gives an interval, not a number.
    """
    result = evaluate(FORMULAS[formula_name], label, values)
    if isinstance(result.value, tuple):
        raise ValueError(f"{formula_name} gives an interval; use evaluate")
    return result.value, result.working
