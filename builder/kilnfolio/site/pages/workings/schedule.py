"""Workings of a schedule: the air of its steps, its end by the rule, and its charges' results."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from kilnfolio.records import reading
from kilnfolio.records.quantities import Pressure
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import PlannedStep
from kilnfolio.records.species import Kind
from kilnfolio.review.evidence import schedule_evidence
from kilnfolio.review.working import Bare
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.workings import (
    Shown,
    Workings,
    by_id,
    percent,
    points,
    shown,
    work_out,
)
from kilnfolio.site.pages.workings.setpoints import (
    SetPoint,
    pressure_of,
    set_point_workings,
    written_way,
)

if TYPE_CHECKING:
    from kilnfolio.site.pages.schedules import Recipe


def schedule_workings(
    context: SiteContext, record: Schedule, steps: Sequence[PlannedStep], found: Sequence[Recipe]
) -> Workings:
    """Return the working of every computed number of a schedule's page."""
    pressure = pressure_of(context.pressure_pa)
    kind = context.folder.species[record.for_stock.species[0]].record.kind
    written = context.folder.steps_of(record)
    asked = [
        SetPoint(f"step {step.number}", step.air, written_way(record, own), own.emc)
        for step, own in zip(steps, written, strict=True)
    ]
    return by_id(
        (
            *set_point_workings("step", asked, pressure),
            *_recipe_workings(record, found, kind, pressure),
            *_evidence_workings(context, record),
        )
    )


def _recipe_workings(
    record: Schedule, found: Sequence[Recipe], kind: Kind, pressure: Pressure
) -> Iterator[Shown]:
    """Yield the working of the treatments: by the rule, or from the air the schedule states."""
    below = [(one, points(one.target_pct - one.begin_pct, 1)) for one in found]
    yield shown(
        "begin",
        "Driest board when equalizing begins",
        (
            work_out(
                "equalizing_start",
                f"{one.target_pct:g} % ordered",
                target=percent(one.target_pct, 0),
                below=by,
            )
            for one, by in below
        ),
    )
    yield shown(
        "end-emc",
        "EMC of equalizing and of conditioning",
        (
            *(
                work_out(
                    "equalizing_emc", "equalizing", target=percent(one.target_pct, 0), below=by
                )
                for one, by in below
            ),
            *(
                work_out(
                    "conditioning_emc",
                    "conditioning",
                    target=percent(one.target_pct, 0),
                    kind=kind,
                    above=points(one.conditioning_emc_pct - one.target_pct, 1),
                )
                for one in found
            ),
        ),
        "Where the schedule states its own air, its EMC follows from the bulbs, as for a step.",
        sample=bool(record.equalizing or record.conditioning),
    )
    wet, _, _, emc = set_point_workings("end", _treatment_airs(record, found), pressure)
    yield replace(wet, of="Wet bulb that gives the EMC")
    yield replace(emc, id="end-set-emc", of="EMC of the two bulbs as set, in whole degrees")


def _treatment_airs(record: Schedule, found: Sequence[Recipe]) -> list[SetPoint]:
    """Return the air of the treatments: first what the schedule states, then what follows the rule."""
    stated, by_rule = [], []
    for one in found:
        for stage, row, written in (
            ("equalizing", one.equalizing, record.equalizing),
            ("conditioning", one.conditioning, record.conditioning),
        ):
            if row and one.own and written:
                way = written_way(record, written)
                stated.append(SetPoint(f"{stage}, this schedule", row.air, way, written.emc))
            elif row:
                title = f"{stage}, {one.target_pct:g} % ordered"
                by_rule.append(SetPoint(title, row.air, "emc", percent(row.air.emc_pct, 1)))
    return [*stated, *by_rule]


def _evidence_workings(context: SiteContext, record: Schedule) -> Iterator[Shown]:
    charges = context.charges[reading.of_schedule(record.id)]
    found = list(schedule_evidence(record.id, (context.lines[name].evidence for name in charges)))
    lines = [
        (f"revision {one.revision}, {context.species_name(one.species)} {one.thickness}", one)
        for one in found
    ]
    times = [(label, [Bare(value, f"{value:.1f}") for value in one.days]) for label, one in lines]
    yield shown(
        "days",
        "Mean time from heating to end",
        (work_out("mean", label, of=of) for label, of in times),
    )
    yield shown(
        "days-range",
        "Shortest and longest",
        (
            work_out(formula, f"{label}, {words}", of=of)
            for label, of in times
            for words, formula in (("shortest", "least"), ("longest", "greatest"))
        ),
    )
    yield shown(
        "final-spread",
        "Final spread",
        (
            work_out("spread_taken_together", label, of=[points(sd) for sd in one.final_sds])
            for label, one in lines
            if one.final_sds
        ),
    )
