"""Schedule as run: whether the air was the one agreed, and each step due."""
# The decorator of a check says what it asks and why; its page is made from that.
# ruff: noqa: D103

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from kilnfolio.review.air import AirSeries, utc
from kilnfolio.review.boards import Control, control_at
from kilnfolio.review.conduct import falling
from kilnfolio.review.findings import Case, Complaint, NotChecked, check

_GROUP = "schedule"


@check(
    "step-timing",
    title="Step against controlling MC",
    group=_GROUP,
    gravity="query",
    limits=("step-timing",),
    source="common practice",
    reason="A step made early puts air on the timber that it is not yet dry enough to bear.",
    held="No step was made before it was due.",
)
def step_timing(case: Case) -> Iterator[Complaint]:
    changes = [(i, c) for i, c in enumerate(case.charge.step_changes) if c.step > 1]
    if not any(step.until_mc_pct for step in case.steps):
        raise NotChecked("the schedule's steps end after a time, not at an MC")
    if not changes:
        raise NotChecked("no step change is written down")
    if not case.controls:
        raise NotChecked("no weighing is on record to judge the steps by")
    allowed = case.limits.value("step-timing")
    for index, change in changes:
        if change.step > len(case.steps):
            yield Complaint(
                f"There is no step {change.step}: the schedule has {len(case.steps)}.",
                (case.place("step_changes", index, "step"),),
                f"step {change.step}",
            )
            continue
        trigger = case.steps[change.step - 2].until_mc_pct
        control = control_at(case.controls, change.at)
        if trigger is None or control is None:
            continue
        if control.mc_pct > trigger + allowed:
            yield Complaint(
                f"Stepped early to step {change.step} on {case.clock(change.at)} at "
                f"{control.mc_pct:.1f} %; it was due at {trigger:g} % (boards "
                f"{', '.join(control.boards)}).",
                (case.place("step_changes", index),),
                f"step {change.step}",
                control.mc_pct - trigger,
                allowed,
                "points",
            )


@check(
    "step-skipped",
    title="Two steps in a day",
    group=_GROUP,
    gravity="query",
    limits=("step-skipped",),
    source="common practice",
    reason="Timber that passes two triggers at one weighing still takes them one at a time.",
    held="No two steps were made within a day.",
)
def step_skipped(case: Case) -> Iterator[Complaint]:
    changes = case.charge.step_changes
    if not changes:
        raise NotChecked("no step change is written down")
    least = case.limits.value("step-skipped")
    for index, (before, after) in enumerate(pairwise(changes), start=1):
        hours = (after.at - before.at).total_seconds() / 3600.0
        timed = before.step <= len(case.steps) and case.steps[before.step - 1].hours is not None
        if timed:
            continue
        if after.step > before.step + 1:
            yield Complaint(
                f"Step {before.step + 1} was skipped on {case.clock(after.at)}.",
                (case.place("step_changes", index),),
                f"step {after.step}",
            )
        elif hours < least and after.step > before.step:
            yield Complaint(
                f"Two steps within {hours:.0f} h, on {case.clock(after.at)}.",
                (case.place("step_changes", index),),
                f"step {after.step}",
                hours,
                least,
                "h",
            )


def _need_asked(case: Case) -> None:
    if not case.asked:
        raise NotChecked("no step change is written down, so what was asked is not known")


def _controlling_series(case: Case, air: AirSeries) -> np.ndarray:
    """Return the controlling MC known at each reading; NaN before the first weighing."""
    if not case.controls:
        raise NotChecked("no weighing is on record")
    starts, mcs = zip(*((control.at, control.mc_pct) for control in case.controls), strict=True)
    return air.in_force(starts, mcs)


