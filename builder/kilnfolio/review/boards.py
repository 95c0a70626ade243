"""Sample boards: oven-dry estimates, MC with its uncertainty, controlling MC, daily loss."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

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
from kilnfolio.records.charge import Board, Charge
from kilnfolio.runtime.values import dataclass

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


class Weighed(NamedTuple):
    """A board at one weighing.

    `before_mc_pct` is its MC at the previous weighing, computed with the oven-dry mass now in use,
    so that a corrected oven-dry mass is not mistaken for drying.
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
    """A sample board throughout the charge.

    The oven-dry mass here is the first version; `estimates` has all usable ones, and each of
    `points` is computed with the latest one before it.
    """

    board: Board
    sections: tuple[SectionMoisture, ...]
    mean_mc_pct: float
    oven_dry_g: float
    oven_dry_error_g: float
    points: tuple[Weighed, ...]
    estimates: tuple[Estimate, ...] = ()

    def at(self, moment: dt.datetime) -> Weighed | None:
        """Return the last weighing at or before a given time."""
        return next((point for point in reversed(self.points) if point.at <= moment), None)

    def estimate_at(self, moment: dt.datetime) -> Estimate:
        """Return the version of the oven-dry mass in use at a given time."""
        return estimate_at(self.estimates, moment)


def estimate_at(estimates: Sequence[Estimate], moment: dt.datetime) -> Estimate:
    """Return the latest of a board's estimates cut before a given time, or else the first."""
    if len(estimates) == 1:
        return estimates[0]
    return next((one for one in reversed(estimates) if one.at < moment), estimates[0])


@dataclass(frozen=True)
class Control:
    """The controlling MC at one weighing, and the boards that determine it."""

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

    Boards with impossible masses (below oven-dry) are kept; a check reports them.
    """
    scale = (
        standard_from_resolution(charge.scale_resolution.value) if charge.scale_resolution else 0.0
    )
    balance = (
        standard_from_resolution(charge.balance_resolution.value)
        if charge.balance_resolution
        else 0.0
    )
    estimates = _estimates(charge, _section_moistures(charge, balance), scale)
    points = _points(charge, estimates, scale)
    return tuple(_history(board, estimates[board.id], points[board.id]) for board in charge.boards)


def _history(board: Board, estimates: tuple[Estimate, ...], points: list[Weighed]) -> BoardHistory:
    if not estimates:
        return BoardHistory(board, (), math.nan, math.nan, math.nan, ())
    first = estimates[0]
    return BoardHistory(
        board,
        first.sections,
        first.mean_mc_pct,
        first.oven_dry_g,
        first.oven_dry_error_g,
        tuple(points),
        estimates,
    )


#: Key of the sections behind an oven-dry mass: the board, and which re-section (None: the first).
_Cut = tuple[str, int | None]


def _section_moistures(charge: Charge, balance_g: float) -> dict[_Cut, list[SectionMoisture]]:
    """Return the usable sections of every board, computed for the whole charge at once."""
    cuts = [
        ((board.id, number), sections)
        for board in charge.boards
        for number, sections in [
            (None, board.sections),
            *((n, again.sections) for n, again in enumerate(board.resections)),
        ]
    ]
    usable = [
        (cut, section.id, section.green.value, section.oven_dry.value)
        for cut, sections in cuts
        for section in sections
        if possible(section.green.value, section.oven_dry.value)
    ]
    found: dict[_Cut, list[SectionMoisture]] = {cut: [] for cut, _ in cuts}
    if not usable:
        return found
    green, dry = np.array([one[2:] for one in usable]).T
    mcs = np.atleast_1d(moisture_content(green, dry))
    errors = COVERAGE * np.atleast_1d(
        moisture_content_uncertainty(green, balance_g, dry, balance_g)
    )
    for (cut, name, wet_g, dry_g), mc, error in zip(
        usable, mcs.tolist(), errors.tolist(), strict=True
    ):
        found[cut].append(SectionMoisture(name, wet_g, dry_g, mc, error))
    return found


def _estimates(
    charge: Charge, sections: dict[_Cut, list[SectionMoisture]], scale_g: float
) -> dict[str, tuple[Estimate, ...]]:
    """Return the versions of every board's oven-dry mass, oldest first; empty without the first."""
    cut = [
        (board.id, number, at, mass)
        for board in charge.boards
        if sections[board.id, None]
        for number, at, mass in [
            (None, board.weighed_at, board.green_mass.value),
            *(
                (number, again.at, again.board_mass.value)
                for number, again in enumerate(board.resections)
            ),
        ]
        if sections[board.id, number]
    ]
    found: dict[str, list[Estimate]] = {board.id: [] for board in charge.boards}
    if not cut:
        return dict.fromkeys(found, ())
    mcs = [[section.mc_pct for section in sections[one[:2]]] for one in cut]
    means = np.array([sum(own) / len(own) for own in mcs])
    by_balance = [
        [section.uncertainty_pct / COVERAGE for section in sections[one[:2]]] for one in cut
    ]
    spreads = np.zeros(len(cut))
    for count in {len(own) for own in mcs}:  # boards with the same number of sections together
        alike = [place for place, own in enumerate(mcs) if len(own) == count]
        spreads[alike] = section_mean_uncertainty(
            np.array([mcs[place] for place in alike]),
            np.array([by_balance[place] for place in alike]),
        )
    masses = np.array([mass for *_, mass in cut])
    dry = oven_dry_mass(masses, means)
    errors = oven_dry_uncertainty(masses, scale_g, means, spreads)
    for (name, number, at, mass), mean, dry_g, error_g in zip(
        cut, means.tolist(), dry.tolist(), errors.tolist(), strict=True
    ):
        found[name].append(
            Estimate(at, number, tuple(sections[name, number]), mean, mass, dry_g, error_g)
        )
    return {
        name: (*own[:1], *sorted(own[1:], key=lambda one: one.at)) for name, own in found.items()
    }


