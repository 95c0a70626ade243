"""The schedule itself: whether it can be run and does what it says."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

from itertools import pairwise

from kilnfolio.records.problems import Place
from kilnfolio.records.setpoints import PlannedStep, resolve
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.review.schedule_case import ScheduleCase, lint
from kilnfolio.review.stages import CONDITIONING_LIMITS, conditioning_rule, equalizing_rule

_GROUP = "schedule"
#: Tolerance for rounding: 180 °F is 82.2 °C. [K]
_ROUNDING = 1e-6


def _alone(case: Case) -> ScheduleCase:
    """Return a charge's schedule as a case by itself, for the timber of the charge."""
    return ScheduleCase(
        case.located_schedule,
        case.steps,
        tuple((case.species[stock.species], stock.thickness.value) for stock in case.charge.stock),
        case.charge.target_mc.value,
        case.limits,
        case.pressure_pa,
    )


def _step_place(case: ScheduleCase, step: PlannedStep, *key: str) -> tuple[Place, ...]:
    """Return where a step is written; a schedule in notation has only its code."""
    if case.schedule.notation:
        return (case.located.place("notation"),)
    return (case.located.place("steps", step.number - 1, *key),)


@check(
    "schedule-ceiling",
    title="Schedule keeps the ceiling while wet",
    group=_GROUP,
    severity="question",
    limits=("schedule-rounding",),
    source="dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="A schedule that is too hot while the wood is wet spoils every charge alike.",
    passes="No step for wet timber is hotter than the species can take.",
)
def schedule_ceiling(case: Case) -> Results:
    yield from ceiling(_alone(case))


@lint("schedule-ceiling")
def ceiling(case: ScheduleCase) -> Results:
    if case.schedule.time_based:
        raise NotApplicable("the schedule's steps end after a time, not at an MC")
    rounding = case.limits.value("schedule-rounding")
    known = [
        (bears, species)
        for species, thickness in case.stock
        if (bears := species.ceiling_at(thickness, case.schedule.for_stock.sort)) is not None
    ]
    if not known:
        raise NoData("no species sheet gives a ceiling while wet")
    (hottest, above), species = min(known, key=lambda item: item[0])
    wet = [step for step in case.steps if step.from_mc_pct is None or step.from_mc_pct > above]
    for step in wet:
        if step.air.dry_bulb_c > hottest + rounding:  # the first breach covers those after it
            yield Breach(
                f"Step {step.number} asks {step.air.dry_bulb_c:.1f} °C while the timber may "
                f"be above {above:g} %; {species.trade_name} can take {hottest:.1f} °C.",
                _step_place(case, step, "dry_bulb"),
                f"step {step.number}",
                step.air.dry_bulb_c,
                hottest,
                "°C",
            )
            break
    most = max(step.air.dry_bulb_c for step in wet)
    yield Pass(
        f"While the timber may be above {above:g} % the schedule asks {most:.1f} °C at "
        f"most; {species.trade_name} can take {hottest:.1f} °C."
    )


@check(
    "schedule-emc-against-mc",
    title="Each step can reach its end",
    group=_GROUP,
    severity="question",
    limits=("schedule-emc-below",),
    source="common practice",
    reason="Timber dries toward the EMC of its air. A step whose EMC is not below the MC it is to "
    "end at never ends.",
    passes="The EMC of every step lies below the MC the step ends at.",
)
def schedule_emc_against_mc(case: Case) -> Results:
    yield from emc_against_mc(_alone(case))


@lint("schedule-emc-against-mc")
def emc_against_mc(case: ScheduleCase) -> Results:
    least, judged = case.limits.value("schedule-emc-below"), 0
    for step in case.steps:
        end = case.target_pct if step is case.steps[-1] else step.until_mc_pct
        if end is None:
            continue
        judged += 1
        if end - step.air.emc_pct < least:
            yield Breach(
                f"Step {step.number} holds {step.air.emc_pct:.1f} % EMC and is to dry to "
                f"{end:g} %: it does not get there.",
                _step_place(case, step),
                f"step {step.number}",
                end - step.air.emc_pct,
                least,
                "points",
            )
    if not judged:
        raise NotApplicable("no step of the schedule ends at an MC")
    yield Pass(
        f"In {judged} {'step' if judged == 1 else 'steps'} that end at an MC the EMC lies at least "
        f"{least:g} point below it."
    )


@check(
    "schedule-order",
    title="Steps grow warmer and drier",
    group=_GROUP,
    severity="question",
    limits=("schedule-rounding",),
    source="common practice",
    reason="Timber can take hotter and drier air as it dries, never the reverse; a step back is a "
    "slip of the pen or should be listed as a modification.",
    passes="From step to step neither the dry bulb nor the depression falls.",
)
def schedule_order(case: Case) -> Results:
    yield from order(_alone(case))


@lint("schedule-order")
def order(case: ScheduleCase) -> Results:
    if len(case.steps) < 2:
        raise NotApplicable("the schedule has one step only")
    rounding = case.limits.value("schedule-rounding")
    for before, step in pairwise(case.steps):
        for name, was, now in (
            ("dry bulb", before.air.dry_bulb_c, step.air.dry_bulb_c),
            ("depression", before.air.depression_k, step.air.depression_k),
        ):
            if was - now > rounding:
                unit = "°C" if name == "dry bulb" else "K"
                yield Breach(
                    f"In step {step.number} the {name} falls from {was:.1f} to {now:.1f} {unit}.",
                    _step_place(case, step),
                    f"step {step.number}",
                    was - now,
                    rounding,
                    "K",
                )
    yield Pass(
        f"Through {len(case.steps)} steps neither the dry bulb nor the depression falls by "
        f"more than {rounding:g} K."
    )


