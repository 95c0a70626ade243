"""Resistance meters: readings corrected to the meter's calibration temperature.

References
----------
.. [1] Bergman, R., "Drying and control of moisture content and dimensional changes", chapter 13 of
   Wood Handbook, FPL-GTR-190, USDA Forest Service, 2010, p. 13-3.
"""

from numpy.typing import ArrayLike

from kilnfolio.physics import _check
from kilnfolio.physics._check import in_range, plain
from kilnfolio.physics._types import FloatOrArray

POINTS_PER_KELVIN = 0.5 / 5.6
"""Rise of a resistance reading with the wood's temperature. [% MC/K]

0.5 point for each 5.6 °C, the Wood Handbook's rule [1]_. Others find more: a Swedish report of
2012 (SP PX21326) gives 1.0 to 1.6 points per 10 °C, compared with 0.9 here.
"""

RESISTANCE_RANGE_PCT = (6.0, 30.0)
"""MC range that resistance meters read reliably. [%] Source: [1]_, p. 13-3. Not enforced."""


WOOD_TEMP_RANGE_C = (-40.0, 110.0)
"""Temperatures accepted for the wood at the pins and for the calibration. [°C]"""


def reading_at_calibration(
    reading_pct: ArrayLike,
    wood_temp_c: ArrayLike,
    calibration_temp_c: ArrayLike = 20.0,
    points_per_kelvin: ArrayLike = POINTS_PER_KELVIN,
) -> FloatOrArray:
    """Return a resistance reading corrected to the calibration temperature.

    Parameters
    ----------
    reading_pct : float or array_like
        MC shown by the meter, 0 to 500. [%]
    wood_temp_c : float or array_like
        Temperature of the wood at the pins, -40 to 110. [°C]
    calibration_temp_c : float or array_like, default 20
        Temperature at which the meter's scale is right, -40 to 110. [°C]
    points_per_kelvin : float or array_like, default `POINTS_PER_KELVIN`
        Rise of the reading with temperature, 0 to 1. [% MC/K]

    Returns
    -------
    float or ndarray
        Reading corrected for temperature, before any species correction. [%] NaN where an input
        is NaN. It may be negative for a reading below the reliable range, and is not clipped.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``reading - (t_wood - t_calibration) × points_per_kelvin`` [1]_: warm wood conducts better and
    reads too wet, so the correction is subtracted for warm wood and added for cold wood. Apply it
    only once: a meter that measures the wood's temperature has already done so. Wood below 0 °C
    holds ice above the fibre saturation point, and the rule does not apply there.
    """
    reading = _check.moisture_content("reading_pct", reading_pct)
    wood = in_range("wood_temp_c", wood_temp_c, *WOOD_TEMP_RANGE_C, "°C")
    calibration = in_range("calibration_temp_c", calibration_temp_c, *WOOD_TEMP_RANGE_C, "°C")
    slope = in_range("points_per_kelvin", points_per_kelvin, 0, 1, "% MC/K")
    return plain(reading - (wood - calibration) * slope)
