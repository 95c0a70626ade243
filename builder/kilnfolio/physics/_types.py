"""Types shared by the physics modules."""

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
"""An array of floats after checking, as the equations use it."""

FloatOrArray: TypeAlias = Any
"""A result: a float for scalar arguments, otherwise an array of floats.

Type hints could express this dependence only with overloads of every function.
"""
