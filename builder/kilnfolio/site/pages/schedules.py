"""Pages of schedules: steps, equalizing and conditioning, the wood's limits, and the history."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence

from kilnfolio.charts.steps import step_diagram
from kilnfolio.forecast.schedules import published_for
from kilnfolio.records import reading
from kilnfolio.records.limits import Limits
from kilnfolio.records.quantities import (
    Length,
    TemperatureDifference,
    fahrenheit_from_celsius,
)
from kilnfolio.records.schedule import Modification, Schedule, Step, Treatment
from kilnfolio.records.setpoints import AirState, PlannedStep, air_with_emc, planned_steps, resolve
from kilnfolio.records.sourced import Status
from kilnfolio.records.species import Kind, Species
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review import figures
from kilnfolio.review.evidence import schedule_evidence
from kilnfolio.review.limits import LimitTable, Subject, limit_table
from kilnfolio.review.stages import points_above
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SHOWN, Citation, SiteContext
from kilnfolio.site.pages.compared_charges import alike_pages
from kilnfolio.site.pages.facts import Fact, drying_facts
from kilnfolio.site.pages.loads import LoadRow, load_rows
from kilnfolio.site.pages.open_charges import draft_views
from kilnfolio.site.pages.phrases import listed, plural, thicknesses
from kilnfolio.site.pages.summaries import ChargeRow, charge_rows
from kilnfolio.site.pages.what_if import schedule_view
from kilnfolio.site.pages.workings import Workings
from kilnfolio.site.pages.workings.schedule import schedule_workings

INDEX = "schedules/index.html"

#: Keys of the limits that define equalizing and conditioning by rule.
_BELOW, _ABOVE = "equalizing-below-target", "conditioning-above-target"

#: Commonly ordered final moisture contents; common practice, no source. [% MC]
USUAL_TARGETS: dict[Kind, tuple[float, ...]] = {
    "hardwood": (6.0, 7.0, 8.0, 9.0, 10.0, 12.0),
    "softwood": (8.0, 10.0, 12.0, 15.0, 18.0),
}


@dataclass(frozen=True)
class AirRow:
    """One state of the air in both unit systems."""

    label: str
    """Step number, or the MC ordered."""
    span: str
    """The range of MC, or the hours, it applies to."""
    name: str
    air: AirState
    dry_bulb_f: float
    wet_bulb_f: float
    depression_f: float
    """Wet-bulb depression [°F]."""


@dataclass(frozen=True)
class Recipe:
    """Equalizing and conditioning for one target."""

    target_pct: float
    begin_pct: float
    """Driest board when equalizing begins [%]."""
    equalizing: AirRow | None
    """None if no air at the last step's dry bulb has that EMC."""
    conditioning: AirRow | None
    own: bool
    """True if written in the schedule itself; otherwise by the rule."""
    equalizing_emc_pct: float
    """EMC by the rule, printed if no air has it."""
    conditioning_emc_pct: float


@dataclass(frozen=True)
class Rule:
    """A rule of the recipe, with its source."""

    words: str
    cite: Citation
    status: Status


@dataclass(frozen=True)
class Wood:
    """A species the schedule is for, with what the wood allows."""

    record: Species
    target: str
    facts: list[Fact]


@dataclass(frozen=True)
class ModificationLine:
    """A declared departure from the published schedule."""

    what: str
    why: str
    amount: str
    holds: str


@dataclass(frozen=True)
class EvidenceLine:
    """Results of the mill's charges of one revision and stock."""

    revision: int
    stock: str
    charges: int
    mean_days: float
    shortest: float
    longest: float
    sd: float | None
    defects: str


@dataclass(frozen=True)
class ScheduleView:
    """Everything a schedule page prints."""

    record: Schedule
    thickness: tuple[str, ...]
    woods: list[Wood]
    steps: list[AirRow]
    pressure_kpa: float
    recipes: list[Recipe]
    recipe_rules: list[Rule]
    recipe_dry_bulb_c: float
    modifications: list[ModificationLine]
    cite: Citation
    diagram: str
    charges: list[ChargeRow]
    """The newest charges."""
    total: int
    """Number of all charges."""
    evidence: list[EvidenceLine]
    loads: list[LoadRow]
    """Estimates for loads before they go in."""
    compared: str
    """The page that compares its revisions; empty if no earlier one is on record."""
    how: Workings
    """The working of each computed number."""


def _evidence(context: SiteContext, record: Schedule) -> Iterator[EvidenceLine]:
    charges = context.charges[reading.of_schedule(record.id)]
    for found in schedule_evidence(record.id, (context.lines[name].evidence for name in charges)):
        yield EvidenceLine(
            found.revision,
            f"{context.species_name(found.species)}, {found.thickness}",
            len(found.charges),
            found.mean_days,
            min(found.days),
            max(found.days),
            found.pooled_sd_pct,
            "; ".join(
                f"{context.regional.defect(one.defect)} {figures.measure(one.share_pct, '%', 1)}"
                for one in found.defects
                if one.pieces
            ),
        )


