"""Sample boards: sections, oven-dry masses, MC at each weighing, the fastest loss, the steps."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from itertools import pairwise

from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.quantities import Duration, Mass
from kilnfolio.records.species import SafeDailyLoss, Species
from kilnfolio.review import figures
from kilnfolio.review.checks.rate import days_before, safe_loss
from kilnfolio.review.dossier import (
    BoardPoint,
    BoardResult,
    ControlPoint,
    Dossier,
    OvenDryEstimate,
    Working,
)
from kilnfolio.review.formulas.masses import BY_RULE
from kilnfolio.review.limits import LimitTable, NoLimit, Subject, limit_table
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.pages.workings import Shown, percent, points, shown, when, work_out

_EXPANDED = "Expanded, about 95 %."


@dataclass(frozen=True)
class OvenDryVersion:
    """One version of a board's oven-dry mass, with its label in workings."""

    board: BoardResult
    estimate: OvenDryEstimate
    before: OvenDryEstimate | None
    label: str


def board_workings(folder: MillFolder, record: Charge, dossier: Dossier) -> Iterator[Shown]:
    """Yield the working of a charge's sample boards."""
    zone = folder.mill.record.zone
    cuts = list(_cuts(dossier, zone))
    yield from _sections(cuts, record)
    yield from _oven_dry(cuts, record)
    yield from _weighings(record, dossier, zone)
    yield from _controlling(dossier, zone)
    yield from _rates(folder, record, dossier, zone)
    yield shown(
        "steps",
        "How far from the MC it was due at",
        (
            work_out(
                "difference",
                f"Step {step.step}",
                a=percent(step.controlling_pct),
                b=percent(step.trigger_pct),
            )
            for step in dossier.steps
            if step.trigger_pct is not None and step.controlling_pct is not None
        ),
        "A positive number means the step was early. The controlling MC is that of the last weighing before.",
    )


def _grams(resolution: Mass | None) -> Mass:
    return resolution or Mass(0.0, "0 g")


def _cuts(dossier: Dossier, zone: dt.tzinfo) -> Iterator[OvenDryVersion]:
    for board in dossier.boards:
        before = None
        for estimate in board.estimates:
            again = f", cut again {when(estimate.at, zone)}" if before else ""
            yield OvenDryVersion(board, estimate, before, f"{board.id}{again}")
            before = estimate


def _sections(cuts: Sequence[OvenDryVersion], record: Charge) -> Iterator[Shown]:
    each = [
        (f"{cut.label}, section {section.id}", section)
        for cut in cuts
        for section in cut.estimate.sections
    ]
    masses = [
        (label, {"mass": section.green_g, "oven_dry_mass": section.oven_dry_g})
        for label, section in each
    ]
    yield shown(
        "section-mc",
        "MC of a section",
        (work_out("moisture_content", label, **own) for label, own in masses),
    )
    yield shown(
        "section-uncertainty",
        "Uncertainty of a section’s MC",
        (
            work_out(
                "section_uncertainty", label, resolution=_grams(record.balance_resolution), **own
            )
            for label, own in masses
        ),
        _EXPANDED,
    )
    yield shown(
        "section-mean",
        "Mean of a board’s sections",
        (
            work_out("mean", cut.label, of=[percent(one.mc_pct) for one in cut.estimate.sections])
            for cut in cuts
        ),
    )


def _oven_dry(cuts: Sequence[OvenDryVersion], record: Charge) -> Iterator[Shown]:
    yield shown(
        "oven-dry",
        "Oven-dry mass of a board",
        (
            work_out(
                "oven_dry_mass",
                cut.label,
                mass=cut.estimate.mass_g,
                mc=percent(cut.estimate.mc_pct),
            )
            for cut in cuts
        ),
    )
    yield shown(
        "oven-dry-uncertainty",
        "Uncertainty of an oven-dry mass",
        (
            work_out(
                "oven_dry_uncertainty",
                cut.label,
                mass=cut.estimate.mass_g,
                mc=percent(cut.estimate.mc_pct),
                resolution=_grams(record.scale_resolution),
                sections=[percent(one.mc_pct) for one in cut.estimate.sections],
                uncertainties=[points(one.mc_uncertainty_pct) for one in cut.estimate.sections],
            )
            for cut in cuts
        ),
        _EXPANDED,
    )
    yield shown(
        "mc-before",
        "MC by the oven-dry mass of the version before",
        (
            work_out(
                "moisture_content",
                cut.label,
                mass=cut.estimate.mass_g,
                oven_dry_mass=cut.before.oven_dry_g,
            )
            for cut in cuts
            if cut.before
        ),
    )


