"""What a mill's charges say, taken together, about its kilns and its schedules.

Made from finished reviews and their records; nothing is recomputed from a log here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import fmean

from kilnfolio.records.charge import Charge
from kilnfolio.review.dossier import AirResult, Dossier, WickIndex


@dataclass(frozen=True)
class KilnCharge:
    """What one charge says of its kiln."""

    charge: str
    started: dt.datetime
    wick: WickIndex | None
    zone_spread_k: float | None
    """Entering and leaving air apart, median [K]."""
    zone_spread_most_k: float | None
    """... in the worst twentieth of readings [K]."""
    dry_bulb_over_kh: float | None
    """Dry bulb above what was asked [K h]."""
    depression_over_kh: float | None
    """Depression above what was asked [K h]."""
    hours: float
    """Logged hours."""


@dataclass(frozen=True)
class WetSpot:
    """How a position lies against the mean of its surveys."""

    position: str
    points: float
    """Mean of its readings, each against its own survey's mean [points of MC]."""
    readings: int


@dataclass(frozen=True)
class KilnEvidence:
    """What a kiln's charges say of it, the newest first."""

    kiln: str
    charges: tuple[KilnCharge, ...]
    wet_spots: tuple[WetSpot, ...]
    surveys: int
    """Surveys the wet spots are had from."""


@dataclass(frozen=True)
class DefectShare:
    """A defect over all charges that were graded for it."""

    defect: str
    pieces: int
    of: int

    @property
    def share_pct(self) -> float:
        """Share of the pieces looked at [%]."""
        return 100.0 * self.pieces / self.of


@dataclass(frozen=True)
class ScheduleEvidence:
    """What the mill's own charges say of one revision of a schedule, for one thickness of stock."""

    schedule: str
    revision: int
    species: str
    """Id of the species."""
    thickness: str
    """As entered."""
    charges: tuple[str, ...]
    days: tuple[float, ...]
    """Heating to end, of each charge."""
    final_sds: tuple[float, ...]
    """Standard deviation of each final survey [points]."""
    defects: tuple[DefectShare, ...]

    @property
    def mean_days(self) -> float:
        """Mean time from heating to end [days]."""
        return fmean(self.days)

    @property
    def pooled_sd_pct(self) -> float | None:
        """Root mean square of the surveys' standard deviations [points]; None without a survey."""
        return fmean(sd**2 for sd in self.final_sds) ** 0.5 if self.final_sds else None


def kiln_evidence(kiln: str, positions: Iterable[str], dossiers: Iterable[Dossier]) -> KilnEvidence:
    """Return what the charges of a kiln say of it.

    Parameters
    ----------
    kiln : str
        Its id.
    positions : iterable of str
        Its pack positions, from the door inward; others follow in order of name.
    dossiers : iterable of Dossier
        Reviews; those of other kilns are left out.
    """
    own = sorted((dossier for dossier in dossiers if dossier.kiln == kiln),
                 key=lambda dossier: (dossier.started, dossier.charge), reverse=True)
    spots, surveys = _wet_spots(own, tuple(positions))
    return KilnEvidence(kiln, tuple(_kiln_charge(dossier, dossier.air) for dossier in own
                                    if dossier.air), spots, surveys)


def _kiln_charge(dossier: Dossier, air: AirResult) -> KilnCharge:
    return KilnCharge(dossier.charge, dossier.started, air.wick, air.zone_spread_k,
                      air.zone_spread_most_k, air.dry_bulb_over_kh, air.depression_over_kh,
                      air.logged_hours)


def _wet_spots(dossiers: Iterable[Dossier], order: tuple[str, ...]
               ) -> tuple[tuple[WetSpot, ...], int]:
    found: dict[str, list[float]] = {}
    surveys = 0
    for dossier in dossiers:
        survey = dossier.survey
        if survey is None or not any(survey.positions):
            continue
        surveys += 1
        for position, mc in zip(survey.positions, survey.readings, strict=True):
            if position:
                found.setdefault(position, []).append(mc - survey.mean_pct)
    names = [*order, *sorted(set(found) - set(order))]
    return tuple(WetSpot(name, round(fmean(found[name]), 2), len(found[name]))
                 for name in names if name in found), surveys


def schedule_evidence(schedule: str, charges: Mapping[str, Charge],
                      dossiers: Mapping[str, Dossier]) -> tuple[ScheduleEvidence, ...]:
    """Return what the mill's charges say of a schedule, by revision and stock.

    Parameters
    ----------
    schedule : str
        Its id.
    charges : mapping of str to Charge
        The mill's records.
    dossiers : mapping of str to Dossier
        Their reviews; a charge without one is left out.

    Returns
    -------
    tuple of ScheduleEvidence
        The newest revision first. A mixed load stands under its first stock: its time and spread
        belong to all of it.
    """
    groups: dict[tuple[int, str, str], list[Charge]] = {}
    for charge in charges.values():
        if charge.schedule == schedule and charge.id in dossiers:
            stock = charge.stock[0]
            key = (charge.schedule_revision, stock.species, stock.thickness.entered)
            groups.setdefault(key, []).append(charge)
    keys = sorted(groups, key=lambda key: (-key[0], *key[1:]))
    return tuple(_evidence(schedule, key, groups[key], dossiers) for key in keys)


def _evidence(schedule: str, key: tuple[int, str, str], charges: list[Charge],
              dossiers: Mapping[str, Dossier]) -> ScheduleEvidence:
    charges = sorted(charges, key=lambda charge: charge.started)
    surveys = [dossiers[charge.id].survey for charge in charges]
    return ScheduleEvidence(
        schedule, *key, tuple(charge.id for charge in charges),
        tuple(round((charge.ended - charge.started).total_seconds() / 86400.0, 1)
              for charge in charges),
        tuple(survey.sd_pct for survey in surveys if survey and survey.n > 1), _defects(charges))


def _defects(charges: Iterable[Charge]) -> tuple[DefectShare, ...]:
    pieces: dict[str, list[int]] = {}
    for charge in charges:
        for count in charge.defects:
            sums = pieces.setdefault(count.defect, [0, 0])
            sums[0] += count.pieces
            sums[1] += count.of
    return tuple(DefectShare(defect, found, of) for defect, (found, of) in sorted(pieces.items()))
