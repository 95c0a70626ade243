"""The median agrees with numpy's to the last bit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnfolio.records.middle import median

FLOATS = st.floats(-1e300, 1e300)


@given(st.lists(FLOATS | st.integers(-(2**52), 2**52), min_size=1, max_size=40))
def test_it_is_numpys_to_the_last_bit(values):
    assert median(values).hex() == float(np.median(values)).hex()


@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # numpy's, of no values
@pytest.mark.parametrize("values", [[], [np.nan], [1.0, np.nan, 3.0]])
def test_there_is_none_without_numbers(values):
    assert np.isnan(median(values))
    assert np.isnan(np.median(values))
