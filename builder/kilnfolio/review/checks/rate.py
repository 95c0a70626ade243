"""Drying rate and the risk of degrade."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby, pairwise
from typing import NamedTuple

import numpy as np

from kilnfolio.physics.rules import FOUR_QUARTER_MM, safe_rate, thickness_scaled_rate
from kilnfolio.records.charge import ChargeStock
from kilnfolio.records.middle import median
from kilnfolio.records.species import SafeDailyLoss, Species
from kilnfolio.review.air import utc
from kilnfolio.review.air_control import RunningHours
from kilnfolio.review.boards import BoardHistory
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.review.limits import LimitTable, Subject
from kilnfolio.review.measures import measure

_GROUP = "drying rate"
_CLASS_LIMITS = (
    "daily-loss-light",
    "daily-loss-medium",
    "daily-loss-dense",
    "density-light-below",
    "density-dense-from",
)


def safe_loss(
    species: Species, thickness_mm: float, thick_divisor: float
) -> tuple[SafeDailyLoss, float] | None:
    """Return the safe daily loss for a thickness, from the species sheet.

    Parameters
    ----------
    species : Species
        The species sheet.
    thickness_mm : float
        Thickness of the stock. [mm]
    thick_divisor : float
        Divisor of a rate for each doubling of thickness beyond those listed. [-]

    Returns
    -------
    tuple or None
        The sheet's entry nearest in thickness, and the rate that applies [points a day]; None if
        the sheet has none. See `physics.rules.safe_rate`.
    """
    listed = species.safe_daily_loss
    if not listed:
        return None
    entry = min(listed, key=lambda loss: abs(loss.thickness.value - thickness_mm))
    rates = tuple([(loss.thickness.value, loss.rate.value) for loss in listed])
    return entry, _rate_at(thickness_mm, rates, thick_divisor)


@lru_cache(1024)  # the same timber is dried charge after charge
def _rate_at(thickness_mm: float, rates: tuple[tuple[float, float], ...], divisor: float) -> float:
    thicknesses, losses = zip(*rates, strict=True)
    return float(safe_rate(thickness_mm, thicknesses, losses, divisor))


def class_loss(species: Species, thickness_mm: float, limits: LimitTable) -> float | None:
    """Return a safe daily loss by density class, for timber whose sheet has none.

    Returns
    -------
    float or None
        Points a day; None if the sheet gives no density either.
    """
    density = species.basic_density_kg_m3
    if density is None:
        return None
    subject = Subject((species.id,), species.kind, thickness_mm)
    if species.refractory or density >= limits.value("density-dense-from"):
        key = "daily-loss-dense"
    else:
        light = density < limits.value("density-light-below")
        key = "daily-loss-light" if light else "daily-loss-medium"
    return float(
        thickness_scaled_rate(
            limits.value(key, subject),
            thickness_mm,
            limits.value("thick-stock-divisor"),
            FOUR_QUARTER_MM,
        )
    )


def _limit_for(case: Case, stock: ChargeStock) -> tuple[float, str, bool] | None:
    """Return a timber's safe daily loss [points a day], the timber, and whether it is its own.

    "Its own" means from the species sheet; otherwise the loss is by density class.
    """
    thickness = stock.thickness
    divisor = case.limits.value("thick-stock-divisor")
    safe = safe_loss_of(case, stock.species, thickness.value, divisor)
    if safe is not None:
        return safe[1], thickness.entered, True
    rate = class_loss(case.species[stock.species], thickness.value, case.limits)
    return None if rate is None else (rate, f"{thickness.entered} of its density", False)


@measure
def safe_loss_of(
    case: Case, species: str, thickness_mm: float, divisor: float
) -> tuple[SafeDailyLoss, float] | None:
    return safe_loss(case.species[species], thickness_mm, divisor)


def days_before(times: Sequence[dt.datetime], hours: float) -> list[int]:
    """Return for each weighing after the first the one from which its daily loss is counted.

    Parameters
    ----------
    times : sequence of datetime
        The weighings of a board.
    hours : float
        The shortest time that counts as a day. [h]

    Returns
    -------
    list of int
        Indices into `times`: of the last weighing at least this long before, or of the first.
    """
    longest, base, found = dt.timedelta(hours=hours), 0, []
    for index, at in enumerate(times[1:], start=1):
        while base + 1 < index and times[base + 1] <= at - longest:
            base += 1
        found.append(base)
    return found


def losses_over_a_day(history: BoardHistory, hours: float) -> list[float]:
    """Return a board's rate of loss up to each weighing after the first, over at least a day.

    A safe rate is per day. If boards are weighed twice a day, twice the loss of half a day is not a
    day's loss: the air is warmer by day, and a step has an effect for some hours.

    Parameters
    ----------
    history : BoardHistory
        The board.
    hours : float
        The shortest time that counts as a day. [h] If the board has no weighing that long before,
        its first is used.

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