def estimate_at(board: BoardResult, moment: dt.datetime) -> OvenDryEstimate:
    """Return the version of a board's oven-dry mass that applies to a weighing."""
    return next((one for one in reversed(board.estimates) if one.at < moment), board.estimates[0])


def _weighings(record: Charge, dossier: Dossier, zone: dt.tzinfo) -> Iterator[Shown]:
    yield shown(
        "mc",
        "MC of a board at a weighing",
        (
            work_out(
                "moisture_content",
                f"{board.id}, {when(point.at, zone)}",
                mass=point.mass_g,
                oven_dry_mass=estimate_at(board, point.at).oven_dry_g,
            )
            for board in dossier.boards
            for point in board.points
        ),
    )
    last = [
        (board, board.points[-1], estimate_at(board, board.points[-1].at))
        for board in dossier.boards
        if board.points
    ]
    yield shown(
        "mc-uncertainty",
        "Uncertainty of a board’s MC",
        (
            work_out(
                "board_uncertainty",
                f"{board.id}, {when(point.at, zone)}",
                mass=point.mass_g,
                oven_dry_mass=dry.oven_dry_g,
                resolution=_grams(record.scale_resolution),
                oven_dry_uncertainty=dry.oven_dry_uncertainty_g,
            )
            for board, point, dry in last
        ),
        f"{_EXPANDED} The last weighing of each board; the others in the same way, with the mass "
        "and the oven-dry mass of the MC above.",
        sample=True,
    )


def _controlling(dossier: Dossier, zone: dt.tzinfo) -> Iterator[Shown]:
    formula = BY_RULE[dossier.control_rule]
    yield shown(
        "controlling",
        "Controlling MC",
        (
            work_out(formula, when(control.at, zone), of=[percent(mc) for mc in mcs])
            for control, mcs in controlling_with_boards(dossier)
        ),
        f"By the rule “{dossier.control_rule}”.",
    )


def controlling_with_boards(dossier: Dossier) -> Iterator[tuple[ControlPoint, list[float]]]:
    """Yield each controlling MC with the board MCs it was computed from.

    Readings of a hand meter or pins are not computed and have no working.
    """
    boards = [board for board in dossier.boards if board.points]
    cut = max((board.points[0].at for board in boards), default=None)
    by_moment: dict[dt.datetime, list[float]] = {}
    for board in boards:
        for point in board.points:
            by_moment.setdefault(point.at, []).append(point.mc_pct)
    for control in dossier.controlling:
        first = [board.points[0].mc_pct for board in boards]
        if mcs := first if control.at == cut else by_moment.get(control.at):
            yield control, mcs


# --- the fastest loss -----------------------------------------------------------------------------


def _rates(
    folder: MillFolder, record: Charge, dossier: Dossier, zone: dt.tzinfo
) -> Iterator[Shown]:
    main = record.stock[0]
    limits = limit_table(
        folder,
        Subject(
            tuple(stock.species for stock in record.stock),
            folder.species[main.species].record.kind,
            main.thickness.value,
            record.target_mc.value,
        ),
    )
    try:
        wet, day = limits.value("daily-loss-above"), limits.value("daily-loss-hours")
    except NoLimit:
        return
    yield shown(
        "daily",
        "Fastest loss a day",
        (_fastest_daily(board, wet, day, dossier.started, zone) for board in dossier.boards),
        f"Of the stretches of {day:g} h or more that began above {wet:g} % MC, the fastest.",
    )
    yield shown(
        "hourly",
        "Fastest loss for each hour of running",
        (_fastest_hourly(board, wet, zone) for board in dossier.boards),
        f"Between two weighings, the first above {wet:g} % MC; hours with the fans on, by the log, "
        "rounded to a tenth here.",
        sample=True,
    )
    safe = [(board.id, _safe(folder, record, board, limits)) for board in dossier.boards]
    yield shown(
        "safe",
        "Safe loss a day",
        (working for _, working in safe),
        "From the species’ own page: as listed, interpolated between two thicknesses, or carried beyond them.",
    )
    yield shown(
        "safe-hourly",
        "Safe loss for each hour",
        (
            work_out("rate_by_the_hour", board.id, rate=board.safe_daily_loss_pct)
            for board in dossier.boards
            if board.safe_daily_loss_pct is not None
        ),
    )


