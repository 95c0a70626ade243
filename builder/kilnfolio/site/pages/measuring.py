"""The page of how far the mill's scales and meters can be trusted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from kilnfolio.charts.measuring import digits_chart, drift_chart, pairs_chart
from kilnfolio.physics.control_chart import (
    LEAST,
    ControlLimits,
    beyond_limits,
    control_limits,
    runs_on_one_side,
)
from kilnfolio.physics.measuring import (
    LEAST_DIGITS,
    LEAST_PAIRS,
    LEAST_REPEATS,
    Correction,
    Digits,
    Repeatability,
    corrected_interval,
    fitted_correction,
    last_digits,
    repeatability,
)
from kilnfolio.records.instrument import InstrumentTrials
from kilnfolio.records.reading import ALL
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.limits import limit_table
from kilnfolio.site.context import SiteContext
from kilnfolio.site.measured import MeasuringLine, Pair, measuring_line
from kilnfolio.site.pages.phrases import listed

_AT = (6.0, 8.0, 10.0, 12.0, 15.0, 20.0)
_DIGITS = 10


@dataclass
class _Gathered:
    """What the records hold of one instrument."""

    kind: str
    kilns: list[str]
    trials: InstrumentTrials | None = None
    pairs: list[Pair] = field(default_factory=list)
    digits: list[int] = field(default_factory=lambda: [0] * _DIGITS)


@dataclass(frozen=True)
class RepeatsView:
    """Repeated readings of an instrument."""

    unit: str
    rows: tuple[tuple[str, str, str], ...]
    """Day, piece, and the readings in words."""
    found: Repeatability | None
    """None if they are too few to tell."""
    degrees: int


@dataclass(frozen=True)
class SpeciesView:
    """A meter against the oven for one species."""

    anchor: str
    name: str
    pairs: tuple[Pair, ...]
    line: Correction | None
    """None if they are too few to tell."""
    at: tuple[tuple[float, float, float], ...]
    """Reading, what to add to it, and half the 95 % interval [% MC]."""
    drawing: Markup
    drift: Markup
    limits: ControlLimits | None
    signals: tuple[str, ...]


@dataclass(frozen=True)
class InstrumentView:
    """An instrument as the page prints it."""

    anchor: str
    name: str
    kind: str
    kilns: str
    repeats: RepeatsView | None
    species: tuple[SpeciesView, ...]
    digits: Digits | None
    """None if they are too few to tell."""
    readings: int
    counts: tuple[int, ...]
    digits_drawing: Markup


def measuring_page(context: SiteContext) -> Page:
    """Return the page."""
    views = [
        _view(context, name, one)
        for name, one in sorted(_gathered(context).items())
        if one.trials or one.pairs or any(one.digits)
    ]
    return context.page(
        "measuring.html",
        routes.MEASURING,
        "How far can our scales and meters be trusted?",
        "trend",
        views=views,
        allowed=limit_table(context.folder).value("hand-weights-rounded"),
        least={
            "repeats": LEAST_REPEATS,
            "pairs": LEAST_PAIRS,
            "digits": LEAST_DIGITS,
            "drift": LEAST,
        },
        summary="Repeatability, meters against the oven, drift, and last digits, by instrument.",
        crumbs=(("Kilns", "kilns/index.html"),),
    )


def _gathered(context: SiteContext) -> dict[str, _Gathered]:
    """Return what the records hold of each instrument, by its id, or its kiln and id."""
    found: dict[str, _Gathered] = {}
    names: dict[tuple[str, str], str] = {}
    folder = context.folder
    for identity in sorted(folder.instruments):
        trials = folder.instruments[identity].record
        found[identity] = _Gathered(trials.kind, list(trials.kilns), trials)
        found[identity].pairs += [
            Pair(pair.species, pair.on, pair.meter.value, pair.oven.value)
            for pair in trials.oven_pairs
        ]
        names |= {(kiln, trials.instrument): identity for kiln in trials.kilns}
    for number in context.charges[ALL]:
        line = measuring_line(context.graph, number)
        for kind, instrument, digits in (
            ("resistance meter", line.meter, line.meter_digits),
            ("scale", line.scale, line.scale_digits),
        ):
            if not instrument or not (digits or line.pairs):
                continue
            name = names.get((line.kiln, instrument), f"{instrument}, {line.kiln}")
            one = found.setdefault(name, _Gathered(kind, [line.kiln]))
            _add(one, kind, digits, line)
    return found


def _add(one: _Gathered, kind: str, digits: Sequence[int], line: MeasuringLine) -> None:
    for digit, count in enumerate(digits):
        one.digits[digit] += count
    if kind == "resistance meter":
        one.pairs += line.pairs


def _view(context: SiteContext, name: str, one: _Gathered) -> InstrumentView:
    anchor = name.replace(", ", "-")
    readings = sum(one.digits)
    kilns = [context.folder.kilns[kiln].record.name for kiln in one.kilns]
    by_species: dict[str, list[Pair]] = {}
    for pair in one.pairs:
        by_species.setdefault(pair.species, []).append(pair)
    return InstrumentView(
        anchor,
        name,
        one.kind,
        listed(kilns),
        _repeats(one.trials) if one.trials and one.trials.repeats else None,
        tuple(
            _species(context, f"{anchor}-{species}", species, pairs)
            for species, pairs in sorted(by_species.items())
        ),
        last_digits(one.digits) if readings >= LEAST_DIGITS else None,
        readings,
        tuple(one.digits),
        digits_chart(f"{anchor}-digits", f"Last digits of {name}", one.digits)
        if readings >= LEAST_DIGITS
        else Markup(""),
    )


def _repeats(trials: InstrumentTrials) -> RepeatsView:
    read = [[value.value for value in (*one.masses, *one.mc)] for one in trials.repeats]
    degrees = sum(len(one) - 1 for one in read)
    return RepeatsView(
        "g" if trials.repeats[0].masses else "% MC",
        tuple(
            (
                one.on.isoformat(),
                one.piece,
                ", ".join(value.entered for value in (*one.masses, *one.mc)),
            )
            for one in trials.repeats
        ),
        repeatability(read) if degrees >= LEAST_REPEATS else None,
        degrees,
    )


def _species(context: SiteContext, anchor: str, species: str, pairs: Iterable[Pair]) -> SpeciesView:
    order = tuple(sorted(pairs, key=lambda pair: (pair.day, pair.meter_pct, pair.oven_pct)))
    name = context.species_name(species)
    meter = [pair.meter_pct for pair in order]
    enough = len(order) >= LEAST_PAIRS and len(set(meter)) > 1
    line = fitted_correction(meter, [pair.oven_pct for pair in order]) if enough else None
    points = [(pair.meter_pct, pair.oven_pct) for pair in order]
    drawing = pairs_chart(anchor, f"Meter and oven, {name}", points, line)
    if line is None:
        return SpeciesView(anchor, name, order, None, (), drawing, Markup(""), None, ())
    left = [pair.oven_pct - line.intercept - line.slope * pair.meter_pct for pair in order]
    days = [pair.day for pair in order]
    shown = list(zip((f"{day:%Y-%m}" for day in days), left, strict=True))
    limits = control_limits(left)
    return SpeciesView(
        anchor,
        name,
        order,
        line,
        tuple(_corrections(line, min(meter), max(meter))),
        drawing,
        drift_chart(f"{anchor}-drift", f"Drift of the meter, {name}", shown, limits),
        limits,
        tuple(_signals(days, left)),
    )


def _corrections(line: Correction, low: float, high: float) -> Iterator[tuple[float, float, float]]:
    """Yield corrections at round readings within the pairs."""
    for at in _AT:
        if low <= at <= high:
            oven, half = corrected_interval(line, at)
            yield at, oven - at, half


def _signals(days: Sequence[dt.date], left: Sequence[float]) -> Iterator[str]:
    for place in beyond_limits(left):
        yield f"{days[place].isoformat()}: beyond its limit"
    for first, last in runs_on_one_side(left):
        side = "above" if left[first] > 0 else "below"
        count = last - first + 1
        yield (
            f"{days[first].isoformat()} to {days[last].isoformat()}: {count} pairs in a row {side} "
            "the line"
        )