@measure
def running_hours(case: Case) -> RunningHours:
    """Return the hours of running by the log's fan channel."""
    return RunningHours(case.air)


@measure
def hours_run(case: Case, board: str) -> list[float]:
    """Return the hours that the fans had run by each weighing of a board [h]; NaN if not known.

    Before heating begins the kiln is cold, and loss is not the kiln's doing.
    """
    (history,) = (one for one in case.boards if one.board.id == board)
    moments = [max(point.at, case.charge.started) for point in history.points]
    hours: list[float] = running_hours(case).until(moments).tolist()
    return hours


class WetLosses(NamedTuple):
    """A board's losses at the weighings that count: wet, while it dried [points a day]."""

    fastest: float | None
    """None if there are none."""
    each: list[tuple[dt.datetime, float]]


@measure
def losses_while_wet(case: Case, hours: float, wet_pct: float) -> dict[str, WetLosses]:
    """Return the losses of each board above an MC, over at least these hours."""
    found = {}
    for history, losses in zip(case.boards, _losses(case, hours), strict=True):
        each = [
            (point.at, loss)
            for (before, point), loss in zip(pairwise(history.points), losses, strict=True)
            if not (before.mc_pct <= wet_pct or point.at <= case.charge.started)
        ]
        found[history.board.id] = WetLosses(max((loss for _, loss in each), default=None), each)
    return found


@measure
def _losses(case: Case, hours: float) -> list[list[float]]:
    return [losses_over_a_day(history, hours) for history in case.boards]


def _limits_of(case: Case) -> list[tuple[BoardHistory, tuple[float, str, bool]]]:
    boards, timbers = case.need_boards(), _timbers(case)
    limits = {place: _limit_for(case, case.charge.stock[place]) for place in set(timbers)}
    known = [
        (history, limit)
        for history, place in zip(boards, timbers, strict=True)
        if (limit := limits[place]) is not None
    ]
    if not known:
        raise NoData("no species sheet gives a safe daily loss or a density")
    return known


@measure
def _timbers(case: Case) -> list[int]:
    """Return the place in the charge's stock of the timber that each board was cut from."""
    stock = case.charge.stock
    cut_from = (case.stock_of(history.board) for history in case.boards)
    return [next(place for place, one in enumerate(stock) if one is own) for own in cut_from]


