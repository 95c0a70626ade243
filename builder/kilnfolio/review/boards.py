"""Sample boards: oven-dry estimates, MC with its uncertainty, controlling MC, daily loss."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kilnfolio.physics._check import MC_RANGE_PCT
from kilnfolio.physics.moisture import (
    controlling_boards,
    drying_rate,
    moisture_content,
    moisture_content_uncertainty,
    oven_dry_mass,
    oven_dry_uncertainty,
    section_mean_uncertainty,
)
from kilnfolio.records.charge import Board, Charge, Section

#: Coverage factor of an expanded uncertainty, about 95 % (JCGM 100:2008, 6.3.3).
COVERAGE = 2.0


def standard_from_resolution(resolution: float) -> float:
    """Return the standard uncertainty of a rounded reading (JCGM 100:2008, 4.3.7)."""
    return resolution / math.sqrt(12.0)


@dataclass(frozen=True)
class SectionMoisture:
    """MC of one moisture section [%], with its expanded uncertainty."""

    id: str
    green_g: float
    oven_dry_g: float
    mc_pct: float
    uncertainty_pct: float


@dataclass(frozen=True)
class Weighed:
    """A board at one weighing.

    `before_mc_pct` is its MC at the weighing before, by the oven-dry mass in use now, so that a
    corrected oven-dry mass is not taken for drying.
    """

    at: dt.datetime
    mass_g: float
    mc_pct: float
    uncertainty_pct: float
    daily_loss_pct: float | None
    before_mc_pct: float | None = None


@dataclass(frozen=True)
class Estimate:
    """One version of a board's oven-dry mass, from its first sections or from later ones.

    `oven_dry_error_g` is the standard uncertainty; `resection` counts from 0, None for the first.
    """

    at: dt.datetime
    resection: int | None
    sections: tuple[SectionMoisture, ...]
    mean_mc_pct: float
    mass_g: float
    oven_dry_g: float
    oven_dry_error_g: float


@dataclass(frozen=True)
class BoardHistory:
    """A board through the charge.

    The first version of the oven-dry mass stands here; `estimates` has all that can be used, and
    `points` are reckoned each with the latest before it.
    """

    board: Board
    sections: tuple[SectionMoisture, ...]
    mean_mc_pct: float
    oven_dry_g: float
    oven_dry_error_g: float
    points: tuple[Weighed, ...]
    estimates: tuple[Estimate, ...] = ()

    def at(self, moment: dt.datetime) -> Weighed | None:
        """Return the last weighing at or before a moment."""
        return next((point for point in reversed(self.points) if point.at <= moment), None)

    def estimate_at(self, moment: dt.datetime) -> Estimate:
        """Return the version of the oven-dry mass in use at a moment."""
        return estimate_at(self.estimates, moment)


def estimate_at(estimates: Sequence[Estimate], moment: dt.datetime) -> Estimate:
    """Return the latest of a board's estimates cut before a moment, or else the first."""
    return next((one for one in reversed(estimates) if one.at < moment), estimates[0])


@dataclass(frozen=True)
class Control:
    """The controlling MC at one weighing, and the boards that decide it."""

    at: dt.datetime
    mc_pct: float
    boards: tuple[str, ...]
    all_mc: dict[str, float]

    @property
    def wettest_pct(self) -> float:
        """MC of the wettest board [%]."""
        return max(self.all_mc.values())

    @property
    def driest_pct(self) -> float:
        """MC of the driest board [%]."""
        return min(self.all_mc.values())


def board_histories(charge: Charge) -> tuple[BoardHistory, ...]:
    """Return every sample board with its MC at each weighing.

    Boards whose masses make no sense (a mass below oven-dry) are kept; a check names them.
    """
    scale = standard_from_resolution(charge.scale_resolution.value) \
        if charge.scale_resolution else 0.0
    balance = standard_from_resolution(charge.balance_resolution.value) \
        if charge.balance_resolution else 0.0
    return tuple(_history(charge, board, scale, balance) for board in charge.boards)


def _history(charge: Charge, board: Board, scale_g: float, balance_g: float) -> BoardHistory:
    first = _estimate(board.weighed_at, None, board.sections, board.green_mass.value, scale_g,
                      balance_g)
    if first is None:
        return BoardHistory(board, (), math.nan, math.nan, math.nan, ())
    later = [_estimate(again.at, number, again.sections, again.board_mass.value, scale_g, balance_g)
             for number, again in enumerate(board.resections)]
    estimates = (first, *sorted((one for one in later if one), key=lambda one: one.at))
    weighed = [(board.weighed_at, board.green_mass.value)] + [
        (weighing.at, weighing.masses[board.id].value) for weighing in charge.weighings
        if board.id in weighing.masses and weighing.at > board.weighed_at]
    return BoardHistory(board, first.sections, first.mean_mc_pct, first.oven_dry_g,
                        first.oven_dry_error_g, tuple(_points(weighed, estimates, scale_g)),
                        estimates)


