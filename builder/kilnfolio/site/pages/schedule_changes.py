"""The revisions of a schedule side by side: every step, with the differences in words."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise, zip_longest

from markupsafe import Markup

from kilnfolio.forecast.what_if import HOW
from kilnfolio.handbook.revisions import reworded
from kilnfolio.records.model import Change
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import PlannedStep, planned_steps, resolve
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.phrases import plural
from kilnfolio.site.pages.schedules import step_span
from kilnfolio.site.pages.what_if import EffectRow, revision_row


@dataclass(frozen=True)
class StepPair:
    """A step before and after; None on a side where it does not exist."""

    name: str
    before: tuple[str, ...] | None
    after: tuple[str, ...] | None
    changed: tuple[bool, ...]
    """Whether each figure differs."""
    words: str
    """The differences in words; empty if there are none."""


@dataclass(frozen=True)
class Comparison:
    """Two consecutive revisions."""

    before: Schedule
    after: Schedule
    change: Change | None
    """The entry of the revision history."""
    steps: list[StepPair]
    texts: list[tuple[str, Markup]]
    """Everything else that differs: its name, and the text with changes marked."""
    effect: EffectRow | None
    """The effect on one board, compared with the revision before."""


#: The figures of a step, by their headings in the table.
FIGURES = ("Duration", "Dry bulb", "Wet bulb", "EMC")


def changed_names(context: SiteContext) -> list[str]:
    """Return the schedules with an earlier revision on record."""
    return sorted(context.folder.superseded.keys() & context.folder.schedules.keys())


def changes_page(context: SiteContext, name: str) -> Page:
    """Return the page that compares a schedule's revisions, newest first."""
    current = context.folder.schedules[name].record
    revisions = [current, *(located.record for located in context.folder.superseded[name])]
    comparisons = [_comparison(context, before, after) for after, before in pairwise(revisions)]
    return context.page(
        "schedule_changes.html",
        routes.changes("schedules", name),
        f"Revisions of {current.title}",
        "changes",
        record=current,
        comparisons=comparisons,
        figures=FIGURES,
        how=HOW,
        target=routes.schedule(name),
        crumbs=(("Schedules", "schedules/index.html"), (current.title, routes.schedule(name))),
        summary=f"{plural(len(revisions), 'revision')}, each beside the one before it.",
    )


def _comparison(context: SiteContext, before: Schedule, after: Schedule) -> Comparison:
    change = next((one for one in after.changes if one.revision == after.revision), None)
    steps, texts = side_by_side(context, before, after)
    return Comparison(before, after, change, steps, texts, revision_row(context, before, after))


def side_by_side(
    context: SiteContext, before: Schedule, after: Schedule
) -> tuple[list[StepPair], list[tuple[str, Markup]]]:
    """Return the steps of two schedules beside each other, and what else differs."""
    steps = _pairs(context.regional.temperature, _steps(context, before), _steps(context, after))
    return list(steps), list(_texts(context, before, after))


def _steps(context: SiteContext, record: Schedule) -> Sequence[PlannedStep]:
    return context.regional.steps_as_set(
        planned_steps(record, context.folder.steps_of(record), context.pressure_pa),
        context.pressure_pa,
    )


def _pairs(
    temperature: Callable[[float], str], before: Sequence[PlannedStep], after: Sequence[PlannedStep]
) -> Iterator[StepPair]:
    """Yield matching steps, so that an inserted step does not make all below it differ."""
    old, new = (
        [_figures(temperature, step) for step in before],
        [_figures(temperature, step) for step in after],
    )
    matcher = difflib.SequenceMatcher(None, old, new, autojunk=False)
    for _, first, last, begin, end in matcher.get_opcodes():
        for was, now in zip_longest(range(first, last), range(begin, end)):
            yield _pair(
                (was + 1, old[was]) if was is not None else None,
                (now + 1, new[now]) if now is not None else None,
            )


def _pair(
    was: tuple[int, tuple[str, ...]] | None, now: tuple[int, tuple[str, ...]] | None
) -> StepPair:
    old, new = was[1] if was else None, now[1] if now else None
    changed = tuple(
        old is None or new is None or old[column] != new[column] for column in range(len(FIGURES))
    )
    number = f"Step {now[0]}" if now else f"Step {was[0]} as it was" if was else ""
    return StepPair(number, old, new, changed, _in_words(old, new))


def _figures(temperature: Callable[[float], str], step: PlannedStep) -> tuple[str, ...]:
    return (
        step_span(step),
        temperature(step.air.dry_bulb_c),
        temperature(step.air.wet_bulb_c),
        figures.measure(step.air.emc_pct, "%"),
    )


def _in_words(old: tuple[str, ...] | None, new: tuple[str, ...] | None) -> str:
    if old is None or new is None:
        return f"put in, {', '.join(new)}" if new else "taken out"
    return "; ".join(
        f"{name[0].lower() + name[1:] if name != 'EMC' else name} {before}, now {after}"
        for name, before, after in zip(FIGURES, old, new, strict=True)
        if before != after
    )


def _texts(context: SiteContext, before: Schedule, after: Schedule) -> Iterator[tuple[str, Markup]]:
    for name, old, new in (
        ("Title", before.title, after.title),
        ("Thickness", _sizes(before), _sizes(after)),
        ("MC it is for", _target(before), _target(after)),
        ("Equalizing", _air(context, before, "equalizing"), _air(context, after, "equalizing")),
        (
            context.regional.term("Conditioning"),
            _air(context, before, "conditioning"),
            _air(context, after, "conditioning"),
        ),
        ("What governs a step", before.governs or "", after.governs or ""),
        ("Notes", before.notes or "", after.notes or ""),
        ("Source", before.source, after.source),
    ):
        if old != new:
            yield name, reworded(old, new)


def _sizes(record: Schedule) -> str:
    return ", ".join(size.entered for size in record.for_stock.thickness)


def _target(record: Schedule) -> str:
    return record.target_mc.entered if record.target_mc else "any"


def _air(context: SiteContext, record: Schedule, stage: str) -> str:
    treatment = getattr(record, stage)
    if treatment is None:
        return "by the rule"
    temperature, pressure = context.regional.temperature, context.pressure_pa
    air = context.regional.as_set(resolve(treatment, pressure), pressure)
    hours = f", {treatment.hours.entered}" if treatment.hours else ""
    return (
        f"dry bulb {temperature(air.dry_bulb_c)}, wet bulb {temperature(air.wet_bulb_c)}, "
        f"EMC {figures.measure(air.emc_pct, '%')}{hours}"
    )
