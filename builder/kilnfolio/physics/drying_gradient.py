"""How steep the moisture in a board is, as shrinkage that its shell is denied.

A relative measure for comparing schedules. It is no stress: wood creeps, sets and checks in ways
that a profile does not tell.
"""

import numpy as np

from kilnfolio.physics._check import in_range
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying_board import Drying


def gradient_index(profile: Drying, shrinkage: float) -> Floats:
    """Return the free shrinkage denied to the shell by a core that is still wet.

    Parameters
    ----------
    profile : Drying
        A board through time, as from `drying.dry`.
    shrinkage : float
        Tangential shrinkage from green to oven-dry, 0 to 30. [%]

    Returns
    -------
    ndarray, shape (n, …)
        The index. [%] Positive while the shell would be narrower than the core lets it,
        negative where conditioning has made the shell the wetter, 0 for an even profile.

    Raises
    ------
    ValueError
        If `shrinkage` lies outside its range.

    Notes
    -----
    ``G = β [(FSP - u_face)⁺ - mean (FSP - u)⁺]``, β = shrinkage/FSP: each layer shrinks in
    proportion to its loss below FSP, and a board that stays flat shrinks by their mean. Nothing
    relaxes, so the index compares schedules and does not say what a board will stand.
    """
    total = float(in_range("shrinkage", shrinkage, 0, 30, "%"))
    fsp = profile.fsp_pct
    face = np.maximum(fsp - profile.face_pct, 0.0)
    mean = np.maximum(fsp[..., np.newaxis] - profile.cells_pct, 0.0).mean(axis=-1)
    return np.asarray(total / fsp * (face - mean))
