"""One drying board in plain floats: the equations of `drying_board`, many times faster.

An array of one board takes as long as an array of a hundred, too long for a page with one board.
Tests compare this module with `drying_board` cell by cell.

MC is carried as ``y = b (u - FSP)``, with which D/D₀ is exp(y) below FSP and 1 above, and the
integral of D from FSP is expm1(y) below and y above, both times b and relative to D₀.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from kilnfolio.physics.drying_board import (
    CELLS,
    GAS_CONSTANT,
    LONGEST_STEP_H,
    REFERENCE_TEMP_K,
    Board,
    Drying,
)

_PASSES, _HALLEY, _SAME = 2, 20, 1e-6

_CLOSE = 1e-5
"""A step in y no longer than this ends the iteration for the face.

The error is then less than a sixth of the step's cube, which is below the last bit.
"""

_LEAST_B = 1e-15


class SingleBoard:
    """The state of one drying board.

    Parameters
    ----------
    board : Board
        A single board: every field is a number.
    profile : sequence of float, optional
        MC from the face inward [%]; by default the board's start, in `CELLS` cells.

    Raises
    ------
    ValueError
        If `board` stands for several boards.
    """

    def __init__(self, board: Board, profile: Sequence[float] | None = None) -> None:
        if board.shape:
            raise ValueError(f"board must be one board; received an array of {board.shape}")
        values = (
            board.thickness_mm,
            board.diffusivity_m2_s,
            board.face_m_s,
            board.mc_effect,
            board.activation_j_mol,
            board.fsp_pct,
            board.initial_mc_pct,
        )
        thickness, d0, h0, b, activation, self._fsp, start = map(float, values)  # type: ignore[arg-type]
        # so small that D is constant, but not 0, by which the integral of D divides
        self._b = b or _LEAST_B
        mcs = [start] * CELLS if profile is None else profile
        self._cells = [self._b * (float(mc) - self._fsp) for mc in mcs]
        width = thickness / 2000.0 / len(self._cells)
        self._exchange = 3600.0 * d0 / width**2  # of a cell at FSP with the next, each hour
        self._warmth = activation / GAS_CONSTANT
        # of the half cell behind the face, relative to that of the face; D and h warm alike
        self._resistance = h0 * width / (2.0 * d0)
        self._same = self._b * _SAME
        self._emc: float | None = None
        self._last_face = self._cells[0]
        self._noted: list[float] = []
        self._noted_faces: list[float] = []

    @property
    def cells(self) -> list[float]:
        """MC profile, from the face inward [%]."""
        return [self._fsp + y / self._b for y in self._cells]

    @property
    def mean(self) -> float:
        """Mean MC [%]."""
        return self._fsp + sum(self._cells) / (self._b * len(self._cells))

    @property
    def face(self) -> float:
        """MC of the face itself [%]."""
        return self._fsp + self._face_now() / self._b

    def note(self) -> None:
        """Keep the present profile and face for `noted`."""
        self._noted += self._cells
        self._noted_faces.append(self._face_now())

    def noted(self, hours: Sequence[float]) -> Drying:
        """Return the course of drying as it was noted.

        Parameters
        ----------
        hours : sequence of float, shape (n,)
            The time of each note. [h]
        """
        cells = np.array(self._noted).reshape(len(hours), -1)
        profiles, faces = (self._fsp + y / self._b for y in (cells, np.array(self._noted_faces)))
        return Drying(np.array(hours), profiles, faces, np.asarray(self._fsp))

    def advance(self, hours: float, dry_bulb_c: float, emc_pct: float) -> None:
        """Dry the board in constant air; see `drying_board.advance`.

        Parameters
        ----------
        hours : float
            Duration, above 0; divided into equal steps of at most `LONGEST_STEP_H`. [h]
        dry_bulb_c, emc_pct : float
            The air. [°C] [%]

        Raises
        ------
        ValueError
            If `hours` lies outside its range.
        """
        if not 0.0 < hours <= 1e5:
            raise ValueError(f"hours must lie above 0, at most 1e5 h; received {hours!r}")
        warmth = math.exp(self._warmth * (1.0 / REFERENCE_TEMP_K - 1.0 / (dry_bulb_c + 273.15)))
        self._emc = emc = self._b * min(emc_pct - self._fsp, 0.0)
        steps = math.ceil(hours / LONGEST_STEP_H - 1e-9)
        scale = hours / steps * self._exchange * warmth
        for _ in range(steps):
            old = new = self._cells
            for _ in range(_PASSES):
                new = self._solved(old, new, scale, emc)
            self._cells = new

    def _solved(
        self, old: Sequence[float], at: Sequence[float], scale: float, emc: float
    ) -> list[float]:
        """Return the profile one time step after `old`, by backward Euler.

        The exchange between neighbours, per unit of difference, is that at the profile `at`,
        times `scale` [-]. Elimination from the face inward leaves of each cell's equation
        ``(held + onward) * new = water + onward * (new of the next cell)``.
        """
        expm1, same = math.expm1, self._same
        cells = zip(old, at)  # noqa: B905  the keyword would take a tenth of this function
        before, first = next(cells)
        # as `_integral`, which takes longer to call than to compute
        inside = expm1(first) if first < 0.0 else first
        flow = 2.0 * scale * self._through_face(first, inside, emc)
        held, water = 1.0 + flow, before + flow * emc
        rows = []
        for before, second in cells:
            beyond = expm1(second) if second < 0.0 else second
            apart = second - first
            if apart > same or apart < -same:
                onward = scale * (beyond - inside) / apart
            else:
                onward = scale * _slope((first + second) / 2.0)
            total = held + onward
            share = onward / total
            rows.append((water / total, share))
            held, water = 1.0 + share * held, before + share * water
            first, inside = second, beyond
        later = water / held
        new = [later]
        for value, share in reversed(rows):
            later = value + share * later
            new.append(later)
        new.reverse()
        return new

    def _through_face(self, cell: float, inside: float, emc: float) -> float:
        """Return the flow out of the outermost cell per unit of difference from EMC.

        It is relative to that through half a cell at FSP; `inside` is the integral at `cell`.
        """
        drive, resistance = cell - emc, self._resistance
        if abs(drive) < self._same:
            slope = _slope(emc)
            return slope if resistance == math.inf else resistance * slope / (resistance + slope)
        if resistance == math.inf:
            return (inside - _integral(emc)) / drive
        self._last_face = face = self._face(inside, emc)
        return resistance * ((face if face < 0.0 else 0.0) - emc) / drive

    def _face_now(self) -> float:
        if self._emc is None:
            return self._cells[0]
        self._last_face = self._face(_integral(self._cells[0]), self._emc)
        return self._last_face

    def _face(self, inside: float, emc: float) -> float:
        """Return y of the face beside a cell at which the integral is `inside`.

        The face loses what reaches it: ``resistance (y - emc) = inside - expm1(y)``.
        """
        resistance = self._resistance
        if resistance == math.inf:
            return emc
        # A face above FSP loses water at a constant rate, so its MC follows directly.
        wet = inside + resistance * emc
        if wet >= 0.0:
            return wet
        face = self._last_face if self._last_face < 0.0 else 0.0
        for _ in range(_HALLEY):
            there = math.expm1(face)
            slope = resistance + 1.0 + there
            step = (resistance * face + there - wet) / slope
            if step < 1.0:  # far above the root, Halley's term would point away from it
                step /= 1.0 - 0.5 * step * (1.0 + there) / slope
            face -= step
            if face > 0.0:  # the root lies below FSP
                face = 0.0
            if abs(step) < _CLOSE:
                break
        return face


def _integral(y: float) -> float:
    """Return the integral of D from FSP, times b and relative to D₀ [-]."""
    return math.expm1(y) if y < 0.0 else y


def _slope(y: float) -> float:
    """Return D relative to its value at FSP [-]."""
    return math.exp(y) if y < 0.0 else 1.0
