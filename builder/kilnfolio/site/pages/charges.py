"""Pages of charges: the answer first, then everything it rests on."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import field, replace

from kilnfolio.charts.cores import CoreTable, core_chart, core_table
from kilnfolio.charts.survey import histogram
from kilnfolio.graph.derived import inline
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.charge import Charge
from kilnfolio.records.region import regions
from kilnfolio.rendering import routes
from kilnfolio.rendering.languages import SEALED
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review import figures
from kilnfolio.review.cost import Cost, Dried, cost_of
from kilnfolio.review.dossier import (
    Dossier,
    HeatRun,
    OvenDryEstimate,
    StageResult,
    StepReplay,
)
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext, context_of, mill_context
from kilnfolio.site.pages.charge_drawing import charge_drawing
from kilnfolio.site.pages.charge_parts import ChargeParts, charge_parts
from kilnfolio.site.pages.compared_charges import compared_at
from kilnfolio.site.pages.findings import FindingGroups, finding_groups
from kilnfolio.site.pages.forecasts import forecast_view
from kilnfolio.site.pages.open_charges import open_charge_view
from kilnfolio.site.pages.own_figures import own_figures
from kilnfolio.site.pages.phrases import (
    Count,
    days,
    listed,
    outcome_counts,
    span,
    stock_words,
)
from kilnfolio.site.pages.summaries import defects_found
from kilnfolio.site.pages.what_if import open_view, replay_view
from kilnfolio.site.pages.workings import Workings, by_id
from kilnfolio.site.pages.workings.charge import charge_workings
from kilnfolio.site.pages.workings.cost import cost_workings
from kilnfolio.site.seals import SealLine, SealView, Superseded
from kilnfolio.site.series import series_paths

INDEX = routes.register("charges")


@dataclass(frozen=True)
class Link:
    """A link to another page of the edition."""

    words: str
    target: str


@dataclass(frozen=True)
class StockLine:
    """One kind of timber in the charge."""

    species: Link
    thickness: str
    volume: str
    pieces: str
    start: str
    intake: str


@dataclass(frozen=True)
class StepLine:
    """Why a step was made."""

    at: dt.datetime
    step: int
    sentence: str
    timing: str
    """early, late or due."""
    air: str = ""
    """The air just before the step; empty without readings."""


@dataclass(frozen=True)
class WeighingRow:
    """One round of weighings: the MC of each board, and the controlling MC."""

    at: dt.datetime
    as_cut: bool
    """True for the boards as cut before drying; the time is that of the last board cut."""
    mcs: list[tuple[float | None, float | None, bool]]
    """For each board, its MC, the uncertainty, and whether the board decides."""
    controlling: float | None


@dataclass(frozen=True)
class StageView:
    """Equalizing or conditioning."""

    name: str
    result: StageResult
    length: str


@dataclass(frozen=True)
class SurveyView:
    """The final survey as printed."""

    chart: str
    how: str
    rows: list[tuple[int, str, str, float]]
    """Number, pack, position, MC."""
    bars: list[tuple[str, int]]


@dataclass(frozen=True)
class HeatLine:
    """A probe's longest run at temperature."""

    channel: str
    position: str
    longest: str
    when: tuple[dt.datetime, dt.datetime] | None
    highest_c: float
    uncertainty_k: float | None
    reached: bool


@dataclass(frozen=True)
class RateLine:
    """A board's fastest loss while wet, with its safe rate."""

    board: str
    daily: float | None
    """Fastest loss over a day or more [points a day]."""
    safe_daily: float | None
    hourly: float | None
    """Fastest loss for each hour the fans ran [points an hour]."""
    safe_hourly: float | None
    """The safe daily rate divided by 24 [points an hour]."""
    beyond: bool
    """Whether `hourly` exceeds `safe_hourly`."""


@dataclass(frozen=True)
class DefectLine:
    """A defect found at grading."""

    defect: str
    pieces: str
    worst: str
    note: str