def possible(mass_g: float, dry_g: float) -> bool:
    """Return whether two masses give a possible MC: not below oven-dry, nor beyond any wood."""
    return dry_g <= mass_g <= dry_g * (1.0 + MC_RANGE_PCT[1] / 100.0)


def _weighed(charge: Charge, board: Board) -> list[tuple[dt.datetime, float]]:
    """Return a board's masses by time, from the mass when it was cut [g]."""
    return [(board.weighed_at, board.green_mass.value)] + [
        (weighing.at, weighing.masses[board.id].value)
        for weighing in charge.weighings
        if board.id in weighing.masses and weighing.at > board.weighed_at
    ]


def _points(
    charge: Charge, estimates: dict[str, tuple[Estimate, ...]], scale_g: float
) -> dict[str, list[Weighed]]:
    """Return every board's MC at each weighing, computed for all boards at once."""
    # the checks `mass-below-oven-dry` and `wetter-than-wood-can-be` report masses without an MC
    usable = [
        (board.id, at, mass, used)
        for board in charge.boards
        if estimates[board.id]
        for at, mass in _weighed(charge, board)
        if possible(mass, (used := estimate_at(estimates[board.id], at)).oven_dry_g)
    ]
    points: dict[str, list[Weighed]] = {board.id: [] for board in charge.boards}
    if not usable:
        return points
    masses, dry, dry_errors, seconds = np.array(
        [
            (mass, used.oven_dry_g, used.oven_dry_error_g, at.timestamp())
            for _, at, mass, used in usable
        ]
    ).T
    mcs = np.atleast_1d(moisture_content(masses, dry))
    errors = COVERAGE * np.atleast_1d(
        moisture_content_uncertainty(masses, scale_g, dry, dry_errors)
    )
    # by its later oven-dry mass a board may seem wetter than any wood
    before = np.clip(100.0 * (masses[:-1] / dry[1:] - 1.0), *MC_RANGE_PCT)
    hours = np.diff(seconds) / 3600.0
    follows = np.array([one[0] == next_[0] for one, next_ in pairwise(usable)], bool)
    losses = np.full(len(hours), np.nan)
    losses[follows] = drying_rate(before[follows], mcs[1:][follows], hours[follows])
    rows = zip(
        usable,
        mcs.tolist(),
        errors.tolist(),
        [False, *follows.tolist()],
        [math.nan, *losses.tolist()],
        [math.nan, *before.tolist()],
        strict=True,
    )
    for (name, at, mass, _), mc, error, after, loss, earlier in rows:
        points[name].append(
            Weighed(at, mass, mc, error, loss if after else None, earlier if after else None)
        )
    return points


def controls(
    charge: Charge,
    histories: Sequence[BoardHistory],
    pins: Mapping[dt.datetime, Mapping[str, float]] | None = None,
) -> tuple[Control, ...]:
    """Return the controlling MC at every weighing, ranking the boards anew each time.

    Parameters
    ----------
    charge : Charge
        The charge; its rounds by meter count like weighings.
    histories : sequence of BoardHistory
        The histories of its boards.
    pins : mapping, optional
        MC from pins in the timber, by time and channel [%]; used when no board was weighed or read
        by meter.
    """
    by_moment: dict[dt.datetime, dict[str, float]] = {}
    for history in histories:
        for point in history.points:
            by_moment.setdefault(point.at, {})[history.board.id] = point.mc_pct
    metered = [one for one in charge.mc_rounds if one.method != "as recorded"]
    for one in metered:  # meter readings fill in for boards that were not weighed
        for tag, mc in one.mc.items():
            by_moment.setdefault(one.at, {}).setdefault(tag, mc.value)
    weighings = {weighing.at for weighing in charge.weighings} | {one.at for one in metered}
    if not by_moment and pins:
        by_moment = {at: dict(mcs) for at, mcs in pins.items()}
    found = [(at, by_moment[at]) for at in sorted(by_moment) if not weighings or at in weighings]
    if histories and all(history.points for history in histories):
        # the boards as cut: the initial state of the charge
        first = {history.board.id: history.points[0].mc_pct for history in histories}
        start = max(history.points[0].at for history in histories)
        if not found or start < found[0][0]:
            found.insert(0, (start, first))
    return tuple(_controls(found, charge.control_rule))


def _controls(found: list[tuple[dt.datetime, dict[str, float]]], rule: str) -> Iterator[Control]:
    """Yield the controlling MC at each time; weighings with as many boards are ranked together."""
    for _, together in groupby(found, key=lambda one: len(one[1])):
        own = list(together)
        ranks = controlling_boards(np.array([list(mcs.values()) for _, mcs in own]))
        for (at, mcs), rank in zip(own, ranks.tolist(), strict=True):
            names = list(mcs)
            ranked = [names[place] for place in rank]
            if rule == "wettest board":
                ranked = ranked[:1]
            elif rule == "mean":
                ranked = sorted(names, key=lambda name: -mcs[name])
            yield Control(at, sum(mcs[name] for name in ranked) / len(ranked), tuple(ranked), mcs)


def control_at(controls: Sequence[Control], moment: dt.datetime) -> Control | None:
    """Return the last controlling MC at or before a given time."""
    return next((control for control in reversed(controls) if control.at <= moment), None)
