"""Drying rate and the risk of degrade."""
# The decorator of a check says what it asks and why; its page is made from that.
# ruff: noqa: D103

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from kilnfolio.physics.rules import thickness_scaled_rate
from kilnfolio.records.quantities import Length
from kilnfolio.records.species import SafeDailyLoss, Species
from kilnfolio.review.air import utc
from kilnfolio.review.boards import BoardHistory
from kilnfolio.review.findings import Case, Complaint, NotChecked, check

_GROUP = "drying rate"

#: Stock up to here dries as 4/4 does, by the grouping of the schedule index (4/4, 5/4, 6/4).
_FOUR_QUARTER_MM = Length.parse("6/4").value


def safe_loss(
    species: Species, thickness_mm: float, thick_divisor: float
) -> tuple[SafeDailyLoss, float] | None:
    """Return the safe daily loss for a thickness, scaled down for thick stock without its own.

    Stock up to 6/4 takes the rate of 4/4, as the schedule index groups them.

    Parameters
    ----------
    species : Species
        The species sheet.
    thickness_mm : float
        Thickness of the stock. [mm]
    thick_divisor : float
        The rate of 4/4 stock over that of 8/4. [-]

    Returns
    -------
    tuple or None
        The sheet's entry and the rate that applies [points a day]; None where the sheet has none.
    """
    if not species.safe_daily_loss:
        return None
    by_distance = sorted(
        species.safe_daily_loss, key=lambda loss: abs(loss.thickness.value - thickness_mm)
    )
    entry = by_distance[0]
    if thickness_mm > _FOUR_QUARTER_MM >= entry.thickness.value:
        return entry, float(
            thickness_scaled_rate(
                entry.rate.value, thickness_mm, thick_divisor, entry.thickness.value
            )
        )
    return entry, entry.rate.value


def days_before(times: Sequence[dt.datetime], hours: float) -> list[int]:
    """Return for each weighing after the first which one its loss over a day counts from.

    Parameters
    ----------
    times : sequence of datetime
        The weighings of a board.
    hours : float
        The least that counts as a day. [h]

    Returns
    -------
    list of int
        Places in `times`: of the last weighing so long before, or of the first.
    """
    longest, base, found = dt.timedelta(hours=hours), 0, []
    for index, at in enumerate(times[1:], start=1):
        while base + 1 < index and times[base + 1] <= at - longest:
            base += 1
        found.append(base)
    return found


def losses_over_a_day(history: BoardHistory, hours: float) -> list[float]:
    """Return what a board lost by each weighing after the first, over so many hours or more.

    A safe rate is a day's loss. Where boards are weighed twice a day, half a day doubled is not
    one: air warms by day, and a step is felt for some hours.

    Parameters
    ----------
    history : BoardHistory
        The board.
    hours : float
        The least that counts as a day. [h] Where the board has no weighing so long before, its
        first is taken.

    Returns
    -------
    list of float
        Losses [points a day].
    """
    points, losses = history.points, []
    bases = days_before([point.at for point in points], hours)
    for base, point in zip(bases, points[1:], strict=True):
        dry = history.estimate_at(point.at).oven_dry_g
        days = (point.at - points[base].at).total_seconds() / 86400.0
        losses.append(100.0 * (points[base].mass_g - point.mass_g) / dry / days)
    return losses