@dataclass(frozen=True)
class ChargeView:
    """Everything a charge's page prints."""

    record: Charge
    dossier: Dossier
    answer: str
    counts: tuple[Count, ...]
    findings: FindingGroups
    stock: list[StockLine]
    kiln: Link
    schedule: Link
    length: str
    region: str
    """The mill's region, and which of its customs apply to this charge."""
    steps: list[StepLine]
    board_names: list[str]
    weighings: list[WeighingRow]
    stages: list[StageView]
    survey: SurveyView | None
    stress: str
    defects: str
    graded: list[DefectLine]
    heat: list[HeatLine]
    core_chart: str
    cores: CoreTable
    rates: list[RateLine]
    """The fastest loss of each board while wet."""
    versions: list[tuple[str, OvenDryEstimate]]
    """Oven-dry masses of boards cut again, with the board's tag."""
    air_pressure_kpa: float
    how: Workings
    """The working of each computed number."""
    series: tuple[str, str]
    """Paths of its recomputed series."""
    parts: ChargeParts | None = None
    """What is printed of it alike in every edition, once the rest is known."""
    chart: str = ""
    lots: Sequence[Link] = ()
    seal: SealView = field(default_factory=SealView)
    superseded_by: SealLine | None = None
    """The ledger entry that replaced this sealed state."""
    cost: Cost | None = None
    """What drying cost, for the mill alone."""


def charge_pages(context: SiteContext, number: str) -> Iterator[Page]:
    """Yield the page of a charge, and of each sealed state that has since been amended."""
    yield _page(context, context.folder.charges[number].record)
    for old in context.seals.superseded(number):
        yield superseded_page(context, old)


def superseded_page(context: SiteContext, old: Superseded) -> Page:
    """Return the page of a sealed state that has since been amended, marked as such."""
    number = old.dossier.charge
    then = context.as_of(old.folder, old.dossier)
    record = old.folder.charges[number].record
    seal = SealView((old.line,), old.line.key in context.seals.demo_keys)
    view = replace(charge_view(then, record), seal=seal, superseded_by=old.by, lots=[])
    return context.page(
        "charge.html",
        old.line.page,
        f"Charge {number}, superseded",
        "charge",
        view=view,
        crumbs=(("Charges", INDEX), (number, routes.charge(number))),
        summary=f"As sealed {old.line.at:%Y-%m-%d}; superseded.",
        robots="noindex",
    )


def _page(context: SiteContext, record: Charge) -> Page:
    view = _with_cost(context, charge_view(context, record))
    species = context.records_of(record.id).species
    names = {stock.species: species[stock.species].record.trade_name for stock in record.stock}
    stock = stock_words(record, names)
    return context.page(
        "charge.html",
        routes.charge(record.id),
        f"Charge {record.id}",
        "charge",
        view=view,
        board=replay_view(context, record.id),
        compared=compared_at(context, record.id),
        own_figures=own_figures(context, record),
        summary=f"{stock}, {view.kiln.words}, {record.started:%Y-%m-%d}. {view.answer}",
        crumbs=(("Charges", INDEX),),
    )


def _with_cost(context: SiteContext, view: ChargeView) -> ChargeView:
    """Return the view with what drying cost, if the energy was metered and the mill has prices."""
    prices, water = context.folder.prices, view.dossier.water
    if context.edition != "mill" or prices is None or water is None or water.metered_kwh is None:
        return view
    dried = Dried(
        round((view.dossier.ended - view.dossier.started).total_seconds() / 86_400.0, 1),
        water.volume_m3,
        water.metered_kwh,
    )
    tariff = context.records_of(view.record.id).mill.record.energy_price
    cost = cost_of(dried, prices.record, tariff)
    if cost is None:
        return view
    return replace(view, cost=cost, how={**view.how, **by_id(cost_workings(cost))})


