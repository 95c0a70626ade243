"""The page of how far the mill's scales and meters can be trusted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import field

import numpy as np
from markupsafe import Markup

from kilnfolio.charts.measuring import digits_chart, drift_chart, pairs_chart
from kilnfolio.charts.trends import shift_levels
from kilnfolio.physics.control_chart import Judged, judged
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
from kilnfolio.review.figures import number
from kilnfolio.review.limits import limit_table
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.measured import MeasuringLine, Pair, measuring_line
from kilnfolio.site.pages.phrases import listed
from kilnfolio.trends.control import CHANCE

_AT = (6.0, 8.0, 10.0, 12.0, 15.0, 20.0)
_DIGITS = 10
#: Deviations that differ by less are those of pairs on one straight line. [point of MC]
_ALIKE = 1e-9


@dataclass
class _Gathered:
    """What the records hold of one instrument."""

    kind: str
    kilns: list[str]
    trials: InstrumentTrials | None = None
    pairs: list[Pair] = field(default_factory=list)
    digits: list[int] = field(default_factory=lambda: [0] * _DIGITS)

    def by_species(self) -> dict[str, list[Pair]]:
        """Return its pairs by species, in order of time."""
        found: dict[str, list[Pair]] = {}
        for pair in sorted(self.pairs, key=lambda one: (one.day, one.meter_pct, one.oven_pct)):
            found.setdefault(pair.species, []).append(pair)
        return dict(sorted(found.items()))


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
    drifted: Judged | None
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
    gathered = _gathered(context)
    looks = sum(
        _line(pairs) is not None for one in gathered.values() for pairs in one.by_species().values()
    )
    views = [
        _view(context, name, one, looks)
        for name, one in sorted(gathered.items())
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
        },
        looks=looks,
        one_in=round(1 / CHANCE),
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
    for charge in context.charges[ALL]:
        line = measuring_line(context.graph, charge)
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


def _view(context: SiteContext, name: str, one: _Gathered, looks: int) -> InstrumentView:
    anchor = name.replace(", ", "-")
    readings = sum(one.digits)
    kilns = [context.folder.kilns[kiln].record.name for kiln in one.kilns]
    return InstrumentView(
        anchor,
        name,
        one.kind,
        listed(kilns),
        _repeats(one.trials) if one.trials and one.trials.repeats else None,
        tuple(
            _species(context, f"{anchor}-{species}", species, pairs, looks)
            for species, pairs in one.by_species().items()
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


def _line(pairs: Sequence[Pair]) -> Correction | None:
    """Return the line through the pairs of a meter with a species; None if they are too few."""
    meter = [pair.meter_pct for pair in pairs]
    if len(pairs) < LEAST_PAIRS or len(set(meter)) < 2:
        return None
    return fitted_correction(meter, [pair.oven_pct for pair in pairs])


def _species(
    context: SiteContext, anchor: str, species: str, pairs: Sequence[Pair], looks: int
) -> SpeciesView:
    name, line, order = context.species_name(species), _line(pairs), tuple(pairs)
    points = [(pair.meter_pct, pair.oven_pct) for pair in order]
    drawing = pairs_chart(anchor, f"Meter and oven, {name}", points, line)
    if line is None:
        return SpeciesView(anchor, name, order, None, (), drawing, Markup(""), None, ())
    meter = [pair.meter_pct for pair in order]
    left = [pair.oven_pct - line.intercept - line.slope * pair.meter_pct for pair in order]
    days = [pair.day for pair in order]
    shown = list(zip((f"{day:%Y-%m}" for day in days), left, strict=True))
    found = drift_of(left, looks)
    return SpeciesView(
        anchor,
        name,
        order,
        line,
        tuple(_corrections(line, min(meter), max(meter))),
        drawing,
        drift_chart(
            f"{anchor}-drift",
            f"Drift of the meter, {name}",
            shown,
            found.limits if found else None,
            shift_levels(found, len(left)) if found else (),
        ),
        found,
        tuple(_signals(days, left, found)) if found else (),
    )


def drift_of(left: Sequence[float], looks: int) -> Judged | None:
    """Return what deviations from a meter's line show; None if they are all the same.

    Parameters
    ----------
    left : sequence of float
        Oven less line, in order of time. [point of MC]
    looks : int
        Number of such series that the mill looks at: each meter with each species. A sound mill is
        told of a drift in any of them with the chance `CHANCE`.
    """
    return judged(left, CHANCE / max(looks, 1)) if np.std(left) > _ALIKE else None


def _corrections(line: Correction, low: float, high: float) -> Iterator[tuple[float, float, float]]:
    """Yield corrections at round readings within the pairs."""
    for at in _AT:
        if low <= at <= high:
            oven, half = corrected_interval(line, at)
            yield at, oven - at, half


def _signals(days: Sequence[dt.date], left: Sequence[float], found: Judged) -> Iterator[str]:
    if found.shifted is not None and found.before is not None and found.after is not None:
        yield (
            f"{days[found.shifted].isoformat()}: from this pair on, a mean of {number(found.after, 2)} "
            f"points; before it, {number(found.before, 2)}"
        )
    for place in found.beyond:
        yield (
            f"{days[place].isoformat()}: {number(left[place], 2)} points, beyond the limits of "
            f"{number(found.limits.low, 2)} and {number(found.limits.high, 2)}"
        )
