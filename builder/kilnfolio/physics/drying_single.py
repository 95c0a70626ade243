"""One drying board in plain floats: the equations of `drying_board`, many times faster.

An array of one board takes as long as an array of a hundred, too long for a page with one board.
Tests compare this module with `drying_board` cell by cell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from kilnfolio.physics.drying_board import (
    CELLS,
    GAS_CONSTANT,
    LONGEST_STEP_H,
    REFERENCE_TEMP_K,
    Board,
)

_PASSES, _NEWTON, _SAME, _CLOSE = 2, 12, 1e-6, 1e-7
_LEAST_B = 1e-15


class SingleBoard:
    """The state of one drying board.

    Parameters
    ----------
    board : Board
        A single board: every field is a number.
    profile : sequence of float, optional
        MC from the face inward [%]; by default the board's start, in `CELLS` cells.

    Attributes
    ----------
    cells : list of float
        MC profile, from the face inward. [%]

    Raises
    ------
    ValueError
        If `board` stands for several boards.
    """

    def __init__(self, board: Board, profile: Sequence[float] | None = None) -> None:
        if board.shape:
            raise ValueError(f"board must be one board; received an array of {board.shape}")
        self.cells = (
            [float(mc) for mc in profile]
            if profile is not None
            else [float(board.initial_mc_pct)] * CELLS  # type: ignore[arg-type]
        )
        values = (
            board.thickness_mm,
            board.diffusivity_m2_s,
            board.face_m_s,
            board.mc_effect,
            board.activation_j_mol,
            board.fsp_pct,
        )
        thickness, self._d0, h0, self._b, activation, self._fsp = map(float, values)  # type: ignore[arg-type]
        self._width = thickness / 2000.0 / len(self.cells)
        self._warmth = activation / GAS_CONSTANT
        # so small that D is constant, but not 0, by which the integral of D divides
        self._b = self._b or _LEAST_B
        # of the half cell behind the face, relative to that of the face; D and h warm alike
        self._resistance = h0 * self._width / (2.0 * self._d0)
        self._emc: float | None = None
        self._last_face = self.cells[0]

    @property
    def mean(self) -> float:
        """Mean MC [%]."""
        return sum(self.cells) / len(self.cells)

    @property
    def face(self) -> float:
        """MC of the face itself [%]."""
        if self._emc is None:
            return self.cells[0]
        self._last_face = self._face(self._integral(self.cells[0]), self._emc)
        return self._last_face

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
        self._emc = emc = min(emc_pct, self._fsp)
        steps = math.ceil(hours / LONGEST_STEP_H - 1e-9)
        scale = 3600.0 * hours / steps * self._d0 * warmth / self._width**2
        for _ in range(steps):
            old = new = self.cells
            for _ in range(_PASSES):
                new = self._solved(old, new, scale, emc)
            self.cells = new

    def _integral(self, mc: float) -> float:
        """Return the integral of D, relative to its value at FSP, from FSP [point]."""
        above = mc - self._fsp
        return above if above >= 0.0 else math.expm1(self._b * above) / self._b

    def _slope(self, mc: float) -> float:
        return math.exp(self._b * min(mc - self._fsp, 0.0))

    def _solved(
        self, old: Sequence[float], at: Sequence[float], scale: float, emc: float
    ) -> list[float]:
        """Return the profile one time step after `old`, by backward Euler.

        The exchange between neighbours, per point of MC difference, is that at the profile `at`,
        times `scale` [-]. Elimination from the face inward expresses each cell's new MC as
        ``value + share * (new MC of the next cell)``.
        """
        b, fsp, expm1 = self._b, self._fsp, math.expm1
        first, inside = at[0], self._integral(at[0])
        flow = 2.0 * scale * self._through_face(first, inside, emc)
        value, share = emc, 0.0
        rows = []
        for mc, second in zip(old, at[1:], strict=False):
            apart, beyond = second - first, second - fsp
            if beyond < 0.0:  # as `_integral`, which takes as long to call as to compute
                beyond = expm1(b * beyond) / b
            onward = scale * (
                self._slope((first + second) / 2.0)
                if -_SAME < apart < _SAME
                else (beyond - inside) / apart
            )
            total = 1.0 + flow * (1.0 - share) + onward
            value, share = (mc + flow * value) / total, onward / total
            rows.append((value, share))
            first, inside, flow = second, beyond, onward
        later = (old[-1] + flow * value) / (1.0 + flow * (1.0 - share))
        new = [later]
        for value, share in reversed(rows):
            later = value + share * later
            new.append(later)
        new.reverse()
        return new

    def _through_face(self, mc: float, inside: float, emc: float) -> float:
        """Return the flow out of the outermost cell per point of MC above EMC.

        It is relative to that through half a cell at FSP; `inside` is the integral at `mc`.
        """
        drive, resistance = mc - emc, self._resistance
        if abs(drive) < _SAME:
            slope = self._slope(emc)
            return slope if math.isinf(resistance) else resistance * slope / (resistance + slope)
        if math.isinf(resistance):
            return (inside - self._integral(emc)) / drive
        self._last_face = face = self._face(inside, emc)
        return resistance * (min(face, self._fsp) - emc) / drive

    def _face(self, inside: float, emc: float) -> float:
        """Return the MC of the face beside a cell at whose MC the integral is `inside` [%]."""
        resistance, fsp, b = self._resistance, self._fsp, self._b
        if math.isinf(resistance):
            return emc
        # A face above FSP loses water at a constant rate, so its MC follows directly.
        wet = inside - resistance * (fsp - emc)
        if wet >= 0.0:
            return fsp + wet
        guess = min(self._last_face, fsp)
        for _ in range(_NEWTON):
            there = math.expm1(b * (guess - fsp)) / b
            miss = resistance * (guess - emc) - (inside - there)
            moved = min(max(guess - miss / (resistance + 1.0 + b * there), 0.0), fsp)
            # The error shrinks to less than b/2 times its square with each step.
            if abs(moved - guess) < _CLOSE:
                return moved
            guess = moved
        return guess
