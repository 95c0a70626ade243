"""Converts sample boards and air to their form in the dossier: rounded, with uncertainties."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from itertools import pairwise

import numpy as np

from kilnfolio.records.log import as_datetime
from kilnfolio.review import air_control
from kilnfolio.review import dossier as d
from kilnfolio.review.adherence import StepKept
from kilnfolio.review.air import AirSummary, datetimes_of
from kilnfolio.review.boards import COVERAGE, BoardHistory, Estimate, SectionMoisture
from kilnfolio.review.checks.rate import (
    hours_run,
    losses_while_wet,
    running_hours,
    safe_loss_of,
)
from kilnfolio.review.drops import load_drop
from kilnfolio.review.findings import Case
from kilnfolio.review.limits import NoLimit


def rounded(value: float | None, decimals: int) -> float | None:
    """Return a rounded number; None if there is none."""
    return None if value is None or not math.isfinite(value) else round(float(value), decimals)


def board_results(case: Case) -> tuple[d.BoardResult, ...]:
    """Return the sample boards for the dossier."""
    return tuple(_board(case, history) for history in case.boards if history.sections)


def _board(case: Case, history: BoardHistory) -> d.BoardResult:
    board, points = history.board, _points(case, history)
    above = _wet_above(case)
    wet = [point for before, point in pairwise(points) if before.mc_pct > above]
    return d.BoardResult(
        id=board.id,
        species=board.species or case.charge.stock[0].species,
        position=board.position or "",
        chosen_as=board.chosen_as,
        sections=_sections(history.sections),
        section_mean_mc_pct=round(history.mean_mc_pct, 2),
        green_g=board.green_mass.value,
        oven_dry_g=round(history.oven_dry_g, 1),
        oven_dry_uncertainty_g=round(COVERAGE * history.oven_dry_error_g, 1),
        points=points,
        estimates=_estimates(history),
        safe_daily_loss_pct=_safe(case, history),
        fastest_daily_loss_pct=_fastest(case, history),
        fastest_hourly_loss_pct=max(
            (p.hourly_loss_pct for p in wet if p.hourly_loss_pct is not None), default=None
        ),
    )


def _fastest(case: Case, history: BoardHistory) -> float | None:
    """Return a board's fastest loss while wet, over at least a day [points a day]."""
    try:
        hours = case.limits.value("daily-loss-hours")
    except NoLimit:
        return None
    losses = losses_while_wet(case, hours, _wet_above(case))
    return rounded(losses[history.board.id].fastest, 2)


def _wet_above(case: Case) -> float:
    try:
        return case.limits.value("daily-loss-above")
    except NoLimit:
        return math.inf


def _safe(case: Case, history: BoardHistory) -> float | None:
    """Return the safe loss of a board, adjusted for thickness [points a day]."""
    stock = case.stock_of(history.board)
    try:
        divisor = case.limits.value("thick-stock-divisor")
    except NoLimit:
        return None
    safe = safe_loss_of(case, stock.species, stock.thickness.value, divisor)
    return round(safe[1], 2) if safe else None


def _sections(sections: tuple[SectionMoisture, ...]) -> tuple[d.SectionResult, ...]:
    return tuple(
        d.SectionResult(
            id=section.id,
            green_g=section.green_g,
            oven_dry_g=section.oven_dry_g,
            mc_pct=round(section.mc_pct, 2),
            mc_uncertainty_pct=round(section.uncertainty_pct, 2),
        )
        for section in sections
    )


def _points(case: Case, history: BoardHistory) -> tuple[d.BoardPoint, ...]:
    """Return a board's weighings, each with its loss since the previous one."""
    made: list[d.BoardPoint] = []
    ran = hours_run(case, history.board.id)
    for point, before, now in zip(history.points, [math.nan, *ran[:-1]], ran, strict=True):
        hours = now - before
        lost = None if point.before_mc_pct is None else point.before_mc_pct - point.mc_pct
        made.append(
            d.BoardPoint(
                at=point.at,
                mass_g=round(point.mass_g, 1),
                mc_pct=round(point.mc_pct, 2),
                mc_uncertainty_pct=round(point.uncertainty_pct, 2),
                daily_loss_pct=rounded(point.daily_loss_pct, 2),
                running_hours=rounded(hours, 1),
                hourly_loss_pct=rounded(lost / hours, 3)
                if lost is not None and hours > 0
                else None,
            )
        )
    return tuple(made)


def _estimates(history: BoardHistory) -> tuple[d.OvenDryEstimate, ...]:
    return tuple(
        _estimate_result(history, number, estimate)
        for number, estimate in enumerate(history.estimates)
    )


def _estimate_result(history: BoardHistory, number: int, estimate: Estimate) -> d.OvenDryEstimate:
    used = [point.at for point in history.points if history.estimate_at(point.at) is estimate]
    before = history.estimates[number - 1].oven_dry_g if number else None
    return d.OvenDryEstimate(
        at=estimate.at,
        source="sections" if estimate.resection is None else "re-section",
        mc_pct=round(estimate.mean_mc_pct, 2),
        mass_g=round(estimate.mass_g, 1),
        oven_dry_g=round(estimate.oven_dry_g, 1),
        oven_dry_uncertainty_g=round(COVERAGE * estimate.oven_dry_error_g, 1),
        calculated_mc_pct=None
        if before is None
        else round(100.0 * (estimate.mass_g / before - 1.0), 2),
        sections=_sections(estimate.sections),
        weighings=len(used),
        used_from=used[0] if used else None,
    )