@check(
    "daily-loss",
    title="Daily loss against the safe rate",
    group=_GROUP,
    severity="question",
    limits=(
        "daily-loss-above",
        "daily-loss-hours",
        "daily-loss-margin",
        "daily-loss-refused",
        "thick-stock-divisor",
        *_CLASS_LIMITS,
    ),
    source="wengert-extension, table of safe rates (from memory); by density class: common "
    "practice",
    reason="If water leaves faster than this, the surface shrinks on a core that is still full "
    "size, and checks.",
    passes="No board lost moisture faster than the safe rate for its thickness while wet.",
)
def daily_loss(case: Case) -> Results:
    value = case.limits.value
    wet, refused = value("daily-loss-above"), value("daily-loss-refused")
    margin, hours = value("daily-loss-margin"), value("daily-loss-hours")
    fastest: tuple[float, float, str, str] | None = None
    by_class: Breach | None = None
    losses = losses_while_wet(case, hours, wet)
    for history, (safe, words, own) in _limits_of(case):
        loss, each = losses[history.board.id]
        if loss is not None and loss > safe + margin:
            for run in _runs_above(safe + margin, each):
                breach = _too_fast(case, history.board.id, run, safe, words)
                if own:
                    severe = (breach.value or 0.0) > refused * safe
                    yield replace(breach, severity="fail" if severe else "question")
                elif by_class is None or (breach.value or 0.0) > (by_class.value or 0.0):
                    by_class = breach
            loss = max((one for _, one in each if one <= safe + margin), default=None)
        if loss is not None:
            found = (loss / safe, loss, history.board.id, f"{safe:.1f} for {words}")
            fastest = max(fastest or (0.0, 0.0, "", ""), found)
    # a limit by class is rough: ask only about its worst breach
    if by_class is not None:
        yield by_class
    if fastest is None:
        raise NotApplicable(f"no board was weighed twice above {wet:g} % after heating began")
    spare = f", and {margin:g} more is within the accuracy of weighing" if fastest[0] > 1.0 else ""
    yield Pass(
        f"The fastest loss above {wet:g} % was {fastest[1]:.1f} points a day (board "
        f"{fastest[2]}); the limit is {fastest[3]}{spare}."
    )


def _runs_above(
    most: float, losses: Sequence[tuple[dt.datetime, float]]
) -> Iterator[list[tuple[dt.datetime, float]]]:
    """Yield the runs of losses above a limit."""
    for above, run in groupby(losses, lambda one: one[1] > most):
        if above:
            yield list(run)


def _too_fast(
    case: Case, board: str, run: Sequence[tuple[dt.datetime, float]], safe: float, words: str
) -> Breach:
    """Return the breach of a board that lost too much at one or several consecutive weighings."""
    (first, loss), (last, _) = run[0], run[-1]
    worst = max(value for _, value in run)
    when = (
        f"{loss:.1f} points a day to {case.clock(first)}"
        if len(run) == 1
        else f"up to {worst:.1f} points a day at {len(run)} weighings in a row, "
        f"{case.clock(first)} to {case.clock(last)}"
    )
    return Breach(
        f"Board {board} lost {when}; the limit is {safe:.1f} for {words}.",
        case.weighing_place(first, board),
        board,
        worst,
        safe,
        "points/day",
        at=first,
    )


@check(
    "loss-per-running-hour",
    title="Loss for each day of running",
    group=_GROUP,
    severity="question",
    limits=(
        "daily-loss-above",
        "daily-loss-hours",
        "running-loss-margin",
        "running-loss-least",
        "thick-stock-divisor",
        *_CLASS_LIMITS,
    ),
    source="wengert-extension (part-day running hides over-speed)",
    reason="A kiln that stops for half the day and loses a day's limit in the other half dries at "
    "twice the limit while it runs.",
    passes="No stop of the fans hides a loss faster than the safe rate.",
)
def loss_per_running_hour(case: Case) -> Results:
    value = case.limits.value
    if running_hours(case).total is None:
        raise NoData("the log does not hold the fans")
    wet, margin = value("daily-loss-above"), value("running-loss-margin")
    least, looked = value("running-loss-least"), 0
    fastest: tuple[float, float, float, str] | None = None
    for history, (safe, words, _) in _limits_of(case):
        points = history.points
        hours = hours_run(case, history.board.id)
        bases = days_before([point.at for point in points], value("daily-loss-hours"))
        for base, index in zip(bases, range(1, len(points)), strict=True):
            before, point, ran = points[base], points[index], hours[index] - hours[base]
            passed = (point.at - max(before.at, case.charge.started)).total_seconds() / 3600.0
            if before.mc_pct <= wet or not ran >= least:
                continue
            dry = history.estimate_at(point.at).oven_dry_g
            lost = 100.0 * (before.mass_g - point.mass_g) / dry
            rate, looked = 24.0 * lost / ran, looked + 1
            if ran >= 0.9 * passed:  # a kiln that ran without stops is judged by daily loss
                continue
            fastest = max(fastest or (0.0, 0.0, 0.0, ""), (rate / safe, rate, safe, words))
            if rate > safe * (1.0 + margin / 100.0):
                yield Breach(
                    f"Board {history.board.id} lost {lost:.1f} points in {ran:.0f} running hours "
                    f"to {case.clock(point.at)}: {rate:.1f} for each day of running, where "
                    f"{safe:.1f} is the limit for {words}.",
                    case.weighing_place(point.at, history.board.id),
                    history.board.id,
                    rate,
                    safe,
                    "points/day",
                    at=point.at,
                )
    if not looked:
        raise NotApplicable(f"no board was weighed twice above {wet:g} % while the kiln ran")
    if fastest is None:
        yield Pass(
            f"The fans ran through between {looked} weighings above {wet:g} %, so the daily loss "
            "tells the whole story."
        )
        return
    yield Pass(
        f"Where the fans were off part of the time, the fastest loss above {wet:g} % was "
        f"{fastest[1]:.1f} points for each day of running; the limit is {fastest[2]:.1f} for "
        f"{fastest[3]}, with {margin:g} % allowed for counting the hours."
    )