def schedule_index(context: SiteContext) -> Page:
    """Return the index of schedules."""
    records = sorted(
        (located.record for located in context.folder.schedules.values()),
        key=lambda record: (record.title.casefold(), record.id),
    )
    rows = [
        (
            record,
            routes.schedule(record.id),
            listed(context.species_name(name) for name in record.for_stock.species),
            thicknesses(record.for_stock.thickness),
            len(context.charges[reading.of_schedule(record.id)]),
        )
        for record in records
    ]
    known = Counter(record.status for record in records).most_common(1)
    return context.page(
        "schedules_index.html",
        INDEX,
        "Schedules",
        "schedule",
        rows=rows,
        mostly=known[0][0] if known and known[0][1] > 2 else "",
        drafts=draft_views(context, "schedule"),
        summary=f"{plural(len(records), 'schedule')}, every step in both unit "
        "systems with the air it asks for.",
    )


def schedule_page(context: SiteContext, name: str) -> Page:
    """Return the page of a schedule."""
    record = context.folder.schedules[name].record
    charges = context.charges[reading.of_schedule(name)]
    steps = context.regional.steps_as_set(
        planned_steps(record, context.folder.steps_of(record), context.pressure_pa),
        context.pressure_pa,
    )
    woods = [context.folder.species[name].record for name in record.for_stock.species]
    rows = [_row(str(step.number), step_span(step), step.name, step.air) for step in steps]
    found = recipes(
        record,
        woods[0].kind,
        context.folder.limits.record,
        steps[-1].air,
        context.pressure_pa,
        context.regional,
    )
    view = ScheduleView(
        record,
        tuple(context.regional.side_by_side(size) for size in record.for_stock.thickness),
        [
            Wood(wood, routes.species(wood.id), _facts(context, wood, record.for_stock.thickness))
            for wood in woods
        ],
        rows,
        context.pressure_pa / 1000.0,
        found,
        _recipe_rules(context, woods[0].kind),
        steps[-1].air.dry_bulb_c,
        [_modification(context.regional, change) for change in record.modifications],
        context.cite(record.source),
        step_diagram(record.title, steps, context.regional),
        charge_rows(context, charges[:SHOWN]),
        len(charges),
        list(_evidence(context, record)),
        load_rows(context, name)
        if context.edition == "mill"
        else [],  # an estimate is not evidence
        routes.changes("schedules", name) if name in context.folder.superseded else "",
        schedule_workings(context, record, steps, found),
    )
    return context.page(
        "schedule.html",
        routes.schedule(record.id),
        record.title,
        "schedule",
        view=view,
        effect=schedule_view(context, name),
        beside=_beside(context, name),
        alike=alike_pages(context, charges[:SHOWN]),
        summary=_summary(view),
        crumbs=(("Schedules", INDEX),),
        text=_text(view, context.regional.temperature),
    )


def _beside(context: SiteContext, name: str) -> str:
    """Return the page that compares a schedule with the published; "" if there is none."""
    if context.edition != "mill" or not published_for(context.folder, name):
        return ""
    return routes.compared("schedules", name)


def schedule_rows(
    record: Schedule, written: Sequence[Step], pressure_pa: float, regional: RegionalFormat
) -> list[AirRow]:
    """Return the steps of a schedule in both unit systems, with their air at a pressure."""
    steps = regional.steps_as_set(planned_steps(record, written, pressure_pa), pressure_pa)
    return [_row(str(step.number), step_span(step), step.name, step.air) for step in steps]


def _row(label: str, span: str, name: str, air: AirState) -> AirRow:
    return AirRow(
        label,
        span,
        name,
        air,
        fahrenheit_from_celsius(air.dry_bulb_c),
        fahrenheit_from_celsius(air.wet_bulb_c),
        air.depression_k * 1.8,
    )


def step_span(step: PlannedStep) -> str:
    """Return the range a step applies to: ``50 to 40 %``, ``above 50 %``, ``12 h``."""
    if step.hours is not None:
        return figures.measure(step.hours, "h", 0)
    if step.from_mc_pct is None:
        return (
            f"above {_percent(step.until_mc_pct)}"
            if step.until_mc_pct is not None
            else "to the end"
        )
    if step.until_mc_pct is None:
        return f"below {_percent(step.from_mc_pct)}"
    return f"{step.from_mc_pct:g} to {_percent(step.until_mc_pct)}"


def _percent(value: float | None) -> str:
    return f"{value:g}{figures.NBSP}%"


