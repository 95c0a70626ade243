"""Estimates for a load on a schedule before it goes in: days, energy and cost."""

from __future__ import annotations

from collections.abc import Iterator

from kilnfolio.forecast.energy import Amount
from kilnfolio.forecast.mill_loads import LoadLine, loads_of
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.phrases import plural

_ORIGIN = {
    "own": "from {} of this wood and thickness",
    "relative": "from {} of this wood, too few or of other thicknesses: a wide band",
    "formula": "from the published formula alone: no more than a hint",
    "clock": "by the hours of its steps",
}


@dataclass(frozen=True)
class LoadRow:
    """A load of one stock, in words."""

    stock: str
    own: str
    likely: str
    start: str
    how: str
    costs: tuple[str, ...]


def load_rows(context: SiteContext, schedule: str) -> list[LoadRow]:
    """Return the estimate of a load of each stock the mill has dried before, on a schedule."""
    return [_row(context, line) for line in loads_of(context.graph, schedule)]


def _row(context: SiteContext, line: LoadLine) -> LoadRow:
    found = line.found
    return LoadRow(
        f"{context.species_name(line.species)}, {context.regional.side_by_side(line.thickness)}, "
        f"to {line.target_pct:g}{figures.NBSP}%",
        _own_words(line.own_days),
        day_words(found.days.low80, found.days.median, found.days.high80),
        "" if found.start_pct is None else f"{found.start_pct:.0f}{figures.NBSP}%",
        _ORIGIN[found.origin].format(plural(len(found.learnt_from), "charge")),
        tuple(_cost_words(context, line)),
    )


def _own_words(days: tuple[float, ...]) -> str:
    if not days:
        return "none yet"
    low, high = min(days), max(days)
    span = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    return f"{span} days ({plural(len(days), 'charge')})"


def day_words(low: float, likely: float, high: float) -> str:
    """Return days with their band, as in ``15 to 19 days, likely 17``."""
    if low == high:
        return f"{likely:.1f} days"
    ends = [f"{value:.1f}" if high < 10 else f"{value:.0f}" for value in (low, high, likely)]
    return f"{ends[0]} to {ends[1]} days, likely {ends[2]}"


def _cost_words(context: SiteContext, line: LoadLine) -> Iterator[str]:
    price = context.folder.mill.record.energy_price
    for cost in line.costs:
        name = context.folder.kilns[cost.kiln].record.name
        money = f", {_span(cost.cost)} {price[1]}" if cost.cost and price else ""
        yield f"{name}: {_span(cost.energy)} kWh{money} (by {plural(cost.charges, 'charge')})"


def _span(amount: Amount) -> str:
    """Return an amount to two significant figures: its band justifies no more."""
    low, high = (
        figures.number(float(f"{value:.2g}"), 0) for value in (amount.low80, amount.high80)
    )
    return f"{low} to {high}"
