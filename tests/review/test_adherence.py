"""What a course keeps for some tolerances does not depend on the others."""

from dataclasses import replace

import numpy as np
import pytest
from tests.review.inline import both, make_case, moved

from kilnfolio.review.adherence import ADHERENCE_LIMITS, Adherence, Tolerance

#: Air that is too hot, too cold, too dry and too humid for a while, at the checking stage and later.
UNSTEADY = both(
    moved("dry-bulb", 30, 4, by=2.0),
    moved("dry-bulb", 60, 5, by=-3.0),
    moved("wet-bulb", 80, 6, by=1.5),
    moved("wet-bulb", 100, 5, by=-2.5),
    moved("wet-bulb", 160, 8, by=-3.0),
)


def worked_out(course, tolerance):
    """Return all that checks read of an adherence."""
    found = Adherence(course, tolerance)
    over = found.over_dry_bulb
    assert over is not None
    return [
        over,
        found.over_depression,
        found.within,
        *found.settled_in_steps,
        *(one for side in found.masks.items() for one in side),
    ]


@pytest.fixture(scope="module")
def case():
    return make_case(log=UNSTEADY)


def test_what_is_kept_for_other_tolerances_is_what_is_worked_out_anew(case):
    today = Tolerance(*map(case.limits.value, ADHERENCE_LIMITS))
    kept = replace(case._course, known={})
    worked_out(kept, today)
    differing = set()
    for field, value in today._asdict().items():
        for factor in (0.0, 0.3, 0.7, 1.5, 4.0):
            tolerance = today._replace(**{field: factor * value})
            now = worked_out(kept, tolerance)
            anew = worked_out(replace(kept, known={}), tolerance)
            assert len(now) == len(anew)
            for one, other in zip(now, anew, strict=True):
                assert np.array_equal(one, other, equal_nan=not isinstance(one, str))
            if str(now) != str(worked_out(kept, today)):
                differing.add(field)
    assert differing == set(today._fields)