def open_charge_page(context: SiteContext, number: str) -> Page:
    """Return the page of an incomplete charge, at the address it keeps once complete."""
    so_far, view = context.open_reviews[number], None
    open_charge = open_charge_view(context, so_far)
    if so_far.located is not None and so_far.dossier is not None:
        then = context.as_of(context.folder, so_far.dossier)
        view = charge_view(then, so_far.located.record)
    return context.page(
        "open_charge.html",
        open_charge.target,
        f"Charge {open_charge.number}, not yet complete",
        "charge",
        open_charge=open_charge,
        view=view,
        forecast=forecast_view(context, number),
        board=open_view(context, number),
        summary=f"{open_charge.words + '. ' if open_charge.words else ''}{open_charge.answer}",
        crumbs=(("Charges", INDEX),),
        text=(f"Charge {open_charge.number}. {open_charge.words}", open_charge.answer),
        robots="noindex",
    )


def charge_view(context: SiteContext, record: Charge) -> ChargeView:
    """Return the view of a charge."""
    if context.is_copy:
        view = _review_view(context, record)
        parts = charge_parts(context, context.env, view)
    else:
        view = _view(context.graph, record.id)
        # an auditor reads the language of the seals, the mill perhaps its own
        alike = context.folder.mill.record.language == SEALED
        edition = "mill" if alike else context.edition
        parts = _parts(context.graph, f"{edition}:{record.id}")
    return replace(
        view,
        parts=parts,
        chart=charge_drawing(context, view.dossier),
        lots=[
            Link(f"Lot {lot}", routes.lot(lot))
            for lot in context.lots[reading.of_charge(record.id)]
        ],
        seal=context.seals.of_charge(record.id),
    )


@inline("charge view", keep=2)
def _view(graph: Graph, number: str) -> ChargeView:
    """Return what the mill's and the auditor's page of a charge both print."""
    context = mill_context(graph)
    return _review_view(context, context.folder.charges[number].record)


@inline("charge parts", keep=2)
def _parts(graph: Graph, key: str) -> ChargeParts:
    """Return what the pages of a charge print alike in the language of an edition."""
    edition, _, number = key.partition(":")
    context = context_of(graph, edition)
    return charge_parts(context, context.env, _view(graph, number))


def _review_view(context: SiteContext, record: Charge) -> ChargeView:
    """Return the view of a charge, as far as its record and its review go."""
    dossier, folder = context.dossiers[record.id], context.records_of(record.id)
    kiln = folder.kilns[record.kiln].record
    schedule = folder.schedules[record.schedule].record
    zone = folder.mill.record.zone
    return ChargeView(
        record=record,
        dossier=dossier,
        answer=answer_of(dossier),
        counts=outcome_counts(dossier.findings),
        findings=finding_groups(dossier.findings),
        stock=list(_stock(context, record)),
        kiln=Link(kiln.name, routes.kiln(kiln.id)),
        schedule=Link(
            f"{schedule.title}, revision {record.schedule_revision}", routes.schedule(schedule.id)
        ),
        length=days(dossier.started, dossier.ended),
        region=_region(context, dossier),
        steps=[
            replace(_step(replay), air=_air_until(context.regional, dossier, replay.at))
            for replay in dossier.steps
        ],
        board_names=[board.id for board in dossier.boards],
        weighings=weighing_rows(dossier),
        stages=list(_stages(context.regional, dossier)),
        survey=_survey(dossier),
        stress=_stress(context.regional, record),
        defects=defects_found(context.regional, record),
        graded=list(_graded(context.regional, record)),
        heat=[_heat(context.regional, run) for run in dossier.heat],
        core_chart=core_chart(dossier, zone, context.regional),
        cores=core_table(dossier),
        rates=list(_rates(dossier)),
        versions=[
            (board.id, estimate)
            for board in dossier.boards
            if len(board.estimates) > 1
            for estimate in board.estimates
        ],
        air_pressure_kpa=dossier.rules.pressure_pa / 1000.0,
        how=charge_workings(folder, record, dossier),
        series=series_paths(record.id),
    )


