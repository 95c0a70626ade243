"""The moisture gradient in a board, expressed as the shrinkage its shell is prevented from.

It is a relative measure for comparing schedules, not a stress: wood creeps, sets and checks in ways
that a moisture profile does not show.
"""

import numpy as np

from kilnfolio.physics._check import in_range
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying_board import Drying


def gradient_index(profile: Drying, shrinkage: float) -> Floats:
    """Return the free shrinkage of the shell that a still wet core prevents.

    Parameters
    ----------
    profile : Drying
        The course of a board, as from `drying.dry`.
    shrinkage : float
        Tangential shrinkage from green to oven-dry, 0 to 30. [%]

    Returns
    -------
    ndarray, shape (n, …)
        The index. [%] Positive while the core keeps the shell from shrinking, negative where
        conditioning has made the shell wetter than the core, 0 for a uniform profile.

    Raises
    ------
    ValueError
        If `shrinkage` lies outside its range.

    Notes
    -----
    ``G = β [(FSP - u_face)⁺ - mean (FSP - u)⁺]``, β = shrinkage/FSP: each layer shrinks in
    proportion to its loss below FSP, and a board that stays flat shrinks by their mean. Relaxation
    is ignored, so the index compares schedules and does not say what a board can withstand.
    """
    total = float(in_range("shrinkage", shrinkage, 0, 30, "%"))
    fsp = profile.fsp_pct
    face = np.maximum(fsp - profile.face_pct, 0.0)
    mean = np.maximum(fsp[..., np.newaxis] - profile.cells_pct, 0.0).mean(axis=-1)
    return np.asarray(total / fsp * (face - mean))