@check(
    "daily-loss",
    title="Daily loss against the safe rate",
    group=_GROUP,
    gravity="query",
    limits=(
        "daily-loss-above",
        "daily-loss-hours",
        "daily-loss-margin",
        "daily-loss-refused",
        "thick-stock-divisor",
    ),
    source="wengert-extension, table of safe rates (from memory)",
    reason="Lost faster than this, the surface shrinks on a core that is still full size, and "
    "checks.",
    held="No board lost moisture faster than its safe rate while wet.",
)
def daily_loss(case: Case) -> Iterator[Complaint]:
    boards = case.need_boards()
    wet, refused = case.limits.value("daily-loss-above"), case.limits.value("daily-loss-refused")
    margin, hours = case.limits.value("daily-loss-margin"), case.limits.value("daily-loss-hours")
    known = 0
    for history in boards:
        item = case.stock_of(history.board)
        safe = safe_loss(
            case.species[item.species],
            item.thickness.value,
            case.limits.value("thick-stock-divisor"),
        )
        if safe is None:
            continue
        known += 1
        losses = losses_over_a_day(history, hours)
        for (before, point), loss in zip(pairwise(history.points), losses, strict=True):
            if loss <= safe[1] + margin or before.mc_pct <= wet:
                continue
            if point.at <= case.charge.started:
                continue
            yield Complaint(
                f"Board {history.board.id} lost {loss:.1f} points a day to {case.clock(point.at)}; "
                f"the limit is {safe[1]:.1f} for {item.thickness.entered}.",
                case.weighing_place(point.at, history.board.id),
                history.board.id,
                loss,
                safe[1],
                "points/day",
                gravity="refused" if loss > refused * safe[1] else "query",
            )
    if not known:
        raise NotChecked("no species sheet gives a safe daily loss")


@check(
    "thick-stock-limit",
    title="Safe rate carried to thick stock",
    group=_GROUP,
    gravity="note",
    limits=("thick-stock-divisor",),
    source="wengert-extension, thick stock",
    reason="Twice the thickness bears far less than the rate of 4/4. Where the species sheet "
    "gives no rate of its own, one is reckoned, and the reader should know.",
    held="The species sheet gives a safe daily loss for the thickness dried.",
)
def thick_stock_limit(case: Case) -> Iterator[Complaint]:
    known = 0
    for index, item in enumerate(case.charge.stock):
        safe = safe_loss(
            case.species[item.species],
            item.thickness.value,
            case.limits.value("thick-stock-divisor"),
        )
        if safe is None:
            continue
        known += 1
        entry, rate = safe
        if rate != entry.rate.value:
            yield Complaint(
                f"Limit scaled for thickness: {entry.rate.value:.1f} points a day for "
                f"{entry.thickness.entered} becomes {rate:.1f} for {item.thickness.entered}.",
                (case.place("stock", index, "thickness"),),
                item.species,
                rate,
                entry.rate.value,
                "points/day",
            )
    if not known:
        raise NotChecked("no species sheet gives a safe daily loss")


@check(
    "rewetted",
    title="Regain, then fast drying",
    group=_GROUP,
    gravity="query",
    limits=("rewetted", "rewetted-above"),
    source="common practice; wengert-extension",
    reason="Checks that had closed take up water, swell shut, and open deeper on redrying.",
    held="No wet board was wetted again.",
)
def rewetted(case: Case) -> Iterator[Complaint]:
    allowed, above = case.limits.value("rewetted"), case.limits.value("rewetted-above")
    for history in case.need_boards():
        for before, after in zip(history.points, history.points[1:], strict=False):
            earlier = before.mc_pct if after.before_mc_pct is None else after.before_mc_pct
            gain = after.mc_pct - earlier
            if gain > allowed and before.mc_pct > above:
                yield Complaint(
                    f"Board {history.board.id} regained {gain:.1f} points by "
                    f"{case.clock(after.at)}: old checks may deepen.",
                    case.weighing_place(after.at, history.board.id),
                    history.board.id,
                    gain,
                    allowed,
                    "points",
                )


