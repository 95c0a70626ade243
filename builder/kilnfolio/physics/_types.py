"""The types the physics speaks in."""

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
"""An array of floats, checked; what the equations themselves work on."""

FloatOrArray: TypeAlias = Any
"""What a function gives back: a float if it was given scalars, an array of floats otherwise.

Python's types cannot say "as the arguments were" short of an overload of every function.
"""