def _graded(regional: RegionalFormat, record: Charge) -> Iterator[DefectLine]:
    """Yield the defects that the final inspection found."""
    for count in record.defects:
        if count.pieces:
            yield DefectLine(
                regional.defect(count.defect),
                f"{count.pieces} of {count.of}",
                regional.side_by_side(count.worst) if count.worst else "",
                count.note or "",
            )


def answer_of(dossier: Dossier) -> str:
    """Return in a sentence what a reader first wants to know: whether it reached its target."""
    took = days(dossier.started, dossier.ended)
    target = f"the target was {dossier.target_mc_pct:g}{figures.NBSP}%"
    if dossier.survey:
        mean = figures.measure(dossier.survey.mean_pct, "%", 1)
        return f"Dried to {mean} MC in {took}; {target}."
    if dossier.controlling:
        last = figures.measure(dossier.controlling[-1].mc_pct, "%", 1)
        return f"No final survey. Controlling MC was {last} at the last weighing; {target}."
    return f"No final survey and no weighings in {took}; {target}."


def _region(context: SiteContext, dossier: Dossier) -> str:
    """Return the mill's region, and which of its customs apply to this charge, in words."""
    name = context.records_of(dossier.charge).mill.record.practice
    region = regions()[name]
    title = f"{name[0].upper()}{name[1:]}"
    rule, units = dossier.control_rule, region.units.is_
    if rule == region.rule:
        return f"{title}: steps go by the {rule}; units {units}"
    return f"{title}: steps go by the {rule}, as the charge itself says; units {units}"


def _stock(context: SiteContext, record: Charge) -> Iterator[StockLine]:
    folder = context.records_of(record.id)
    for stock in record.stock:
        intake = "; ".join(
            " ".join(
                filter(
                    None,
                    (
                        intake.number,
                        f"from {intake.supplier}" if intake.supplier else "",
                        f"sawn {intake.sawn}" if intake.sawn else "",
                    ),
                )
            )
            for intake in stock.intake
        )
        yield StockLine(
            Link(folder.species[stock.species].record.trade_name, routes.species(stock.species)),
            context.regional.side_by_side(stock.thickness),
            context.regional.side_by_side(stock.volume),
            figures.number(stock.pieces, 0) if stock.pieces else "",
            stock.start,
            intake,
        )


def _air_until(regional: RegionalFormat, dossier: Dossier, moment: dt.datetime) -> str:
    """Return, in words, the air of the last interval of the log's summary that ended by a time."""
    if dossier.log is None:
        return ""
    hours = dossier.log.summary_hours
    half = dt.timedelta(hours=hours / 2)
    latest = moment - half
    air = next((point for point in reversed(dossier.log.air) if point.at <= latest), None)
    if air is None or moment - air.at > 4 * half:
        return ""
    parts = [
        f"{name} {value}"
        for name, value in (
            ("dry bulb", regional.temperature(air.dry_bulb_c)),
            ("wet bulb", regional.temperature(air.wet_bulb_c)),
            ("EMC", figures.measure(air.emc_pct, "%", 1)),
        )
        if value != figures.NOTHING
    ]
    if not parts:
        return ""
    return f"Air in the {hours:g}{figures.NBSP}h before: {', '.join(parts)}."


def _step(replay: StepReplay) -> StepLine:
    if replay.trigger_pct is None:
        words = "The first step." if replay.step == 1 else "By the clock."
        return StepLine(replay.at, replay.step, words, "")
    if replay.controlling_pct is None or replay.early_by_pct is None:
        return StepLine(
            replay.at,
            replay.step,
            f"Due at {replay.trigger_pct:g}{figures.NBSP}%; no weighing before it.",
            "",
        )
    early = replay.early_by_pct
    # dossiers sealed under rules 1 give only the points
    timing: str = replay.verdict or ("early" if early > 0 else "due")
    if timing == "late" and replay.waited_hours:
        hours = round(replay.waited_hours)
        timing += f", due for {figures.measure(hours, 'h', 0)}" if hours else ", by minutes"
    distance = f"{figures.number(abs(early), 1)} points {'above' if early > 0 else 'below'}"
    return StepLine(
        replay.at,
        replay.step,
        f"Due at {replay.trigger_pct:g}{figures.NBSP}%. The last weighing gave "
        f"{figures.measure(replay.controlling_pct, '%', 1)} from "
        f"{'board' if len(replay.boards) == 1 else 'boards'} {listed(replay.boards)}: "
        f"{distance} it.",
        timing,
    )