@check(
    "schedule-end-air",
    title="Equalizing and conditioning air of the schedule",
    group=_GROUP,
    severity="question",
    limits=("equalizing-below-target", *CONDITIONING_LIMITS, "stage-emc"),
    source="wengert-extension; dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="An equalizing or conditioning air that does not fit its target leaves wet cores or "
    "stress, however well it is held.",
    passes="The equalizing and conditioning air of the schedule fit its target.",
)
def schedule_end_air(case: Case) -> Results:
    yield from end_air(_alone(case))


@lint("schedule-end-air")
def end_air(case: ScheduleCase) -> Results:
    schedule = case.schedule
    if not schedule.equalizing and not schedule.conditioning:
        raise NotApplicable("the schedule leaves equalizing and conditioning to the rule")
    target = schedule.target_mc.value if schedule.target_mc else case.target_pct
    if target is None:
        raise NoData("the schedule does not say which target its end is for")
    allowed, said = case.limits.value("stage-emc"), []
    for name, air, rule in (
        ("equalizing", schedule.equalizing, equalizing_rule(case.limits, target)),
        ("conditioning", schedule.conditioning, conditioning_rule(case.limits, target)),
    ):
        if air is None:
            continue
        emc = resolve(air, case.pressure_pa).emc_pct
        said.append(f"{name} holds {emc:.1f} % EMC, {rule:.3g} % by the rule")
        if abs(emc - rule) > allowed:
            yield Breach(
                f"The schedule's {name} air holds {emc:.1f} % EMC; for a target of "
                f"{target:g} % the rule says {rule:.3g} %.",
                (case.located.place(name),),
                name,
                emc - rule,
                allowed,
                "points",
            )
    words = "; ".join(said)
    yield Pass(f"{words[:1].upper()}{words[1:]}, for a target of {target:g} %.")


@check(
    "schedule-within-kiln",
    title="Kiln can run the schedule",
    group=_GROUP,
    severity="question",
    source="the kiln's record",
    reason="A kiln that cannot hold the air of a step runs a different schedule from the one "
    "agreed.",
    passes="The kiln can hold every step, and the schedule suits its kind.",
)
def schedule_within_kiln(case: Case) -> Results:
    hottest = case.kiln.hottest
    for step in case.steps:
        if step.air.dry_bulb_c > hottest.value + _ROUNDING:
            yield Breach(
                f"Step {step.number} asks {step.air.dry_bulb_c:.1f} °C; {case.kiln.name} "
                f"holds {hottest.entered} at most.",
                _step_place(_alone(case), step, "dry_bulb"),
                f"step {step.number}",
                step.air.dry_bulb_c,
                hottest.value,
                "°C",
            )
    if case.schedule.kiln_types and case.kiln.kind not in case.schedule.kiln_types:
        yield Breach(
            f"The schedule is written for {' or '.join(case.schedule.kiln_types)} kilns; "
            f"{case.kiln.name} is a {case.kiln.kind} kiln.",
            (case.located_schedule.place("kiln_types"),),
            case.kiln.id,
        )
    hot = max(step.air.dry_bulb_c for step in case.steps)
    yield Pass(
        f"The hottest step asks {hot:.1f} °C; {case.kiln.name} holds {hottest.entered}, and "
        "is of a kind the schedule is written for."
    )


@check(
    "schedule-modified",
    title="Modifications can be repeated",
    group=_GROUP,
    severity="question",
    source="common practice",
    reason="If a departure from the book is described only in words, the next operator will run it "
    "differently.",
    passes="Every modification of the schedule says by how much, so that its steps can be "
    "recomputed.",
)
def schedule_modified(case: Case) -> Results:
    yield from modified(_alone(case))


@lint("schedule-modified")
def modified(case: ScheduleCase) -> Results:
    if not case.schedule.modifications:
        raise NotApplicable("the schedule declares no modification")
    for index, change in enumerate(case.schedule.modifications):
        numbers = (change.humidity_points, change.depression_change, change.dry_bulb_change)
        if all(number is None for number in numbers):
            yield Breach(
                f"The modification '{change.what}' gives no number, so its steps cannot "
                "be recomputed.",
                (case.located.place("modifications", index),),
                f"modification {index + 1}",
            )
    count = len(case.schedule.modifications)
    yield Pass(f"{count} modification{'' if count == 1 else 's'}, each with its number.")


@check(
    "schedule-approved",
    title="Schedule approved before it was run",
    group=_GROUP,
    severity="question",
    claim="record",
    source="common practice",
    reason="Somebody answers for every schedule; one that nobody approved is a draft.",
    passes="The schedule was approved before the charge was started.",
)
def schedule_approved(case: Case) -> Results:
    approved = case.schedule.approved
    if approved is None:
        yield Breach(
            f"{case.schedule.title} is a draft: nobody has approved it.",
            (case.place("schedule"),),
            case.schedule.id,
        )
    elif approved.on > case.charge.started.astimezone(case.zone).date():
        yield Breach(
            f"The schedule was approved on {approved.on}, after the charge was started.",
            (case.located_schedule.place("approved", "on"),),
            case.schedule.id,
        )
    else:
        yield Pass(f"Approved by {approved.by} on {approved.on}, before the charge was started.")