def _facts(context: SiteContext, wood: Species, sizes: list[Length]) -> list[Fact]:
    """Return the wood's limits that apply to these thicknesses."""
    concerned = {size.value for size in sizes}
    loss = [known for known in wood.safe_daily_loss if known.thickness.value in concerned]
    return drying_facts(
        context, wood.model_copy(update={"safe_daily_loss": loss, "meter_correction": None})
    )


def recipes(
    schedule: Schedule,
    kind: Kind,
    limits: Limits,
    last: AirState,
    pressure_pa: float,
    regional: RegionalFormat,
) -> list[Recipe]:
    """Return equalizing and conditioning for the schedule's own target and the usual ones.

    Parameters
    ----------
    schedule : Schedule
        The schedule, which may define its own treatments.
    kind : {"hardwood", "softwood"}
        The kind of timber.
    limits : Limits
        The mill's limits, which hold the rule: points below and above the target.
    last : AirState
        The air of the last step; the rule keeps its dry bulb.
    pressure_pa : float
        Air pressure. [Pa]
    regional : RegionalFormat
        The unit that people set the air in.
    """
    own = schedule.target_mc.value if schedule.target_mc else None
    found = []
    for target in sorted({*USUAL_TARGETS[kind], *([own] if own is not None else [])}):
        book = LimitTable(
            limits,
            Subject(
                tuple(schedule.for_stock.species),
                kind,
                schedule.for_stock.thickness[0].value,
                target,
            ),
        )
        below, above = book.value(_BELOW), points_above(book, target)
        written = (schedule.equalizing, schedule.conditioning) if target == own else (None, None)
        dry, even = target - below, target + above
        found.append(
            Recipe(
                target,
                dry,
                _treated(written[0], last, dry, pressure_pa, regional),
                _treated(written[1], last, even, pressure_pa, regional),
                any(written),
                dry,
                even,
            )
        )
    return found


def _treated(
    own: Treatment | None,
    last: AirState,
    emc_pct: float,
    pressure_pa: float,
    regional: RegionalFormat,
) -> AirRow | None:
    air = resolve(own, pressure_pa) if own else air_with_emc(last.dry_bulb_c, emc_pct, pressure_pa)
    return _row("", "", "", regional.as_set(air, pressure_pa)) if air else None


def _recipe_rules(context: SiteContext, kind: Kind) -> list[Rule]:
    book = limit_table(context.folder, Subject(kind=kind))
    found = []
    for key, words in (
        (_BELOW, "Equalizing begins, and its EMC stands, {} points below the MC ordered"),
        (
            _ABOVE,
            context.regional.phrase(
                "{conditioning} EMC stands {} points above it from a target "
                "of {} % on, a point less for lower ones"
            ),
        ),
    ):
        limit, full = book.find(key), book.value("conditioning-full-from")
        found.append(
            Rule(
                words.format(f"{limit.value:g}", f"{full:g}"),
                context.cite(limit.source),
                limit.status,
            )
        )
    return found


def _modification(regional: RegionalFormat, change: Modification) -> ModificationLine:
    amounts = []
    if change.dry_bulb_change:
        amounts.append(f"dry bulb {_signed(regional, change.dry_bulb_change)}")
    if change.depression_change:
        amounts.append(f"depression {_signed(regional, change.depression_change)}")
    if change.humidity_points:
        amounts.append(f"RH {change.humidity_points:+g} points".replace("-", figures.MINUS))
    holds = (
        f"while above {figures.as_entered(change.while_above)} MC"
        if change.while_above
        else "in every step"
    )
    return ModificationLine(change.what, change.why, listed(amounts), holds)


def _signed(regional: RegionalFormat, change: TemperatureDifference) -> str:
    sign = "" if change.value < 0 else "+"
    return sign + regional.side_by_side(change)


def _summary(view: ScheduleView) -> str:
    record = view.record
    code = f"{record.notation}, " if record.notation else ""
    return (
        f"{code}{plural(len(view.steps), 'step')} for "
        f"{listed(wood.record.trade_name for wood in view.woods)} "
        f"{thicknesses(record.for_stock.thickness)}, from {record.for_stock.start}."
    )


def _text(view: ScheduleView, temperature: Callable[[float], str]) -> Iterator[str]:
    record = view.record
    yield f"{record.title}."
    yield f"Code {record.notation}." if record.notation else ""
    yield (
        f"For {listed(wood.record.trade_name for wood in view.woods)}, "
        f"{listed(view.thickness)}, {record.for_stock.start}."
    )
    yield record.governs or ""
    yield record.notes or ""
    for row in view.steps:
        yield (
            f"Step {row.label}, {row.name + ', ' if row.name else ''}{row.span}: dry bulb "
            f"{temperature(row.air.dry_bulb_c)}, wet bulb {temperature(row.air.wet_bulb_c)}, EMC "
            f"{row.air.emc_pct:.1f} %."
        )
    yield from (f"{line.what} {line.why}" for line in view.modifications)