def air_result(case: Case) -> d.AirResult | None:
    """Return how the air was kept; None without a log."""
    air = case.air
    if air is None or not len(air.times):
        return None
    settling = case.limits.value("settling-hours")
    over = air_control.overshoot(air, case.asked, settling) or (None, None)
    spread = air_control.zone_spread(air) or (None, None)
    errors = air_control.bulb_errors(case.kiln) or (None, None)
    drop = None
    with suppress(NoLimit):  # limits sealed before the drop was recorded have no entry for it
        drop = load_drop(case)
    return d.AirResult(
        logged_hours=round(float(air.hours.sum()), 1),
        running_hours=rounded(running_hours(case).total, 1),
        dry_bulb_over_kh=rounded(over[0], 1),
        depression_over_kh=rounded(over[1], 1),
        zone_spread_k=rounded(spread[0], 2),
        zone_spread_most_k=rounded(spread[1], 2),
        load_drop_wet_k=rounded(drop.wet_k if drop else None, 2),
        load_drop_later_k=rounded(drop.later_k if drop else None, 2),
        dry_bulb_uncertainty_k=errors[0],
        wet_bulb_uncertainty_k=errors[1],
        wick=_wick(case, settling),
    )


def _wick(case: Case, settling: float) -> d.WickIndex | None:
    air = case.need_air()
    found = (
        air_control.wick_index(air, case.asked, settling)
        if np.isfinite(air.wet_bulb).any()
        else None
    )
    if found is None:
        return None
    return d.WickIndex(
        hours=round(found.hours, 1),
        drift_k_per_day=round(found.drift_k_per_day, 3),
        worst_drift_k_per_day=round(found.worst_drift_k_per_day, 3),
        worst_from=as_datetime(found.worst_from, case.zone),
        noise_k=round(found.noise_k, 3),
    )


def air_points(case: Case, summary: AirSummary) -> tuple[d.AirPoint, ...]:
    """Return the mean air of each interval of the summary, with the uncertainty of its EMC."""
    means = summary.means
    errors = air_control.emc_errors(
        means["dry_bulb"], means["wet_bulb"], air_control.bulb_errors(case.kiln), case.pressure_pa
    )
    rows = zip(
        datetimes_of(summary.middles, case.zone),
        _all_rounded(means["dry_bulb"], 2),
        _all_rounded(means["wet_bulb"], 2),
        _all_rounded(means["relative_humidity"], 1),
        _all_rounded(means["emc"], 2),
        _all_rounded(errors, 2),
        strict=True,
    )
    return tuple(
        d.AirPoint(
            at=at,
            dry_bulb_c=dry,
            wet_bulb_c=wet,
            relative_humidity_pct=humidity,
            emc_pct=emc,
            emc_uncertainty_pct=error,
        )
        for at, dry, wet, humidity, emc, error in rows
    )


def _all_rounded(values: Sequence[float | None], decimals: int) -> list[float | None]:
    """Return what `rounded` returns for each value, in half the time."""
    finite = math.isfinite
    return [
        None if value is None or not finite(value) else round(value, decimals) for value in values
    ]


def set_points(case: Case) -> tuple[d.SetPoint, ...]:
    """Return the set-points of the schedule as run, with the uncertainty of each EMC."""
    errors = air_control.emc_errors(
        [asked.air.dry_bulb_c for asked in case.asked],
        [asked.air.wet_bulb_c for asked in case.asked],
        air_control.bulb_errors(case.kiln),
        case.pressure_pa,
    )
    return tuple(
        d.SetPoint(
            at=asked.at,
            label=asked.label,
            dry_bulb_c=round(asked.air.dry_bulb_c, 2),
            wet_bulb_c=round(asked.air.wet_bulb_c, 2),
            relative_humidity_pct=round(asked.air.relative_humidity_pct, 1),
            emc_pct=round(asked.air.emc_pct, 2),
            emc_uncertainty_pct=rounded(error, 2),
        )
        for asked, error in zip(case.asked, errors, strict=True)
    )


def adherence_result(case: Case) -> tuple[d.StepAdherence, ...]:
    """Return how each step was kept; empty if the log, the set-points or a limit is missing."""
    if case.air is None or not len(case.air.times) or not case.asked:
        return ()
    try:
        allowed = case.limits.value("outside-hours")
        return tuple(_step_adherence(case, kept, allowed) for kept in case.adherence.steps)
    except NoLimit:
        return ()


def _step_adherence(case: Case, kept: StepKept, allowed_h: float) -> d.StepAdherence:
    sides = tuple(
        d.OutsideResult(
            side=one.side,
            since=case.moment(one.first),
            hours=round(one.hours, 1),
            longest_hours=round(one.longest_hours, 1),
            worst=round(one.worst, 1),
            unit=one.unit,
        )
        for one in kept.outside
    )
    outside = any(one.hours > allowed_h for one in kept.outside)
    return d.StepAdherence(
        label=kept.label,
        step=kept.number,
        start=kept.start,
        end=kept.end,
        asked_dry_bulb_c=round(kept.asked.dry_bulb_c, 2),
        asked_wet_bulb_c=round(kept.asked.wet_bulb_c, 2),
        asked_emc_pct=round(kept.asked.emc_pct, 2),
        dry_bulb_c=rounded(kept.dry_bulb_c, 2),
        wet_bulb_c=rounded(kept.wet_bulb_c, 2),
        emc_pct=rounded(kept.emc_pct, 2),
        hours_asked=rounded(kept.hours_asked, 1),
        hours_run=round(kept.hours_run, 1),
        hours_to_reach=rounded(kept.hours_to_reach, 1),
        hours_settled=round(kept.hours_settled, 1),
        hours_outside=round(kept.hours_outside, 1),
        outside=sides,
        verdict="no data" if kept.dry_bulb_c is None else "not as asked" if outside else "as asked",
    )