@check(
    "thick-stock-limit",
    title="Safe rate carried to another thickness",
    group=_GROUP,
    severity="note",
    limits=("thick-stock-divisor",),
    source="wengert-extension, thick stock",
    reason="Timber twice as thick takes far less than the rate of 4/4. For a thickness that the "
    "species sheet does not cover the limit is extrapolated, and the reader should know.",
    passes="The species sheet lists safe daily losses on both sides of the thickness dried.",
)
def thick_stock_limit(case: Case) -> Results:
    said = []
    for index, item in enumerate(case.charge.stock):
        divisor = case.limits.value("thick-stock-divisor")
        safe = safe_loss_of(case, item.species, item.thickness.value, divisor)
        if safe is None:
            continue
        entry, rate = safe
        listed = [loss.thickness.value for loss in case.species[item.species].safe_daily_loss]
        if not min(listed) <= item.thickness.value <= max(listed):
            yield Breach(
                f"Limit extrapolated beyond the species sheet: {entry.rate.value:.1f} points a day "
                f"for {entry.thickness.entered} becomes {rate:.1f} for {item.thickness.entered}.",
                (case.place("stock", index, "thickness"),),
                item.species,
                rate,
                entry.rate.value,
                "points/day",
            )
        how = "listed" if item.thickness.value in listed else "interpolated between those listed"
        said.append(f"{rate:.1f} points a day for {item.thickness.entered}, {how}")
    if not said:
        raise NoData("no species sheet gives a safe daily loss")
    yield Pass(f"The safe daily loss is {'; '.join(said)}.")


@check(
    "rewetted",
    title="Regain, then fast drying",
    group=_GROUP,
    severity="question",
    limits=("rewetted", "rewetted-above"),
    source="common practice; wengert-extension",
    reason="Checks that had closed take up water, swell shut, and open deeper on redrying.",
    passes="No wet board was wetted again.",
)
def rewetted(case: Case) -> Results:
    allowed, above = case.limits.value("rewetted"), case.limits.value("rewetted-above")
    looked = 0
    for history in case.need_boards():
        for before, after in pairwise(history.points):
            if before.mc_pct <= above:
                continue
            looked += 1
            earlier = before.mc_pct if after.before_mc_pct is None else after.before_mc_pct
            gain = after.mc_pct - earlier
            if gain > allowed:
                yield Breach(
                    f"Board {history.board.id} regained {gain:.1f} points by "
                    f"{case.clock(after.at)}: old checks may deepen.",
                    case.weighing_place(after.at, history.board.id),
                    history.board.id,
                    gain,
                    allowed,
                    "points",
                    at=before.at,
                )
    if not looked:
        raise NotApplicable(f"no board was weighed again after it was above {above:g} %")
    yield Pass(
        f"No board regained more than {allowed:g} points between two weighings above "
        f"{above:g} % ({looked} looked at)."
    )