def _pairs(
    board: BoardResult, bases: Sequence[int], wet_pct: float
) -> Iterator[tuple[BoardPoint, BoardPoint, float]]:
    """Yield both weighings of each interval that starts wet, with the oven-dry mass in use."""
    for base, (before, point) in zip(bases, pairwise(board.points), strict=True):
        if before.mc_pct > wet_pct:
            yield board.points[base], point, estimate_at(board, point.at).oven_dry_g


def _fastest_daily(
    board: BoardResult, wet_pct: float, hours: float, started: dt.datetime, zone: dt.tzinfo
) -> Working | None:
    bases = days_before([point.at for point in board.points], hours)
    found = [pair for pair in _pairs(board, bases, wet_pct) if pair[1].at > started]
    if not found:
        return None
    base, point, dry_g = max(
        found,
        key=lambda pair: (
            (pair[0].mass_g - pair[1].mass_g) / pair[2] / (pair[1].at - pair[0].at).total_seconds()
        ),
    )
    return work_out(
        "daily_loss",
        f"{board.id}, {when(base.at, zone)} to {when(point.at, zone)}",
        mass_before=base.mass_g,
        mass=point.mass_g,
        oven_dry_mass=dry_g,
        time=_hours((point.at - base.at).total_seconds() / 3600.0),
    )


def _fastest_hourly(board: BoardResult, wet_pct: float, zone: dt.tzinfo) -> Working | None:
    found = [
        pair
        for pair in _pairs(board, range(len(board.points) - 1), wet_pct)
        if pair[1].hourly_loss_pct is not None
    ]
    if not found:
        return None
    before, point, dry_g = max(found, key=lambda pair: pair[1].hourly_loss_pct or 0.0)
    return work_out(
        "hourly_loss",
        f"{board.id}, {when(before.at, zone)} to {when(point.at, zone)}",
        mass_before=before.mass_g,
        mass=point.mass_g,
        oven_dry_mass=dry_g,
        time=_hours(point.running_hours or 0.0),
    )


def _hours(value: float) -> Duration:
    return Duration(value, f"{value:.1f} h")


def _safe(
    folder: MillFolder, record: Charge, board: BoardResult, limits: LimitTable
) -> Working | None:
    written = next((one for one in record.boards if one.id == board.id), None)
    if written is None or board.safe_daily_loss_pct is None:
        return None
    stock = record.stock_of(written)
    species = folder.species[stock.species].record
    divisor = limits.value("thick-stock-divisor")
    found = safe_loss(species, stock.thickness.value, divisor)
    return found and _scaled(board, species, found[0], stock.thickness.value, divisor)


def _scaled(
    board: BoardResult, species: Species, entry: SafeDailyLoss, thickness_mm: float, divisor: float
) -> Working | None:
    listed = sorted(species.safe_daily_loss, key=lambda one: one.thickness.value)
    same = next((one for one in listed if one.thickness.value == thickness_mm), None)
    if same is not None:
        return Working(
            name=board.id,
            formula="the safe loss on record for the thickness",
            substituted=f"{species.trade_name}, {figures.as_entered(same.rate)}",
            result=figures.measure(board.safe_daily_loss_pct, "points/day", 1),
            source=same.source,
        )
    pair = next(
        (
            (low, high)
            for low, high in pairwise(listed)
            if low.thickness.value < thickness_mm < high.thickness.value
        ),
        None,
    )
    if pair is not None:
        return work_out(
            "safe_rate_between",
            board.id,
            rate=pair[0].rate,
            listed=pair[0].thickness,
            thick_rate=pair[1].rate,
            thick_listed=pair[1].thickness,
            thickness=thickness_mm,
        )
    # the formula starts from 4/4, the thinnest and usually the only thickness listed
    return work_out(
        "thickness_scaled_rate", board.id, rate=entry.rate, thickness=thickness_mm, divisor=divisor
    )
