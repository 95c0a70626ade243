"""What a mill's charges together show about its kilns and schedules.

It is derived from finished reviews and their records; nothing is recomputed from logs here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from statistics import fmean

from kilnfolio.records.charge import Charge
from kilnfolio.review.dossier import AirResult, Dossier, WickIndex
from kilnfolio.review.drops import UnusualDrop, unusual_drops
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class ChargeEvidence:
    """What one charge adds to the evidence on its kiln and schedule; small enough to store."""

    charge: str
    started: dt.datetime
    kiln: str
    schedule: str
    stock: tuple[int, str, str]
    """Revision of the schedule, species and thickness of its first stock."""
    air: KilnCharge | None
    """None without a log."""
    positions: tuple[tuple[str, float], ...]
    """Position of each reading of the survey, and its deviation from the survey's mean [points]."""
    days: float
    """Heating to end."""
    final_sd: float | None
    """Standard deviation of the final survey [points]; None under two readings."""
    defects: tuple[tuple[str, int, int], ...]
    """Defect, pieces affected, pieces examined."""


@dataclass(frozen=True)
class KilnCharge:
    """What one charge shows about its kiln."""

    charge: str
    started: dt.datetime
    wick: WickIndex | None
    zone_spread_k: float | None
    """Difference between entering and leaving air, median [K]."""
    zone_spread_most_k: float | None
    """The same difference, 95th percentile [K]."""
    load_drop_wet_k: float | None
    """The drop across the load while wet, median [K]."""
    load_drop_later_k: float | None
    """The drop across the load later, median [K]."""
    dry_bulb_over_kh: float | None
    """Dry bulb above what was asked [K h]."""
    depression_over_kh: float | None
    """Depression above what was asked [K h]."""
    hours: float
    """Logged hours."""


@dataclass(frozen=True)
class WetSpot:
    """The deviation of a position from the mean of its surveys."""

    position: str
    points: float
    """Mean of its readings, each against its own survey's mean [points of MC]."""
    readings: int


@dataclass(frozen=True)
class KilnEvidence:
    """What a kiln's charges show about it, newest first."""

    kiln: str
    charges: tuple[KilnCharge, ...]
    wet_spots: tuple[WetSpot, ...]
    surveys: int
    """Number of surveys behind the wet spots."""
    drops: tuple[UnusualDrop, ...]
    """Charges with a higher drop across the load than earlier ones, newest first."""


@dataclass(frozen=True)
class DefectShare:
    """Pieces with a defect, of those examined in one charge or several."""

    defect: str
    pieces: int
    of: int

    @property
    def share_pct(self) -> float:
        """Share of the pieces examined [%]."""
        return 100.0 * self.pieces / self.of


@dataclass(frozen=True)
class ScheduleEvidence:
    """What the mill's charges show about one revision of a schedule, for one thickness of stock."""

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


def charge_evidence(charge: Charge, dossier: Dossier) -> ChargeEvidence:
    """Return what one charge shows about its kiln and schedule.

    A mixed load is listed under its first stock, since its time and spread belong to all of it.
    """
    stock, survey = charge.stock[0], dossier.survey
    return ChargeEvidence(
        charge.id,
        charge.started,
        charge.kiln,
        charge.schedule,
        (charge.schedule_revision, stock.species, stock.thickness.entered),
        _kiln_charge(dossier, dossier.air) if dossier.air else None,
        tuple(
            (position, mc - survey.mean_pct)
            for position, mc in zip(survey.positions, survey.readings, strict=True)
            if position
        )
        if survey
        else (),
        round((charge.ended - charge.started).total_seconds() / 86400.0, 1),
        survey.sd_pct if survey and survey.n > 1 else None,
        tuple((count.defect, count.pieces, count.of) for count in charge.defects),
    )


def kiln_evidence(
    kiln: str, positions: Iterable[str], charges: Iterable[ChargeEvidence], drop_rise_k: float
) -> KilnEvidence:
    """Return what the charges of a kiln show about it.

    Parameters
    ----------
    kiln : str
        Its id.
    positions : iterable of str
        Its pack positions, from the door inward; others follow in alphabetical order.
    charges : iterable of ChargeEvidence
        Evidence from charges; that of other kilns is ignored.
    drop_rise_k : float
        Least rise of the drop across the load above that of earlier charges that is reported. [K]
    """
    own = sorted(
        (charge for charge in charges if charge.kiln == kiln),
        key=lambda charge: (charge.started, charge.charge),
        reverse=True,
    )
    kept = tuple(charge.air for charge in own if charge.air)
    drops = [(one.charge, one.load_drop_wet_k, one.load_drop_later_k) for one in reversed(kept)]
    return KilnEvidence(
        kiln,
        kept,
        _wet_spots(own, tuple(positions)),
        sum(bool(charge.positions) for charge in own),
        unusual_drops(drops, drop_rise_k)[::-1],
    )


def _kiln_charge(dossier: Dossier, air: AirResult) -> KilnCharge:
    return KilnCharge(
        dossier.charge,
        dossier.started,
        air.wick,
        air.zone_spread_k,
        air.zone_spread_most_k,
        air.load_drop_wet_k,
        air.load_drop_later_k,
        air.dry_bulb_over_kh,
        air.depression_over_kh,
        air.logged_hours,
    )


def _wet_spots(charges: Iterable[ChargeEvidence], order: tuple[str, ...]) -> tuple[WetSpot, ...]:
    found: dict[str, list[float]] = {}
    for charge in charges:
        for position, points in charge.positions:
            found.setdefault(position, []).append(points)
    names = [*order, *sorted(set(found) - set(order))]
    return tuple(
        WetSpot(name, round(fmean(found[name]), 2), len(found[name]))
        for name in names
        if name in found
    )


def schedule_evidence(
    schedule: str, charges: Iterable[ChargeEvidence]
) -> tuple[ScheduleEvidence, ...]:
    """Return what the mill's charges show about a schedule, by revision and stock.

    Parameters
    ----------
    schedule : str
        Its id.
    charges : iterable of ChargeEvidence
        Evidence from charges; that on other schedules is ignored.

    Returns
    -------
    tuple of ScheduleEvidence
        The newest revision first.
    """
    groups: dict[tuple[int, str, str], list[ChargeEvidence]] = {}
    for charge in charges:
        if charge.schedule == schedule:
            groups.setdefault(charge.stock, []).append(charge)
    keys = sorted(groups, key=lambda key: (-key[0], *key[1:]))
    return tuple(_evidence(schedule, key, groups[key]) for key in keys)


def _evidence(
    schedule: str, key: tuple[int, str, str], charges: list[ChargeEvidence]
) -> ScheduleEvidence:
    charges = sorted(charges, key=lambda charge: (charge.started, charge.charge))
    return ScheduleEvidence(
        schedule,
        *key,
        tuple(charge.charge for charge in charges),
        tuple(charge.days for charge in charges),
        tuple(charge.final_sd for charge in charges if charge.final_sd is not None),
        _defects(charges),
    )


def _defects(charges: Iterable[ChargeEvidence]) -> tuple[DefectShare, ...]:
    pieces: dict[str, list[int]] = {}
    for charge in charges:
        for defect, found, of in charge.defects:
            sums = pieces.setdefault(defect, [0, 0])
            sums[0] += found
            sums[1] += of
    return tuple(DefectShare(defect, found, of) for defect, (found, of) in sorted(pieces.items()))
