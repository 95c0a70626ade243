"""The temperature correction of resistance readings, against Wood Handbook p. 13-3."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnfolio.physics.meters import reading_at_calibration


@pytest.mark.parametrize(
    ("wood", "expected"),
    [(20.0, 14.0), (25.6, 13.5), (14.4, 14.5), (31.2, 13.0)],  # half a point for each 5.6 °C
)
def test_half_a_point_for_each_5_6_degrees(wood, expected):
    assert reading_at_calibration(14.0, wood) == pytest.approx(expected, abs=1e-12)


def test_other_calibrations_and_slopes():
    """A scale made for 21.1 °C (70 °F); a Swedish report finds up to 1.6 points per 10 °C."""
    assert reading_at_calibration(14.0, 21.1, 21.1) == 14.0
    assert reading_at_calibration(14.0, 30.0, 20.0, 0.16) == pytest.approx(12.4)


@given(st.floats(6, 30), st.floats(0, 60), st.floats(0.5, 30))
def test_warmer_wood_reads_too_wet(reading, wood, warmer):
    assert reading_at_calibration(reading, wood + warmer) < reading_at_calibration(reading, wood)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((14.0, 113.0), "wood_temp_c must lie between -40 and 110 °C.*113"),
        ((-1.0, 20.0), "reading_pct must lie between 0 and 500 %"),
        ((14.0, 20.0, 20.0, 5.6), "points_per_kelvin must lie between 0 and 1"),
    ],
)
def test_bad_inputs_are_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        reading_at_calibration(*arguments)