@check(
    "dry-bulb-overshoot",
    title="Hotter than the schedule",
    group=_GROUP,
    gravity="query",
    limits=("dry-bulb-overshoot", "dry-bulb-overshoot-hours", "settling-hours"),
    source="common practice",
    reason="Heat beyond the schedule while wet costs strength and invites collapse.",
    held="The kiln was never hotter than asked for long.",
)
def dry_bulb_overshoot(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    _need_asked(case)
    allowed, hours = (
        case.limits.value("dry-bulb-overshoot"),
        case.limits.value("dry-bulb-overshoot-hours"),
    )
    over = air.dry_bulb - case.asked_dry_bulb
    settling = falling(air, case.asked_dry_bulb, case.limits.value("settling-hours"))
    for run in air.stretches((over > allowed) & ~settling):
        if run.hours >= hours:
            worst = float(np.nanmax(over[run.first : run.last + 1]))
            yield Complaint(
                f"Hotter than schedule for {run.hours:.1f} h from "
                f"{case.clock(air.times[run.first])}, by up to {worst:.1f} K.",
                (air.log.place(run.first),),
                "dry-bulb",
                worst,
                allowed,
                "K",
            )


@check(
    "too-hot-while-wet",
    title="Above the ceiling while wet",
    group=_GROUP,
    gravity="refused",
    limits=("ceiling-margin",),
    source="dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="Wet wood is weak when hot: cells collapse and checks open inside, unseen until "
    "the board is cut.",
    held="The dry bulb kept below the species' ceiling while the wettest board was wet.",
)
def too_hot_while_wet(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    sheets = [case.species[stock.species] for stock in case.charge.stock]
    ceilings = [sheet.ceiling_while_wet for sheet in sheets if sheet.ceiling_while_wet]
    if not ceilings:
        raise NotChecked("no species sheet gives a ceiling while wet")
    if not case.controls:
        raise NotChecked("no weighing is on record")
    ceiling = min(ceilings, key=lambda c: c.dry_bulb.value)
    wet_until = _last_wet(case.controls, ceiling.while_above.value)
    if wet_until is None:
        return
    margin = case.limits.value("ceiling-margin")
    hot = (air.dry_bulb > ceiling.dry_bulb.value + margin) & (air.times < utc(wet_until))
    for run in air.stretches(hot)[:3]:
        worst = float(np.nanmax(air.dry_bulb[run.first : run.last + 1]))
        yield Complaint(
            f"Too hot while wet: {worst:.1f} °C on {case.clock(air.times[run.first])} with the "
            f"wettest board above {ceiling.while_above.value:g} %; collapse and honeycomb risk.",
            (air.log.place(run.first),),
            "dry-bulb",
            worst,
            ceiling.dry_bulb.value,
            "°C",
        )


def _last_wet(controls: tuple[Control, ...], above_pct: float) -> dt.datetime | None:
    """Return until when a board was above an MC: the first weighing without, or the last."""
    dry = next((control.at for control in controls if control.wettest_pct <= above_pct), None)
    if dry is None:
        return controls[-1].at
    return None if dry == controls[0].at else dry


@check(
    "air-too-dry-while-wet",
    title="Depression above the schedule while wet",
    group=_GROUP,
    gravity="query",
    limits=(
        "depression-overshoot",
        "depression-overshoot-minutes",
        "depression-overshoot-above",
        "settling-hours",
    ),
    source="common practice",
    reason="Surface checks open in the first days, when the air takes water faster than the "
    "core can send it.",
    held="The air was not drier than asked while the timber was wet.",
)
def air_too_dry_while_wet(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    _need_asked(case)
    wet = _controlling_series(case, air) > case.limits.value("depression-overshoot-above")
    allowed = case.limits.value("depression-overshoot")
    over = air.depression - case.asked_depression
    settling = falling(air, case.asked_depression, case.limits.value("settling-hours"))
    for run in air.stretches((over > allowed) & wet & ~settling):
        if run.hours * 60.0 >= case.limits.value("depression-overshoot-minutes"):
            worst = float(np.nanmax(over[run.first : run.last + 1]))
            yield Complaint(
                f"Air too dry at the checking stage: depression {worst:.1f} K above "
                f"schedule from {case.clock(air.times[run.first])} for {run.hours:.1f} h.",
                (air.log.place(run.first),),
                "depression",
                worst,
                allowed,
                "K",
            )


@check(
    "thickness-rule",
    title="Schedule fits the timber",
    group=_GROUP,
    gravity="query",
    source="common practice",
    reason="A schedule is written for a species and a thickness; thicker stock needs milder air.",
    held="The schedule is written for this species and thickness, or says how it was changed.",
)
def thickness_rule(case: Case) -> Iterator[Complaint]:
    made_for = case.schedule.for_stock
    thickest = max(length.value for length in made_for.thickness)
    for index, stock in enumerate(case.charge.stock):
        if stock.thickness.value > thickest and not case.schedule.modifications:
            yield Complaint(
                f"Schedule not adjusted for {stock.thickness.entered}: it is written for "
                f"{', '.join(t.entered for t in made_for.thickness)}.",
                (case.place("stock", index, "thickness"),),
                stock.species,
                stock.thickness.value,
                thickest,
                "mm",
            )
        if stock.species not in made_for.species:
            yield Complaint(
                f"The schedule is not written for {case.species[stock.species].trade_name}.",
                (case.place("stock", index, "species"),),
                stock.species,
            )


@check(
    "vent-against-spray",
    title="Vent and spray together",
    group=_GROUP,
    gravity="note",
    limits=("vent-against-spray",),
    source="common practice",
    reason="Steam let in and out at once is money through the roof.",
    held="Vents and spray did not work against each other.",
)
def vent_against_spray(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    vent, spray = air.log.channels.get("vent"), air.log.channels.get("spray")
    if vent is None or spray is None:
        raise NotChecked("the log does not hold vent and spray")
    minutes = case.limits.value("vent-against-spray")
    for run in air.stretches((vent > 0) & (spray > 0)):
        if run.hours * 60.0 >= minutes:
            yield Complaint(
                f"Venting and steaming at once from {case.clock(air.times[run.first])}.",
                (air.log.place(run.first),),
                "vent",
                run.hours * 60,
                minutes,
                "min",
            )


@check(
    "fans-stopped",
    title="Stops while wet",
    group=_GROUP,
    gravity="query",
    limits=("fans-stopped-hours", "fans-stopped-above", "undeclared-stop-hours"),
    source="common practice",
    reason="Warm, wet, still timber stains and moulds; and a stop nobody wrote down hides in "
    "every rate.",
    held="The fans ran throughout, or the stop was short, or the timber was dry.",
)
def fans_stopped(case: Case) -> Iterator[Complaint]:
    allowed = case.limits.value("fans-stopped-hours")
    above = case.limits.value("fans-stopped-above")
    for index, stop in enumerate(case.charge.stops):
        hours = (stop.end - stop.start).total_seconds() / 3600.0
        control = control_at(case.controls, stop.start)
        if hours > allowed and control and control.mc_pct > above:
            yield Complaint(
                f"Stopped {hours:.1f} h from {case.clock(stop.start)} ({stop.cause}) at "
                f"{control.mc_pct:.0f} %; inspect for stain and checks.",
                (case.place("stops", index),),
                "stop",
                hours,
                allowed,
                "h",
            )
    yield from _undeclared_stops(case)


def _undeclared_stops(case: Case) -> Iterator[Complaint]:
    if case.air is None or "fan" not in case.air.log.channels:
        if not case.charge.stops:
            raise NotChecked("the log does not hold the fans, and no stop is written down")
        return
    air = case.air
    still = air.log.channels["fan"] <= 0
    started, ended = utc(case.charge.started), utc(case.charge.ended)
    allowed = case.limits.value("undeclared-stop-hours")
    for run in air.stretches(still):
        start, end = air.times[run.first], air.times[run.last]
        declared = any(utc(s.start) <= end and utc(s.end) >= start for s in case.charge.stops)
        if declared or run.hours < allowed or not started <= start < ended:
            continue
        yield Complaint(
            f"Fans stood {run.hours:.1f} h from {case.clock(start)}; no stop is written down.",
            (air.log.place(run.first),),
            "fan",
            run.hours,
            allowed,
            "h",
        )


@check(
    "fan-reversal",
    title="Fan reversal",
    group=_GROUP,
    gravity="note",
    limits=("fan-reversal",),
    source="common practice; wengert-extension",
    reason="Air that always enters on one side leaves the other wet.",
    held="The fans reverse often enough.",
)
def fan_reversal(case: Case) -> Iterator[Complaint]:
    if case.kiln.reversal is None:
        raise NotChecked("the kiln's record gives no reversal time")
    place = (case.located_kiln.place("reversal"),)
    allowed = case.limits.value("fan-reversal")
    if case.kiln.reversal.value > allowed:
        yield Complaint(
            f"Fans reverse every {case.kiln.reversal.entered}; {allowed:g} h is the most "
            "that is usual.",
            place,
            "fan",
            case.kiln.reversal.value,
            allowed,
            "h",
        )
