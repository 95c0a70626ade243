"""Strength and stiffness of clear wood at a moisture content.

References
----------
.. [1] Kretschmann, D. E., chapter 5 of Wood Handbook, FPL-GTR-190, USDA Forest Service, 2010,
   eq. 5-3 and the table of intersection moisture contents beside it; from memory.
.. [2] Wilson, T. R. C., "Strength-moisture relations for wood", USDA Technical Bulletin 282, 1932
   (where the form of the equation comes from); from memory.
"""

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics import _check
from kilnfolio.physics._check import in_range, plain
from kilnfolio.physics._types import FloatOrArray

REFERENCE_MC_PCT = 12.0
"""Moisture content at which handbooks give dry strength. [% MC]"""

INTERSECTION_MC_PCT = 25.0
"""Moisture content above which strength is constant, for woods without a value of their own.
[% MC] Source: [1]_, the row for all other species."""

INTERSECTION_RANGE_PCT = (18.0, 35.0)
"""Intersection moisture contents accepted; the table of [1]_ runs from 21 to 28. [% MC]"""

PROPERTY_RANGE = (0.0, 1e6)
"""Values of a property accepted, excluding the lower limit, in MPa, GPa, psi or kJ/m³."""


def strength_at(
    at_12_pct: ArrayLike,
    green: ArrayLike,
    mc_pct: ArrayLike,
    intersection_pct: ArrayLike = INTERSECTION_MC_PCT,
) -> FloatOrArray:
    """Return the strength or stiffness of wood at a moisture content.

    Parameters
    ----------
    at_12_pct : float or array_like
        The property at 12 % MC, above 0. [any unit]
    green : float or array_like
        The same property of green wood, in the same unit, above 0.
    mc_pct : float or array_like
        Moisture content, 0 to 500. [% MC]
    intersection_pct : float or array_like, default 25
        MC below which the property begins to change, 18 to 35. [% MC]

    Returns
    -------
    float or ndarray
        The property at `mc_pct`, in the unit of `at_12_pct`. NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``P = P12 (P12/Pg)^((12 - M)/(Mp - 12))`` below the intersection Mp, `green` above it [1]_,
    a form that goes back to [2]_.
    It applies to small clear pieces of uniform moisture content. In timbers with knots the gain
    is smaller, and in bending of the lowest grades almost none. Below about 6 % MC some properties
    decrease again, which the equation does not show, so do not use it there.
    """
    dry = in_range("at_12_pct", at_12_pct, *PROPERTY_RANGE, "", above_low=True)
    wet = in_range("green", green, *PROPERTY_RANGE, "", above_low=True)
    mc = _check.moisture_content("mc_pct", mc_pct)
    intersection = in_range("intersection_pct", intersection_pct, *INTERSECTION_RANGE_PCT, "%")
    drier_by = REFERENCE_MC_PCT - np.minimum(mc, intersection)
    return plain(dry * (dry / wet) ** (drier_by / (intersection - REFERENCE_MC_PCT)))
