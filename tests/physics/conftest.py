"""The reference tables and the steam tables for the physics suite."""

import csv
import math
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

REFERENCE = Path(__file__).parent.parent / "data" / "reference"


class Table:
    """One CSV of check values; its head says where the values come from."""

    def __init__(self, rows):
        self.rows = rows

    def __len__(self):
        return len(self.rows)

    def __getitem__(self, column):
        """A column as floats, NaN where the cell is blank or holds words."""
        return np.array([_number(row[column]) for row in self.rows])

    def where(self, **wanted):
        """The rows whose cells equal the words given."""
        kept = [row for row in self.rows if all(row[c] == v for c, v in wanted.items())]
        assert kept, f"no row of the table has {wanted}"
        return Table(kept)

    def filled(self, *columns):
        """The rows where all these columns hold a number."""
        kept = [row for row in self.rows if not any(math.isnan(_number(row[c])) for c in columns)]
        assert kept, f"no row of the table fills {columns}"
        return Table(kept)


def _number(cell):
    try:
        return float(cell)
    except ValueError:
        return math.nan


@pytest.fixture(scope="session")
def reference():
    """Return a function that reads one table of tests/data/reference by its name."""

    def read(name):
        lines = (REFERENCE / name).read_text(encoding="utf-8").splitlines()
        return Table(list(csv.DictReader(line for line in lines if not line.startswith("#"))))

    return read


class CoolProp(NamedTuple):
    """What the suite asks of CoolProp: properties of water, and of humid air."""

    water: Callable[..., float]
    air: Callable[..., float]


@pytest.fixture(scope="session")
def coolprop() -> CoolProp:
    """Return CoolProp's two functions; the library takes four seconds to load."""
    from CoolProp.CoolProp import PropsSI
    from CoolProp.HumidAirProp import HAPropsSI

    return CoolProp(PropsSI, HAPropsSI)