@check(
    "regain-in-stop",
    title="Regain while the fans were off",
    group=_GROUP,
    severity="question",
    limits=("gained-weight-while-drying", "rewetted-above"),
    source="wengert-extension (timber must not regain once drying has begun)",
    reason="While the fans are off, water from the wet boards condenses on the dry faces of the "
    "others.",
    passes="No wet board gained mass over a stop of the fans.",
)
def regain_in_stop(case: Case) -> Results:
    above, allowed = (
        case.limits.value("rewetted-above"),
        case.limits.value("gained-weight-while-drying"),
    )
    stops = [(stop.start, stop.end) for stop in case.charge.stops]
    if case.air is not None and "fan" in case.air.log.channels:
        air = case.air
        still = air.log.channels["fan"] <= 0
        stops += [
            (case.moment(air.times[run.first]), case.moment(air.times[run.last]))
            for run in air.stretches(still)
            if run.hours >= 1.0
        ]
    stops = [
        (start, end)
        for start, end in stops
        if end > case.charge.started and start < case.charge.ended
    ]
    if not stops:
        raise NotApplicable("the fans did not stop")
    looked = 0
    for history in case.need_boards():
        for before, after in pairwise(history.points):
            spanned = [start for start, end in stops if before.at < end and start < after.at]
            if not spanned or before.mc_pct <= above:
                continue
            looked += 1
            gain = 100.0 * (after.mass_g - before.mass_g) / before.mass_g
            if gain > allowed:
                yield Breach(
                    f"Board {history.board.id} gained {after.mass_g - before.mass_g:.0f} g over "
                    f"the stop of {case.clock(spanned[0])}: look for checks and stain.",
                    case.weighing_place(after.at, history.board.id),
                    history.board.id,
                    gain,
                    allowed,
                    "%",
                    at=spanned[0],
                )
    if not looked:
        raise NotApplicable(f"no board above {above:g} % was weighed before and after a stop")
    yield Pass(
        f"No board above {above:g} % gained mass over a stop ({looked} weighings looked at)."
    )


@check(
    "shock-change",
    title="Sudden drop of EMC",
    group=_GROUP,
    severity="question",
    limits=("shock-change", "shock-change-above", "shock-change-noise", "warm-up-hours"),
    source="common practice",
    reason="A sudden change of air sets the surface before the core can follow.",
    passes="The air changed gently while the timber was wet.",
)
def shock_change(case: Case) -> Results:
    air, allowed = case.need_air(), case.limits.value("shock-change")
    if not case.controls:
        raise NoData("no weighing is on record")
    above = case.limits.value("shock-change-above")
    dry_at = next((utc(c.at) for c in case.controls if c.mc_pct <= above), air.times[-1])
    rows = max(1, round(60.0 / air.log.interval_minutes))
    if len(air.times) <= rows:
        raise NoData("the log is shorter than an hour")
    if not np.isfinite(air.emc).any():
        raise NoData("the log does not give the EMC")
    drop, opened, usable = _hourly_changes(case, rows)
    warm_up = np.timedelta64(round(3600 * case.limits.value("warm-up-hours")), "s")
    begun = air.times[:-rows] > utc(case.charge.started) + warm_up
    looked = (air.times[rows:] < dry_at) & begun & usable
    if not looked.any():
        raise NotApplicable(f"the controlling MC was not above {above:g} % after heating up")
    # near saturation, noise of the wet bulb moves the EMC by points but hardly the depression
    real = ~(opened <= case.limits.value("shock-change-noise"))
    shock = looked & real & (drop > allowed)
    for run in air.stretches(np.concatenate([np.zeros(rows, bool), shock]))[:3]:
        worst = float(np.nanmax(drop[run.first - rows : run.last + 1 - rows]))
        yield Breach(
            f"Shock change of air: EMC fell {worst:.1f} points within an hour by "
            f"{case.clock(air.times[run.first])}.",
            (air.log.place(run.first),),
            "EMC",
            worst,
            allowed,
            "points",
            at=air.times[run.first],
        )
    yield Pass(
        f"Above {above:g} % and after heating up, the EMC never fell more than "
        f"{allowed:g} points within an hour beyond what a noisy wet bulb gives."
    )


