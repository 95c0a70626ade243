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

_PASSES, _NEWTON, _SAME = 2, 12, 1e-6


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
    face : float
        MC of the face itself. [%]

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
        thickness, self._d0, self._h0, self._b, activation, self._fsp = map(float, values)  # type: ignore[arg-type]
        self._width = thickness / 2000.0 / len(self.cells)
        self._warmth = activation / GAS_CONSTANT
        self.face = self.cells[0]

    @property
    def mean(self) -> float:
        """Mean MC [%]."""
        return sum(self.cells) / len(self.cells)

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
        conductance = self._d0 * warmth / self._width
        release, emc = self._h0 * warmth, min(emc_pct, self._fsp)
        resistance = release / (2.0 * conductance)
        steps = math.ceil(hours / LONGEST_STEP_H - 1e-9)
        ratio = 3600.0 * hours / steps / self._width
        for _ in range(steps):
            old, new = self.cells, self.cells
            for _ in range(_PASSES):
                flows = self._flows(new, ratio * conductance)
                outer = ratio * self._through_face(new[0], conductance, release, resistance, emc)
                new = _solved(old, flows, outer, emc)
            self.cells = new
        self.face = self._face(new[0], resistance, emc)

    def _integral(self, mc: float) -> float:
        """Return the integral of D, relative to its value at FSP, from FSP [point]."""
        above = mc - self._fsp
        if above >= 0.0 or self._b == 0.0:
            return above
        return math.expm1(self._b * above) / self._b

    def _slope(self, mc: float) -> float:
        return math.exp(self._b * min(mc - self._fsp, 0.0))

    def _flows(self, cells: Sequence[float], scale: float) -> list[float]:
        """Return the exchange between neighbours per point of MC difference [-]."""
        flows, first = [], cells[0]
        inside = self._integral(first)
        for second in cells[1:]:
            beyond = self._integral(second)
            apart = second - first
            flows.append(
                scale * self._slope((first + second) / 2.0)
                if -_SAME < apart < _SAME
                else scale * (beyond - inside) / apart
            )
            first, inside = second, beyond
        return flows

    def _through_face(
        self, mc: float, conductance: float, release: float, resistance: float, emc: float
    ) -> float:
        """Return the flow out of the outermost cell per point of MC above EMC [m/s]."""
        half, drive = 2.0 * conductance, mc - emc
        if abs(drive) < _SAME:
            inside = half * self._slope(emc)
            if math.isinf(release):
                return inside
            return release * inside / (release + inside)
        flow = self._integral(mc) - self._integral(self._face(mc, resistance, emc))
        return half * flow / drive

    def _face(self, mc: float, resistance: float, emc: float) -> float:
        """Return the MC of the face beside a cell of this MC [%]."""
        if math.isinf(resistance):
            return emc
        inside = self._integral(mc)
        # A face above FSP loses water at a constant rate, so its MC follows directly.
        wet = inside - resistance * (self._fsp - emc)
        if wet >= 0.0:
            return self._fsp + wet
        guess = min(mc, self._fsp)
        for _ in range(_NEWTON):
            there = self._integral(guess)
            miss = resistance * (guess - emc) - (inside - there)
            moved = guess - miss / (resistance + 1.0 + self._b * there)
            moved = min(max(moved, 0.0), self._fsp)
            if abs(moved - guess) < 1e-10:
                return moved
            guess = moved
        return guess


def _solved(old: Sequence[float], flows: Sequence[float], outer: float, emc: float) -> list[float]:
    """Return the next profile: solve (1 + flows) new = old by elimination from the face inward."""
    inner = [*flows, 0.0]
    diagonal, right = 1.0 + inner[0] + outer, old[0] + outer * emc
    diagonals, rights = [diagonal], [right]
    for i in range(1, len(old)):
        factor = inner[i - 1] / diagonal
        diagonal = 1.0 + inner[i - 1] + inner[i] - factor * inner[i - 1]
        right = old[i] + factor * right
        diagonals.append(diagonal)
        rights.append(right)
    new = [0.0] * len(old)
    later = 0.0
    for i in range(len(old) - 1, -1, -1):
        later = (rights[i] + inner[i] * later) / diagonals[i]
        new[i] = later
    return new