def _estimate(at: dt.datetime, resection: int | None, records: Sequence[Section], mass_g: float,
              scale_g: float, balance_g: float) -> Estimate | None:
    """Return the oven-dry mass of a board from its sections; None where none of them is usable."""
    sections = tuple(
        SectionMoisture(section.id, section.green.value, section.oven_dry.value,
                        moisture_content(section.green.value, section.oven_dry.value),
                        COVERAGE * moisture_content_uncertainty(
                            section.green.value, balance_g, section.oven_dry.value, balance_g))
        for section in records if possible(section.green.value, section.oven_dry.value))
    if not sections:
        return None
    mcs = [section.mc_pct for section in sections]
    mean = float(np.mean(mcs))
    spread = section_mean_uncertainty(mcs) if len(mcs) > 1 else 0.0
    return Estimate(at, resection, sections, mean, mass_g, oven_dry_mass(mass_g, mean),
                    oven_dry_uncertainty(mass_g, scale_g, mean, spread))


def possible(mass_g: float, dry_g: float) -> bool:
    """Return whether two masses give an MC: not below oven-dry, not beyond any wood."""
    return dry_g <= mass_g <= dry_g * (1.0 + MC_RANGE_PCT[1] / 100.0)


def _points(weighed: Sequence[tuple[dt.datetime, float]], estimates: Sequence[Estimate],
            scale_g: float) -> list[Weighed]:
    # `mass-below-oven-dry` or `wetter-than-wood-can-be` names the masses no MC can be had from
    usable = [(at, mass, used) for at, mass in weighed
              if possible(mass, (used := estimate_at(estimates, at)).oven_dry_g)]
    if not usable:
        return []
    masses, dry = (np.array([mass for _, mass, _ in usable]),
                   np.array([used.oven_dry_g for *_, used in usable]))
    dry_errors = np.array([used.oven_dry_error_g for *_, used in usable])
    hours = np.diff([at.timestamp() for at, *_ in usable]) / 3600.0
    mcs = np.atleast_1d(moisture_content(masses, dry))
    errors = COVERAGE * np.atleast_1d(
        moisture_content_uncertainty(masses, scale_g, dry, dry_errors))
    before: list[float | None] = [None]
    losses: list[float | None] = [None]
    if len(hours):
        # a board wetter than any wood by its later oven-dry mass is dry by no more than that
        from_mcs = np.clip(100.0 * (masses[:-1] / dry[1:] - 1.0), *MC_RANGE_PCT)
        before += from_mcs.tolist()
        losses += drying_rate(from_mcs, mcs[1:], hours).tolist()
    return [Weighed(at, mass, mc, error, loss, earlier) for (at, mass, _), mc, error, loss, earlier
            in zip(usable, mcs.tolist(), errors.tolist(), losses, before, strict=True)]


def controls(charge: Charge, histories: Sequence[BoardHistory]) -> tuple[Control, ...]:
    """Return the controlling MC at every weighing, boards re-ranked each time."""
    found = []
    moments = sorted({point.at for history in histories for point in history.points})
    weighings = [weighing.at for weighing in charge.weighings]
    for at in (moments if not weighings else [m for m in moments if m in set(weighings)]):
        mcs = {history.board.id: point.mc_pct for history in histories
               for point in history.points if point.at == at}
        if mcs:
            found.append(_control(at, mcs, charge.control_rule))
    if histories and all(history.points for history in histories):
        # the boards as cut: the state the charge started from
        first = {history.board.id: history.points[0].mc_pct for history in histories}
        start = max(history.points[0].at for history in histories)
        if not found or start < found[0].at:
            found.insert(0, _control(start, first, charge.control_rule))
    return tuple(found)


def _control(at: dt.datetime, mcs: dict[str, float], rule: str) -> Control:
    names = list(mcs)
    ranked = [names[i] for i in controlling_boards(list(mcs.values()))]
    if rule == "wettest board":
        ranked = ranked[:1]
    elif rule == "mean":
        ranked = sorted(names, key=lambda name: -mcs[name])
    return Control(at, float(np.mean([mcs[name] for name in ranked])), tuple(ranked), mcs)


def control_at(controls: Sequence[Control], moment: dt.datetime) -> Control | None:
    """Return the last controlling MC at or before a moment."""
    return next((control for control in reversed(controls) if control.at <= moment), None)