@measure
def _hourly_changes(case: Case, rows: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return how far the EMC falls and the depression grows over some readings, and where that counts."""
    air = case.need_air()
    drop = air.emc[:-rows] - air.emc[rows:]
    usable = (air.minutes_over(rows) <= 60.0 + air.log.interval_minutes) & np.isfinite(drop)
    usable &= ~_instrument_touched(case, air.times[:-rows], air.times[rows:])
    return drop, air.depression[rows:] - air.depression[:-rows], usable


def _instrument_touched(case: Case, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Return a mask of stretches with a new wick or sensor: the reading changes, not the air.

    An hour either way is allowed between the event and its record.
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
    severity="question",
    limits=("stain-coolest", "stain-hottest", "stain-humidity", "stain-hours"),
    source="common practice",
    reason="Stain fungi and mould like what slow drying gives them.",
    passes="The air was never warm, humid and still for a day.",
)
def stain_conditions(case: Case) -> Results:
    air = case.need_air()
    value = case.limits.value
    if not np.isfinite(air.relative_humidity).any():
        raise NoData("the log does not give the humidity")
    risky = (
        (air.dry_bulb >= value("stain-coolest"))
        & (air.dry_bulb <= value("stain-hottest"))
        & (air.relative_humidity > value("stain-humidity"))
    )
    fan = air.log.channels.get("fan")
    if fan is not None:
        risky &= fan <= 0
        how = "with the fans off"
    else:
        # whether the air moved is not known: exempt air that the schedule asks for
        risky &= ~(case.asked_humidity >= value("stain-humidity") - 2.0)
        how = "beyond what the schedule asks (the log does not hold the fans)"
    for run in air.stretches(risky):
        if run.hours >= value("stain-hours"):
            yield Breach(
                f"Stain and mould conditions for {run.hours:.0f} h from "
                f"{case.clock(air.times[run.first])}.",
                (air.log.place(run.first),),
                "RH",
                run.hours,
                value("stain-hours"),
                "h",
                at=air.times[run.first],
            )
    yield Pass(
        f"The air was never at {value('stain-coolest'):g} to {value('stain-hottest'):g} °C "
        f"and above {value('stain-humidity'):g} % RH for {value('stain-hours'):g} h {how}."
    )


@check(
    "outlier-board",
    title="A board unlike the others",
    group=_GROUP,
    severity="note",
    limits=("outlier-board", "outlier-board-least"),
    source="common practice",
    reason="A board that dries unlike the others may be mis-tagged, or the only one that tells the "
    "truth.",
    passes="All boards dry alike.",
)
def outlier_board(case: Case) -> Results:
    case.need_boards()
    boards = _boards_to_compare(case)
    if len(boards) < 4:
        raise NoData("fewer than four boards have three weighings")
    times, least = case.limits.value("outlier-board"), case.limits.value("outlier-board-least")
    drops, middle, spread = _decays(case)
    for history, value in zip(boards, drops, strict=True):
        # a few boards may agree closely by chance, so that a small difference looks large
        unlike = 100.0 * abs(value - middle) > least * middle
        # 1.4826 makes the median deviation a standard deviation for normal data
        if unlike and spread > 0 and abs(value - middle) > times * 1.4826 * spread:
            yield Breach(
                f"Board {history.board.id} dries unlike the others.",
                case.weighing_place(history.points[-1].at, history.board.id),
                history.board.id,
                abs(value - middle) / (1.4826 * spread),
                times,
                "MAD",
            )
    yield Pass(
        f"None of {len(boards)} boards dries more than {least:g} % faster or slower than "
        "the middle one, beyond the scatter of the others."
    )


@measure
def _boards_to_compare(case: Case) -> list[BoardHistory]:
    """Return the boards with three weighings and no MC of zero."""
    return [
        history
        for history in case.boards
        if len(history.points) > 2
        and min(history.points[0].mc_pct, history.points[-1].mc_pct) > 0.0
    ]


@measure
def _decays(case: Case) -> tuple[list[float], float, float]:
    """Return how far each of those boards dried, as logarithms, their median and spread about it."""
    drop = np.array(
        [
            np.log(history.points[0].mc_pct / history.points[-1].mc_pct)
            for history in _boards_to_compare(case)
        ]
    )
    middle = median(drop)
    return drop.tolist(), middle, median(np.abs(drop - middle))