@check(
    "shock-change",
    title="Sudden drop of EMC",
    group=_GROUP,
    gravity="query",
    limits=("shock-change", "shock-change-above", "warm-up-hours"),
    source="common practice",
    reason="A sudden change of air sets the surface before the core can follow.",
    held="The air changed gently while the timber was wet.",
)
def shock_change(case: Case) -> Iterator[Complaint]:
    air, allowed = case.need_air(), case.limits.value("shock-change")
    if not case.controls:
        raise NotChecked("no weighing is on record")
    above = case.limits.value("shock-change-above")
    dry_at = next((utc(c.at) for c in case.controls if c.mc_pct <= above), air.times[-1])
    rows = max(1, round(60.0 / air.log.interval_minutes))
    if len(air.times) <= rows:
        raise NotChecked("the log is shorter than an hour")
    drop = air.emc[:-rows] - air.emc[rows:]
    warm_up = np.timedelta64(round(3600 * case.limits.value("warm-up-hours")), "s")
    begun = air.times[:-rows] > utc(case.charge.started) + warm_up
    within_an_hour = air.minutes_over(rows) <= 60.0 + air.log.interval_minutes
    shock = (drop > allowed) & (air.times[rows:] < dry_at) & begun & within_an_hour
    shock &= ~_instrument_touched(case, air.times[:-rows], air.times[rows:])
    for run in air.stretches(np.concatenate([np.zeros(rows, bool), shock]))[:3]:
        worst = float(np.nanmax(drop[run.first - rows : run.last + 1 - rows]))
        yield Complaint(
            f"Shock change of air: EMC fell {worst:.1f} points within an hour by "
            f"{case.clock(air.times[run.first])}.",
            (air.log.place(run.first),),
            "EMC",
            worst,
            allowed,
            "points",
        )


def _instrument_touched(case: Case, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Return which stretches touch on a new wick or sensor: there the reading changes, not the air.

    An hour either way is allowed for between the doing and the writing down.
    """
    hour, touched = np.timedelta64(1, "h"), np.zeros(len(starts), bool)
    for event in case.charge.events:
        if event.kind in ("wick changed", "sensor changed"):
            touched |= (starts <= utc(event.at) + hour) & (ends >= utc(event.at) - hour)
    return touched


@check(
    "stain-conditions",
    title="Warm, humid and slow",
    group=_GROUP,
    gravity="query",
    limits=("stain-coolest", "stain-hottest", "stain-humidity", "stain-hours"),
    source="common practice",
    reason="Stain fungi and mould like what slow drying gives them.",
    held="The air was never warm, humid and still for a day.",
)
def stain_conditions(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    value = case.limits.value
    risky = (
        (air.dry_bulb >= value("stain-coolest"))
        & (air.dry_bulb <= value("stain-hottest"))
        & (air.relative_humidity > value("stain-humidity"))
    )
    for run in air.stretches(risky):
        if run.hours >= value("stain-hours"):
            yield Complaint(
                f"Stain and mould conditions for {run.hours:.0f} h from "
                f"{case.clock(air.times[run.first])}.",
                (air.log.place(run.first),),
                "RH",
                run.hours,
                value("stain-hours"),
                "h",
            )


@check(
    "outlier-board",
    title="A board unlike the others",
    group=_GROUP,
    gravity="note",
    limits=("outlier-board", "outlier-board-least"),
    source="common practice",
    reason="A board that dries unlike its fellows may be mis-tagged, or be the only honest one.",
    held="All boards dry alike.",
)
def outlier_board(case: Case) -> Iterator[Complaint]:
    boards = [
        history
        for history in case.need_boards()
        if len(history.points) > 2
        and min(history.points[0].mc_pct, history.points[-1].mc_pct) > 0.0
    ]
    if len(boards) < 4:
        raise NotChecked("fewer than four boards have three weighings")
    times, least = case.limits.value("outlier-board"), case.limits.value("outlier-board-least")
    drop = np.array(
        [np.log(history.points[0].mc_pct / history.points[-1].mc_pct) for history in boards]
    )
    middle = float(np.median(drop))
    spread = float(np.median(np.abs(drop - middle)))
    for history, value in zip(boards, drop, strict=True):
        # a few boards may agree closely by luck, so that a small difference looks a large one
        unlike = 100.0 * abs(value - middle) > least * middle
        # 1.4826 makes the median deviation a standard deviation for normal data
        if unlike and spread > 0 and abs(value - middle) > times * 1.4826 * spread:
            yield Complaint(
                f"Board {history.board.id} dries unlike the others.",
                case.weighing_place(history.points[-1].at, history.board.id),
                history.board.id,
                abs(value - middle) / (1.4826 * spread),
                times,
                "MAD",
            )
