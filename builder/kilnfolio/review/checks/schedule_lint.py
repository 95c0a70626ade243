"""The schedule itself: whether it can be run and does what it says, before anything is dried."""
# The decorator of a check says what it asks and why; its page is made from that.
# ruff: noqa: D103

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from kilnfolio.records.problems import Place
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, check
from kilnfolio.review.setpoints import PlannedStep, resolve

_GROUP = "schedule"
#: 180 °F is 82.2 °C, whatever the last binary digit says. [K]
_ROUNDING = 1e-6


def _step_place(case: Case, step: PlannedStep, *key: str) -> tuple[Place, ...]:
    """Return where a step is written; a schedule in notation has its code only."""
    if case.schedule.notation:
        return (case.located_schedule.place("notation"),)
    return (case.located_schedule.place("steps", step.number - 1, *key),)


def _need_mc_steps(case: Case) -> tuple[PlannedStep, ...]:
    if case.schedule.time_based:
        raise NotApplicable("the schedule's steps end after a time, not at an MC")
    return case.steps


@check(
    "schedule-ceiling",
    title="Schedule keeps the ceiling while wet",
    group=_GROUP,
    severity="question",
    limits=("schedule-rounding",),
    source="dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="A schedule that is too hot while the wood is wet spoils every charge alike.",
    passes="No step for wet timber is hotter than the species bears.",
)
def schedule_ceiling(case: Case) -> Iterator[Breach]:
    steps, rounding = _need_mc_steps(case), case.limits.value("schedule-rounding")
    sheets = [case.species[stock.species] for stock in case.charge.stock]
    known = [(sheet, sheet.ceiling_while_wet) for sheet in sheets if sheet.ceiling_while_wet]
    if not known:
        raise NoData("no species sheet gives a ceiling while wet")
    sheet, ceiling = min(known, key=lambda item: item[1].dry_bulb.value)
    for step in steps:
        wet = step.from_mc_pct is None or step.from_mc_pct > ceiling.while_above.value
        if wet and step.air.dry_bulb_c > ceiling.dry_bulb.value + rounding:
            yield Breach(
                f"Step {step.number} asks {step.air.dry_bulb_c:.1f} °C while the timber may "
                "be above "
                f"{ceiling.while_above.value:g} %; {sheet.trade_name} bears "
                f"{ceiling.dry_bulb.value:.1f} °C.",
                _step_place(case, step, "dry_bulb"),
                f"step {step.number}",
                step.air.dry_bulb_c,
                ceiling.dry_bulb.value,
                "°C",
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
def schedule_emc_against_mc(case: Case) -> Iterator[Breach]:
    least, target = case.limits.value("schedule-emc-below"), case.charge.target_mc.value
    for step in case.steps:
        end = step.until_mc_pct
        if step is case.steps[-1]:
            end = target
        if end is not None and end - step.air.emc_pct < least:
            yield Breach(
                f"Step {step.number} holds {step.air.emc_pct:.1f} % EMC and is to dry to "
                f"{end:g} %: it "
                "does not get there.",
                _step_place(case, step),
                f"step {step.number}",
                end - step.air.emc_pct,
                least,
                "points",
            )


@check(
    "schedule-order",
    title="Steps grow warmer and drier",
    group=_GROUP,
    severity="question",
    limits=("schedule-rounding",),
    source="common practice",
    reason="Timber bears hotter and drier air as it dries, never the reverse; a step that goes "
    "back is a slip of the pen or belongs among the modifications.",
    passes="From step to step neither the dry bulb nor the depression falls.",
)
def schedule_order(case: Case) -> Iterator[Breach]:
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


@check(
    "schedule-end-air",
    title="Equalizing and conditioning air of the schedule",
    group=_GROUP,
    severity="question",
    limits=("equalizing-below-target", "conditioning-above-target", "stage-emc"),
    source="wengert-extension; dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="An equalizing or conditioning air that does not fit its target leaves wet hearts or "
    "set stress, however well it is held.",
    passes="The equalizing and conditioning air of the schedule fit its target.",
)
def schedule_end_air(case: Case) -> Iterator[Breach]:
    schedule, value = case.schedule, case.limits.value
    target = (schedule.target_mc or case.charge.target_mc).value
    stages = [
        ("equalizing", schedule.equalizing, target - value("equalizing-below-target")),
        ("conditioning", schedule.conditioning, target + value("conditioning-above-target")),
    ]
    given = [(name, air, rule) for name, air, rule in stages if air]
    if not given:
        raise NotApplicable("the schedule leaves equalizing and conditioning to the rule")
    for name, air, rule in given:
        emc = resolve(air, case.pressure_pa).emc_pct
        if abs(emc - rule) > value("stage-emc"):
            yield Breach(
                f"The schedule's {name} air holds {emc:.1f} % EMC; for a target of "
                f"{target:g} % the rule says {rule:g} %.",
                (case.located_schedule.place(name),),
                name,
                emc - rule,
                value("stage-emc"),
                "points",
            )


@check(
    "schedule-within-kiln",
    title="Kiln can run the schedule",
    group=_GROUP,
    severity="question",
    source="the kiln's record",
    reason="A kiln that cannot hold the air of a step runs another schedule than the one agreed.",
    passes="The kiln can hold every step, and the schedule suits its kind.",
)
def schedule_within_kiln(case: Case) -> Iterator[Breach]:
    hottest = case.kiln.hottest
    for step in case.steps:
        if step.air.dry_bulb_c > hottest.value + _ROUNDING:
            yield Breach(
                f"Step {step.number} asks {step.air.dry_bulb_c:.1f} °C; {case.kiln.name} "
                f"holds {hottest.entered} at most.",
                _step_place(case, step, "dry_bulb"),
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


@check(
    "schedule-modified",
    title="Modifications can be repeated",
    group=_GROUP,
    severity="question",
    source="common practice",
    reason="A departure from the book that is told in words only is run another way by the next "
    "operator.",
    passes="Every modification of the schedule says by how much, so that its steps can be "
    "recomputed.",
)
def schedule_modified(case: Case) -> Iterator[Breach]:
    if not case.schedule.modifications:
        raise NotApplicable("the schedule declares no modification")
    for index, change in enumerate(case.schedule.modifications):
        numbers = (change.humidity_points, change.depression_change, change.dry_bulb_change)
        if all(number is None for number in numbers):
            yield Breach(
                f"The modification '{change.what}' gives no number, so its steps cannot "
                "be recomputed.",
                (case.located_schedule.place("modifications", index),),
                f"modification {index + 1}",
            )


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
def schedule_approved(case: Case) -> Iterator[Breach]:
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