def weighing_rows(dossier: Dossier) -> list[WeighingRow]:
    """Return the rounds of weighings, a column for each board; the boards as cut make one round."""
    boards = [board for board in dossier.boards if board.points]
    cut = max((board.points[0].at for board in boards), default=None)
    by_board = [
        {(cut if place == 0 else point.at): point for place, point in enumerate(board.points)}
        for board in dossier.boards
    ]
    control = {point.at: point for point in dossier.controlling}
    rows = []
    for at in sorted({at for points in by_board for at in points if at is not None}):
        decides = set(control[at].boards) if at in control else set()
        rows.append(
            WeighingRow(
                at,
                at == cut,
                [
                    (points[at].mc_pct, points[at].mc_uncertainty_pct, board.id in decides)
                    if at in points
                    else (None, None, False)
                    for board, points in zip(dossier.boards, by_board, strict=True)
                ],
                control[at].mc_pct if at in control else None,
            )
        )
    return rows


def _stages(regional: RegionalFormat, dossier: Dossier) -> Iterator[StageView]:
    for name, result in (
        ("Equalizing", dossier.equalizing),
        (regional.term("Conditioning"), dossier.conditioning),
    ):
        if result:
            yield StageView(name, result, span(result.start, result.end))


def _rates(dossier: Dossier) -> Iterator[RateLine]:
    for board in dossier.boards:
        daily, safe = board.fastest_daily_loss_pct, board.safe_daily_loss_pct
        hourly = board.fastest_hourly_loss_pct
        if daily is None and hourly is None:
            continue
        safe_hourly = None if safe is None else safe / 24.0
        beyond = hourly is not None and safe_hourly is not None and hourly > safe_hourly
        yield RateLine(board.id, daily, safe, hourly, safe_hourly, beyond)


def _survey(dossier: Dossier) -> SurveyView | None:
    survey = dossier.survey
    if survey is None:
        return None
    drawing = histogram(
        survey.readings,
        title=f"Final survey of charge {dossier.charge}",
        target_pct=dossier.target_mc_pct,
    )
    how = survey.method + (f"; {survey.correction_words}" if survey.correction_words else "")
    rows = [
        (n, pack, position, mc)
        for n, (pack, position, mc) in enumerate(
            zip(survey.packs, survey.positions, survey.readings, strict=True), start=1
        )
    ]
    return SurveyView(drawing.svg, how, rows, drawing.bars)


def _stress(regional: RegionalFormat, record: Charge) -> str:
    test = record.stress
    if test is None or not test.gaps:
        return ""
    beyond = sum(abs(gap.value) > test.limit.value for gap in test.gaps)
    words = (
        f"{test.method.capitalize()} test: {beyond} of {len(test.gaps)} sections beyond "
        f"{regional.side_by_side(test.limit)}"
    )
    if test.shell_mc and test.core_mc:
        words += (
            f"; shell {figures.as_entered(test.shell_mc)}, core {figures.as_entered(test.core_mc)}"
        )
    return words + "."


def _heat(regional: RegionalFormat, run: HeatRun) -> HeatLine:
    when = (run.start, run.end) if run.start and run.end else None
    return HeatLine(
        run.channel,
        run.position,
        f"{figures.measure(run.longest_minutes, 'min', 0)} at or above "
        f"{regional.temperature(run.threshold_c)}; "
        f"{figures.measure(run.required_minutes, 'min', 0)} required",
        when,
        run.highest_c,
        run.uncertainty_k,
        run.longest_minutes >= run.required_minutes,
    )
