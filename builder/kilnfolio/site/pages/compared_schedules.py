"""The mill's own schedules beside the published: what was changed, by steps and by effect."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

from markupsafe import Markup

from kilnfolio.charts.overlay import Course, Part, overlay_chart
from kilnfolio.forecast.effects import Effect, NoComparison, steps_down
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.schedules import pair_effect, published_for
from kilnfolio.forecast.what_if import HOW, BoardRun
from kilnfolio.records.schedule import Schedule
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.phrases import listed
from kilnfolio.site.pages.schedule_changes import FIGURES, StepPair, side_by_side
from kilnfolio.site.pages.what_if import EffectRow, effect_row

_POINTS = 60


@dataclass(frozen=True)
class Pair:
    """A published schedule, and the mill's own for the same timber."""

    anchor: str
    title: str
    target: str
    """Page of the published schedule; "" if it is this one without its modifications."""
    steps: list[StepPair]
    texts: list[tuple[str, Markup]]
    effect: EffectRow | None
    no_effect: str
    """Why no effect could be computed."""
    runs: tuple[tuple[str, float, float], ...]
    """Of each schedule: its name, its peak gradient index and the mean MC there [%]."""
    drawing: Markup
    points: tuple[tuple[str, float, float, float], ...]
    """Behind the drawing: schedule, days, mean MC and gradient index [%]."""


def compared_schedules(context: SiteContext) -> list[str]:
    """Return the schedules of the mill's own that have published ones to compare with."""
    folder = context.folder
    return [name for name in sorted(folder.schedules) if published_for(folder, name)]


def compared_schedules_page(context: SiteContext, name: str) -> Page:
    """Return the page that compares a schedule of the mill's own with the published."""
    record = context.folder.schedules[name].record
    pairs = [
        _pair(context, number, other, theirs, record)
        for number, (other, theirs) in enumerate(published_for(context.folder, name), 1)
    ]
    return context.page(
        "compared_schedules.html",
        routes.compared("schedules", name),
        f"What does our {record.title} change of the published?",
        "trend",
        record=record,
        pairs=pairs,
        figures=FIGURES,
        how=HOW,
        target=routes.schedule(name),
        crumbs=(("Schedules", "schedules/index.html"), (record.title, routes.schedule(name))),
        summary=f"Beside {listed(pair.title for pair in pairs)}.",
    )


def _pair(context: SiteContext, number: int, other: str, theirs: Schedule, ours: Schedule) -> Pair:
    steps, texts = side_by_side(context, theirs, ours)
    texts = [one for one in texts if one[0] not in ("Title", "Source", "Notes")]
    anchor, title = f"pair-{number}", theirs.title
    target = routes.schedule(other) if other else ""
    try:
        effect = pair_effect(context.folder, theirs, ours, f"Ours against {title}")
    except NoComparison as reason:
        return Pair(anchor, title, target, steps, texts, None, str(reason), (), Markup(""), ())
    runs = (("published", effect.found.first), ("ours", effect.found.second))
    return Pair(
        anchor,
        title,
        target,
        steps,
        texts,
        effect_row(effect),
        "",
        tuple((words, run.peak, run.peak_mc_pct) for words, run in runs),
        _drawing(context, anchor, (theirs, ours), effect),
        tuple(point for words, run in runs for point in _points(words, run)),
    )


def _points(words: str, run: BoardRun) -> Iterator[tuple[str, float, float, float]]:
    every = max(1, len(run.hours) // _POINTS)
    for place in range(0, len(run.hours), every):
        hours, mean, index = run.hours[place], run.mean_pct[place], run.gradient[place]
        yield words, float(hours) / 24.0, float(mean), float(index)


def _drawing(
    context: SiteContext, anchor: str, pair: tuple[Schedule, Schedule], effect: Effect
) -> Markup:
    target = pair[1].target_mc.value if pair[1].target_mc else None
    planned = [steps_down(context.folder, one, target) for one in pair]
    runs = (effect.found.first, effect.found.second)
    return runs_chart(
        anchor, f"One board under {pair[0].title} and under ours", planned, runs, context.regional
    )


def runs_chart(
    identity: str,
    title: str,
    planned: Sequence[Sequence[PlannedStep]],
    runs: Sequence[BoardRun],
    regional: RegionalFormat,
) -> Markup:
    """Return two computed runs of a board over each other: MC, EMC and dry bulb set, index."""
    scale = regional.temperature_scale
    points = [list(_points("", run)) for run in runs]

    def held(place: int, value: str) -> list[tuple[float, float]]:
        run, steps = runs[place], planned[place]
        of = scale.of if value == "dry_bulb_c" else float
        begins = [int((run.step == step).argmax()) for step in sorted(set(run.step.tolist()))]
        known = [
            (float(run.hours[at]) / 24.0, of(getattr(steps[int(run.step[at])], value)))
            for at in begins
        ]
        corners = [known[0]]
        for before, after in pairwise(known):
            corners += [(after[0], before[1]), after]
        return [*corners, (float(run.hours[-1]) / 24.0, known[-1][1])]

    def both(of: Callable[[int], list[tuple[float, float]]]) -> list[Course]:
        return [Course(place, of(place)) for place in (0, 1)]

    dry = f"Dry bulb asked for, {scale.unit}"
    panels = [
        Part("Mean MC of the board, %", 210.0, both(lambda n: [p[1:3] for p in points[n]])),
        Part("Gradient index, %", 120.0, both(lambda n: [(p[1], p[3]) for p in points[n]])),
        Part("EMC asked for, %", 120.0, both(lambda n: held(n, "emc_pct"))),
        Part(dry, 120.0, both(lambda n: held(n, "dry_bulb_c")), from_zero=False),
    ]
    said = "; ".join(
        f"{words}: largest gradient index {figures.measure(run.peak, '%', 1)}"
        for words, run in zip(("published", "ours"), runs, strict=True)
    )
    return overlay_chart(identity, title, said, ("published", "ours"), panels)
