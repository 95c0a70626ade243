"""The red-oak formula against its table and the published time of a whole schedule."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from kilnfolio.physics import air, sorption
from kilnfolio.physics.drying import red_oak_days, temperature_factor

DATA = Path(__file__).parent.parent / "data" / "drying"

#: T4-D2, AH-188 tables 7 and 8: until MC [%], dry bulb [°C], depression [K].
T4_D2 = [
    (50, 43.3, 2.2),
    (40, 43.3, 2.8),
    (35, 43.3, 4.4),
    (30, 43.3, 7.8),
    (25, 48.9, 16.7),
    (20, 54.4, 27.8),
    (15, 60.0, 27.8),
    (6, 82.2, 27.8),
]


def test_the_formula_reproduces_the_grid():
    """160 rows computed from the formula with saturation pressure by Buck: to 1 %."""
    with (DATA / "red_oak_formula.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 160
    columns = ("thickness_mm", "dry_bulb_c", "from_mc_pct", "to_mc_pct", "emc_pct")
    found = red_oak_days(*(np.array([float(row[c]) for row in rows]) for c in columns))
    np.testing.assert_allclose(found, [float(row["days"]) for row in rows], rtol=0.01)


def test_a_charge_of_red_oak_lies_within_the_published_days():
    """4/4 red oak, green to 6 %, kiln: 16 to 28 days (FPL Technical Note 233, from memory).

    Weighed once a day, and stepped once the MC has come down to the step's end.
    """
    mc, days, step = 80.0, 0, 0
    while mc > 6.0:
        _, dry_bulb, depression = T4_D2[step]
        emc = sorption.equilibrium_moisture_content(
            dry_bulb, air.relative_humidity(dry_bulb, dry_bulb - depression)
        )
        mc = brentq(
            lambda end, mc=mc, emc=emc, dry_bulb=dry_bulb: (
                red_oak_days(25.4, dry_bulb, mc, end, emc) - 1.0
            ),
            emc + 1e-9,
            mc,
        )
        days += 1
        while step < len(T4_D2) - 1 and mc <= T4_D2[step][0]:
            step += 1
    assert 16 <= days <= 28


def test_the_temperature_effect_is_one_at_45_degrees_and_grows():
    assert temperature_factor(45.0) == pytest.approx(1.0)
    assert (np.diff(temperature_factor(np.linspace(20, 90, 30))) > 0).all()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((25.4, 45.0, 80.0, 10.0, 12.0), "MC must fall"),
        ((25.4, 45.0, 10.0, 20.0, 5.0), "MC must fall"),
        ((2.0, 45.0, 80.0, 10.0, 5.0), "thickness_mm"),
        ((25.4, 145.0, 80.0, 10.0, 5.0), "temp_c"),
    ],
)
def test_bad_inputs_are_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        red_oak_days(*arguments)
