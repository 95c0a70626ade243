"""Steps of the schedule: whether made when due, one at a time, for the timber in the kiln."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from kilnfolio.records.problems import Place
from kilnfolio.records.setpoints import step_at
from kilnfolio.review.air import utc
from kilnfolio.review.boards import control_at
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.review.steps import judged_steps

_GROUP = "schedule"
_STEP_LIMITS = ("step-timing", "step-late", "step-skipped")


def _need_mc_steps(case: Case) -> None:
    if case.schedule.time_based:
        raise NotApplicable("the schedule's steps end after a time, not at an MC")


@check(
    "step-timing",
    title="Step against controlling MC",
    group=_GROUP,
    severity="question",
    limits=_STEP_LIMITS,
    source="common practice",
    reason="A step made early puts air on the timber that it is not yet dry enough for.",
    passes="No step was made before it was due.",
)
def step_timing(case: Case) -> Results:
    _need_mc_steps(case)
    if not case.charge.step_changes:
        raise NoData("no step change is written down")
    if not case.controls:
        raise NoData("no weighing is on record to judge the steps by")
    allowed, judged = case.limits.value("step-timing"), 0
    for index, change in enumerate(case.charge.step_changes):
        if change.step > len(case.steps):
            yield Breach(
                f"There is no step {change.step}: the schedule has {len(case.steps)}.",
                (case.place("step_changes", index, "step"),),
                f"step {change.step}",
                at=change.at,
            )
    for made in judged_steps(case):
        if made.early_by_pct is None or made.control is None or made.trigger_pct is None:
            continue
        judged += 1
        if made.verdict == "early":
            yield Breach(
                f"Stepped early to step {made.change.step} on {case.clock(made.change.at)} at "
                f"{made.control.mc_pct:.1f} %; it was due at {made.trigger_pct:g} % (boards "
                f"{', '.join(made.control.boards)}).",
                (case.place("step_changes", made.index),),
                f"step {made.change.step}",
                made.early_by_pct,
                allowed,
                "points",
                at=made.change.at,
            )
    if not judged:
        raise NotApplicable("no step with a trigger was begun")
    yield Pass(
        f"{_counted(judged, 'step was', 'steps were')} made with the controlling MC no more "
        f"than {allowed:g} points above the trigger."
    )


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


@check(
    "step-late",
    title="Steps not left waiting",
    group=_GROUP,
    severity="note",
    limits=(*_STEP_LIMITS, "step-late-hours"),
    source="common practice",
    reason="A step made late costs days, and leaves dry timber in air that is milder than it "
    "needs.",
    passes="No step was made long after it was due.",
)
def step_late(case: Case) -> Results:
    _need_mc_steps(case)
    waits = [made for made in judged_steps(case) if made.due_since is not None]
    if not waits:
        raise NotApplicable("no weighing showed a step due that was made")
    allowed = case.limits.value("step-late-hours")
    for made in waits:
        if made.verdict == "late" and made.waited_hours > allowed:
            yield Breach(
                f"Step {made.change.step} was made late, on {case.clock(made.change.at)}: it was "
                f"due for {made.waited_hours:.0f} h, and the controlling MC was "
                f"{-(made.early_by_pct or 0.0):.1f} points below its trigger.",
                (case.place("step_changes", made.index),),
                f"step {made.change.step}",
                made.waited_hours,
                allowed,
                "h",
                at=made.change.at,
            )
    late = [made.waited_hours for made in waits if made.verdict == "late"]
    within = case.limits.value("step-late")
    if late and max(late) < 1.0:
        yield Pass(
            f"{_counted(len(waits), 'step was', 'steps were')} made when a weighing showed "
            f"{'it' if len(waits) == 1 else 'them'} due, or no more than {within:g} points later."
        )
        return
    yield Pass(
        f"No step was left waiting until the controlling MC was more than {within:g} points "
        "below its trigger."
        if not late
        else f"Of steps made more than {within:g} points below their trigger, the longest had "
        f"been due for {max(late):.0f} h; {allowed:g} h are allowed."
    )


@check(
    "start-step",
    title="Air-dried stock begun at its step",
    group=_GROUP,
    severity="question",
    limits=_STEP_LIMITS,
    source="dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="Air-dried timber begins at the step for its present MC. An earlier step may wet its "
    "dry faces again, and a later one is too harsh for its core.",
    passes="Air-dried stock was begun at the step for its MC.",
)
def start_step(case: Case) -> Results:
    if case.charge.loaded_green:
        raise NotApplicable("the timber was loaded green")
    _need_mc_steps(case)
    changes = case.charge.step_changes
    if not changes or not case.controls:
        raise NoData("no step change, or no weighing, is written down for the start")
    first = changes[0]
    control = control_at(case.controls, first.at) or case.controls[0]
    due, allowed = step_at(case.steps, control.mc_pct), case.limits.value("step-timing")
    early = step_at(case.steps, control.mc_pct - allowed)
    if not due <= first.step <= early:
        yield Breach(
            f"Begun at step {first.step} with the controlling MC at {control.mc_pct:.1f} %, "
            f"for which step {due} is due.",
            (case.place("step_changes", 0, "step"),),
            f"step {first.step}",
            first.step,
            due,
            "step",
            at=first.at,
        )
    yield Pass(
        f"Begun at step {first.step} with the controlling MC at {control.mc_pct:.1f} %, as due."
    )


@check(
    "step-skipped",
    title="Two steps in a day",
    group=_GROUP,
    severity="question",
    limits=("step-skipped",),
    source="common practice",
    reason="Timber that passes two triggers at one weighing still takes them one at a time.",
    passes="No two steps were made within a day, and none was left out.",
)
def step_skipped(case: Case) -> Results:
    changes = case.charge.step_changes
    _need_mc_steps(case)
    if not changes:
        raise NoData("no step change is written down")
    if len(changes) < 2:
        raise NotApplicable("one step only is written down")
    least = case.limits.value("step-skipped")
    for index, (before, after) in enumerate(pairwise(changes), start=1):
        hours = (after.at - before.at).total_seconds() / 3600.0
        if after.step > before.step + 1:
            yield Breach(
                f"Step {before.step + 1} was skipped on {case.clock(after.at)}.",
                (case.place("step_changes", index),),
                f"step {after.step}",
                at=after.at,
            )
        elif hours < least and after.step > before.step:
            yield Breach(
                f"Two steps within {hours:.0f} h, on {case.clock(after.at)}.",
                (case.place("step_changes", index),),
                f"step {after.step}",
                hours,
                least,
                "h",
                at=after.at,
            )
    yield Pass(
        f"The {len(changes)} steps written down follow one another, {least:g} h apart or more."
    )


@check(
    "step-hours",
    title="Hours of a timed schedule",
    group=_GROUP,
    severity="question",
    limits=("step-hours",),
    source="common practice",
    reason="A timed schedule goes by its hours: cut short, it leaves wet cores; drawn out, it "
    "over-dries.",
    passes="Every timed step was run for the hours asked.",
)
def step_hours(case: Case) -> Results:
    if not case.schedule.time_based:
        raise NotApplicable("the schedule's steps end at an MC, not after a time")
    allowed, known = case.limits.value("step-hours"), 0
    last = len(case.asked) - 1
    for index, item in enumerate(case.asked):
        if item.step is None or item.step.hours is None:
            continue
        end = case.charge.ended if index == last else case.asked[index + 1].at
        run, asked = case.hours_between(item.at, min(end, case.charge.ended)), item.step.hours
        known += 1
        off = 100.0 * (run - asked) / asked
        # the last step may be extended until the boards are ready
        if off < -allowed or (off > allowed and item.step.number < len(case.steps)):
            yield Breach(
                f"Step {item.step.number} ran {run:.0f} h; the schedule asks {asked:.0f} h.",
                (_step_change_place(case, item.at),),
                f"step {item.step.number}",
                off,
                allowed,
                "%",
                at=item.at,
            )
    begun = {item.step.number for item in case.asked if item.step}
    for step in case.steps:
        if step.number not in begun:
            yield Breach(
                f"Step {step.number}, {step.hours or 0.0:.0f} h, was not run.",
                (case.place("ended"),),
                f"step {step.number}",
                -100.0,
                allowed,
                "%",
            )
    yield Pass(
        f"Each of {known} timed steps ran within {allowed:g} % of its hours, or the last "
        "was held longer."
    )


def _step_change_place(case: Case, at: object) -> Place:
    index = next((i for i, change in enumerate(case.charge.step_changes) if change.at == at), None)
    return case.place("started") if index is None else case.place("step_changes", index)


@check(
    "thickness-rule",
    title="Schedule fits the timber",
    group=_GROUP,
    severity="question",
    source="common practice",
    reason="A schedule is written for a species, a thickness and a state; thicker stock needs "
    "milder air, and green stock cannot take the air of a schedule for air-dried stock.",
    passes="The schedule is written for this species, thickness and state.",
)
def thickness_rule(case: Case) -> Results:
    made_for = case.schedule.for_stock
    thickest = max(length.value for length in made_for.thickness)
    for index, stock in enumerate(case.charge.stock):
        # a schedule adjusted for thicker stock lists that thickness
        if stock.thickness.value > thickest:
            yield Breach(
                f"Schedule not adjusted for {stock.thickness.entered}: it is written for "
                f"{', '.join(t.entered for t in made_for.thickness)}.",
                (case.place("stock", index, "thickness"),),
                stock.species,
                stock.thickness.value,
                thickest,
                "mm",
            )
        if stock.species not in made_for.species:
            yield Breach(
                f"The schedule is not written for {case.species[stock.species].trade_name}.",
                (case.place("stock", index, "species"),),
                stock.species,
            )
        if made_for.start == "air-dried" and stock.start == "green":
            yield Breach(
                "The schedule is written for air-dried timber, and this was loaded green.",
                (case.place("stock", index),),
                stock.species,
            )
    kinds = "; ".join(
        f"{case.species[stock.species].trade_name} {stock.thickness.entered}"
        for stock in case.charge.stock
    )
    yield Pass(f"The schedule is written for {kinds}.")


@check(
    "vent-against-spray",
    title="Vent and spray together",
    group=_GROUP,
    severity="note",
    limits=("vent-against-spray",),
    source="common practice",
    reason="Steam let in and out at once is money through the roof.",
    passes="Vents and spray did not work against each other.",
)
def vent_against_spray(case: Case) -> Results:
    air = case.need_air()
    vent, spray = air.log.channels.get("vent"), air.log.channels.get("spray")
    if vent is None or spray is None:
        raise NoData("the log does not hold vent and spray")
    minutes = case.limits.value("vent-against-spray")
    for run in air.stretches((vent > 0) & (spray > 0)):
        if run.hours * 60.0 >= minutes:
            yield Breach(
                f"Venting and steaming at once from {case.clock(air.times[run.first])}.",
                (air.log.place(run.first),),
                "vent",
                run.hours * 60,
                minutes,
                "min",
                at=air.times[run.first],
            )
    yield Pass(f"Vents and spray were never both open for {minutes:g} min.")


@check(
    "fans-stopped",
    title="Stops while wet",
    group=_GROUP,
    severity="question",
    limits=("fans-stopped-hours", "fans-stopped-above", "undeclared-stop-hours"),
    source="common practice",
    reason="Warm, wet timber in still air stains and moulds, and a stop that nobody wrote down "
    "falsifies every drying rate.",
    passes="The fans ran throughout, or the stop was short, or the timber was dry.",
)
def fans_stopped(case: Case) -> Results:
    allowed = case.limits.value("fans-stopped-hours")
    above = case.limits.value("fans-stopped-above")
    for index, stop in enumerate(case.charge.stops):
        hours = (stop.end - stop.start).total_seconds() / 3600.0
        control = control_at(case.controls, stop.start)
        if hours > allowed and control and control.mc_pct > above:
            yield Breach(
                f"Stopped {hours:.1f} h from {case.clock(stop.start)} ({stop.cause}) at "
                f"{control.mc_pct:.0f} %; inspect for stain and checks.",
                (case.place("stops", index),),
                "stop",
                hours,
                allowed,
                "h",
                at=stop.start,
            )
    yield from _undeclared_stops(case)
    undeclared = case.limits.value("undeclared-stop-hours")
    logged = case.air is not None and "fan" in case.air.log.channels
    yield Pass(
        f"No declared stop above {above:g} % was longer than {allowed:g} h"
        + (
            f", and the fans were never off for {undeclared:g} h without one."
            if logged
            else "; the log does not hold the fans."
        )
    )


def _undeclared_stops(case: Case) -> Iterator[Breach]:
    if case.air is None or "fan" not in case.air.log.channels:
        if not case.charge.stops:
            raise NoData("the log does not hold the fans, and no stop is written down")
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
        yield Breach(
            f"The fans were off for {run.hours:.1f} h from {case.clock(start)}; no stop is written "
            "down.",
            (air.log.place(run.first),),
            "fan",
            run.hours,
            allowed,
            "h",
            at=start,
        )


@check(
    "fan-reversal",
    title="Fan reversal",
    group=_GROUP,
    severity="note",
    limits=("fan-reversal",),
    source="common practice; wengert-extension",
    reason="Air that always enters on one side leaves the other wet.",
    passes="The fans reverse often enough.",
)
def fan_reversal(case: Case) -> Results:
    if case.kiln.reversal is None:
        raise NoData("the kiln's record gives no reversal time")
    place = (case.located_kiln.place("reversal"),)
    allowed = case.limits.value("fan-reversal")
    if case.kiln.reversal.value > allowed:
        yield Breach(
            f"Fans reverse every {case.kiln.reversal.entered}; {allowed:g} h is the most "
            "that is usual.",
            place,
            "fan",
            case.kiln.reversal.value,
            allowed,
            "h",
        )
    yield Pass(f"The fans reverse every {case.kiln.reversal.entered}, by the kiln's record.")
