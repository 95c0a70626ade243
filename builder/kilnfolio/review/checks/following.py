"""Adherence to the schedule: whether the air was as asked, from `review.adherence`."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

import numpy as np

from kilnfolio.records.charge import ChargeStock
from kilnfolio.review.adherence import ADHERENCE_LIMITS, Outside, StepKept
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.runtime.values import dataclass

_GROUP = "schedule"


@check(
    "dry-bulb-overshoot",
    title="Hotter than the schedule",
    group=_GROUP,
    severity="question",
    limits=(*ADHERENCE_LIMITS, "dry-bulb-overshoot-hours"),
    source="common practice",
    reason="Heat beyond the schedule while wet costs strength and invites collapse.",
    passes="The kiln was never hotter than asked for long.",
)
def dry_bulb_overshoot(case: Case) -> Results:
    air = case.need_air()
    case.need_asked()
    allowed, hours = (
        case.limits.value("dry-bulb-overshoot"),
        case.limits.value("dry-bulb-overshoot-hours"),
    )
    over = case.adherence.over_dry_bulb
    if over is None:
        raise NoData("the log has no dry bulb while a step was asked for")
    for run in air.stretches(over > allowed, hours):
        worst = float(np.nanmax(over[run.first : run.last + 1]))
        yield Breach(
            f"Hotter than schedule for {run.hours:.1f} h from "
            f"{case.clock(air.times[run.first])}, by up to {worst:.1f} K.",
            (air.log.place(run.first),),
            "dry-bulb",
            worst,
            allowed,
            "K",
            at=air.times[run.first],
        )
    yield Pass(
        f"The dry bulb was never more than {allowed:g} K above what was asked for "
        f"{hours:g} h, not counting the time it took to cool to a lower set-point."
    )


@check(
    "air-too-dry-while-wet",
    title="Depression above the schedule while wet",
    group=_GROUP,
    severity="question",
    limits=(*ADHERENCE_LIMITS, "depression-overshoot-minutes"),
    source="common practice",
    reason="Surface checks open in the first days, when the air takes water faster than the "
    "core can send it.",
    passes="The air was not drier than asked while the timber was wet.",
)
def air_too_dry_while_wet(case: Case) -> Results:
    air = case.need_air()
    case.need_asked()
    if not case.controls:
        raise NoData("no weighing is on record")
    above = case.limits.value("depression-overshoot-above")
    wet = case.controlling_at_each > above
    if not wet.any():
        raise NotApplicable(f"the controlling MC was never above {above:g} %")
    allowed = case.limits.value("depression-overshoot")
    minutes = case.limits.value("depression-overshoot-minutes")
    over = case.adherence.over_depression
    if not np.isfinite(over[wet]).any():
        raise NoData("the log gives no depression while the timber was wet")
    for run in air.stretches((over > allowed) & wet):
        if run.hours * 60.0 >= minutes:
            worst = float(np.nanmax(over[run.first : run.last + 1]))
            yield Breach(
                f"Air too dry at the checking stage: depression {worst:.1f} K above "
                f"schedule from {case.clock(air.times[run.first])} for {run.hours:.1f} h.",
                (air.log.place(run.first),),
                "depression",
                worst,
                allowed,
                "K",
                at=air.times[run.first],
            )
    yield Pass(
        f"Above {above:g} % the depression was never more than {allowed:g} K larger than "
        f"asked for {minutes:g} min, not counting the way to a new set-point."
    )


@check(
    "air-as-asked",
    title="Air of each step as asked",
    group=_GROUP,
    severity="question",
    limits=(*ADHERENCE_LIMITS, "outside-hours"),
    source="common practice",
    reason="Air too cold or too humid dries too slowly and invites stain; air too dry late in "
    "drying sets stress. Either way, the schedule that was run is not the one agreed.",
    passes="The air of every step was as asked.",
)
def air_as_asked(case: Case) -> Results:
    case.need_air()
    case.need_asked()
    if all(item.step is None for item in case.asked):
        raise NoData("no step change is written down, so what was asked is not known")
    allowed, judged = case.limits.value("outside-hours"), case.adherence.judged_steps
    for kept in judged:
        for outside in kept.outside:
            if outside.hours > allowed and not _has_own_check(case, outside):
                yield Breach(
                    f"Step {kept.number} was {outside.side} by the log for {outside.hours:.0f} h, "
                    f"the longest time from {case.clock(outside.first)}: {asked_and_kept(kept)}.",
                    (case.need_air().log.place(outside.row),),
                    f"step {kept.number}",
                    outside.hours,
                    allowed,
                    "h",
                    at=outside.first,
                )
    if not judged:
        raise NoData("the log covers no step that was asked for")
    yield Pass(
        f"In each of {len(judged)} steps the air was outside its tolerance for no more than "
        f"{allowed:g} h on the cold, the humid or the dry side."
    )


def _has_own_check(case: Case, outside: Outside) -> bool:
    """Return whether a separate check reports it: too hot, or too dry at the checking stage."""
    if outside.side == "too hot":
        return True
    above = case.limits.value("depression-overshoot-above")
    return outside.side == "too dry" and bool(case.controlling_at_each[outside.row] > above)


def asked_and_kept(kept: StepKept) -> str:
    """Return in words what a step asked and what was kept."""
    asked = (
        f"asked {kept.asked.dry_bulb_c:.1f} °C at {kept.asked.depression_k:.1f} K "
        f"({kept.asked.emc_pct:.1f} % EMC)"
    )
    if kept.dry_bulb_c is None:
        return asked
    wet = "" if kept.wet_bulb_c is None else f" at {kept.dry_bulb_c - kept.wet_bulb_c:.1f} K"
    emc = "" if kept.emc_pct is None else f" ({kept.emc_pct:.1f} % EMC)"
    return f"{asked}, kept {kept.dry_bulb_c:.1f} °C{wet}{emc} on average"


# --- the ceiling while wet ------------------------------------------------------------------------


@dataclass(frozen=True)
class Ceiling:
    """The highest dry bulb [°C] allowed while the controlling MC is above a threshold [%]."""

    dry_bulb_c: float
    above_pct: float
    whose: str
    unknown_for: str = ""
    """The thickness, if it exceeds those for which the sheet has a ceiling: it bears less."""


def ceiling_for(case: Case, stock: ChargeStock) -> Ceiling | None:
    """Return the ceiling for one kind of timber at its thickness.

    The highest dry bulb that the charge's schedule asks for while wet, if it is written for that
    species and thickness; else the species' own for the thickness. None if neither is known.
    """
    species, made_for = case.species[stock.species], case.schedule.for_stock
    own = species.ceiling_at(stock.thickness.value)
    above = own[1] if own else case.limits.value("ceiling-while-wet-above")
    thickest = max(length.value for length in made_for.thickness)
    if stock.species in made_for.species and stock.thickness.value <= thickest + 0.5:
        wet = [
            step.air.dry_bulb_c
            for step in case.steps
            if case.schedule.time_based or step.from_mc_pct is None or step.from_mc_pct > above
        ]
        return Ceiling(max(wet), above, f"the schedule for {stock.thickness.entered} asks for")
    if own is None:
        return None
    size = stock.thickness.entered
    if stock.thickness.value > species.thickest_ceiling_mm:
        return Ceiling(own[0], above, f"{species.trade_name}, where thinner, can take", size)
    return Ceiling(own[0], above, f"{species.trade_name} {size} can take")


@check(
    "too-hot-while-wet",
    title="Above the ceiling while wet",
    group=_GROUP,
    severity="fail",
    limits=("ceiling-margin", "ceiling-while-wet-above", "ceiling-question-points", "step-timing"),
    source="dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="Wet wood is weak when hot: cells collapse and checks open inside, unseen until "
    "the board is cut.",
    passes="The dry bulb stayed below the ceiling for the thickness while the timber was wet.",
)
def too_hot_while_wet(case: Case) -> Results:
    air = case.need_air()
    ceilings = [found for stock in case.charge.stock if (found := ceiling_for(case, stock))]
    if not ceilings:
        raise NoData("neither the schedule nor a species sheet gives a ceiling for this thickness")
    if not case.controls:
        raise NoData("no weighing is on record")
    ceiling = min(ceilings, key=lambda one: one.dry_bulb_c)
    # notations step on the controlling MC, and a step this close to its trigger is not early
    wet = case.controlling_at_each > ceiling.above_pct + case.limits.value("step-timing")
    if not (wet & np.isfinite(air.dry_bulb)).any():
        raise NotApplicable(f"the controlling MC was never above {ceiling.above_pct:g} %")
    margin = case.limits.value("ceiling-margin")
    near = case.limits.value("ceiling-question-points")
    for run in air.stretches((air.dry_bulb > ceiling.dry_bulb_c + margin) & wet)[:3]:
        worst = float(np.nanmax(air.dry_bulb[run.first : run.last + 1]))
        mc = float(case.controlling_at_each[run.first])
        yield Breach(
            f"Too hot while wet: {worst:.1f} °C on {case.clock(air.times[run.first])} with the "
            f"controlling MC at {mc:.1f} %; {ceiling.whose} {ceiling.dry_bulb_c:.1f} °C above "
            f"{ceiling.above_pct:g} %. Collapse and honeycomb risk.",
            (air.log.place(run.first),),
            "dry-bulb",
            worst,
            ceiling.dry_bulb_c,
            "°C",
            severity="fail" if mc > ceiling.above_pct + near else "question",
            at=air.times[run.first],
        )
    hottest = float(np.nanmax(air.dry_bulb[wet]))
    unknown = [one.unknown_for for one in ceilings if one.unknown_for]
    if unknown:
        raise NoData(
            f"no ceiling is on record for {', '.join(unknown)}; the dry bulb reached "
            f"{hottest:.1f} °C while wet"
        )
    yield Pass(
        f"While the controlling MC was above {ceiling.above_pct:g} %, the dry bulb reached "
        f"{hottest:.1f} °C; {ceiling.whose} {ceiling.dry_bulb_c:.1f} °C."
    )
