"""How long a lot in store stays within its order: a section of the mill's page of a lot."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from markupsafe import Markup

from kilnfolio.charts.store import store_chart
from kilnfolio.forecast.effects import NoComparison, stock_of
from kilnfolio.forecast.outdoors import SOURCES, Weather, of_table, steady
from kilnfolio.forecast.store import LABEL, Store, estimates
from kilnfolio.records.lot import Lot
from kilnfolio.records.weather import weather
from kilnfolio.review import figures
from kilnfolio.review.dossier import LotDossier
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext

AFTER_DAYS = (30, 90, 180, 365)
"""Days after which the MC is given."""

_MC_RANGE = (3.0, 26.0)


@dataclass(frozen=True)
class PackedRow:
    """A way of packing."""

    packed: str
    stays: str
    """How long the mean stays within the order; empty if the order has no band."""
    after: tuple[str, ...]
    """MC after each of `AFTER_DAYS`, with its interval."""


@dataclass(frozen=True)
class StoredView:
    """The forecast of a lot in store, as its page prints it."""

    air: str
    begun: dt.date
    band: str
    chart: Markup
    rows: tuple[PackedRow, ...]
    after: tuple[int, ...] = AFTER_DAYS
    label: str = LABEL


def stored_view(context: SiteContext, record: Lot, dossier: LotDossier) -> StoredView | None:
    """Return a lot in store; None if its mean, the store's air or the wood's density is unknown."""
    assessment = dossier.judgement
    mean = assessment.mean_pct
    air = _air(context, record)
    if air is None or mean is None or not _MC_RANGE[0] <= mean <= _MC_RANGE[1]:
        return None
    try:
        species = context.folder.species[record.species].record
        board = replace(stock_of(species, record.thickness.value).board, initial_mc_pct=mean)
    except NoComparison:
        return None
    words, year = air
    stores = estimates(board, year, record.issued.month)
    band = _band(dossier)
    return StoredView(
        words,
        record.issued,
        _in_words(band),
        store_chart(
            f"Lot {record.id} in store", stores, band and (max(band[0], mean - 3), band[1])
        ),
        tuple(_row(store, band) for store in stores),
    )


def _air(context: SiteContext, record: Lot) -> tuple[str, Weather] | None:
    if record.storage is not None:
        kept = record.storage
        words = (
            f"{context.regional.side_by_side(kept.temperature)} and "
            f"{figures.as_entered(kept.relative_humidity)} RH, as the lot's record says"
        )
        return words, steady(kept.temperature.value, kept.relative_humidity.value)
    table = weather(context.graph)
    if table is None:
        return None
    year = of_table(table)
    return f"an open shed in the mill's weather: {SOURCES[year.source]}", year


def _band(dossier: LotDossier) -> tuple[float, float] | None:
    """Return the band ordered for the mean, or else for a piece; from 0 without a lower limit."""
    one = dossier.judgement
    low = one.mean_low_pct if one.mean_low_pct is not None else one.piece_low_pct
    high = one.mean_high_pct if one.mean_high_pct is not None else one.piece_high_pct
    return None if high is None else (low or 0.0, high)


def _in_words(band: tuple[float, float] | None) -> str:
    if band is None:
        return ""
    low, high = band
    return f"{low:g} to {high:g}{figures.NBSP}%" if low else f"at most {high:g}{figures.NBSP}%"


def _row(store: Store, band: tuple[float, float] | None) -> PackedRow:
    return PackedRow(store.packed, _stays(store, band), tuple(_after(store)))


def _stays(store: Store, band: tuple[float, float] | None) -> str:
    if band is None:
        return ""
    until = store.inside_until(*band)
    if until is None:
        return f"over {figures.measure(float(store.days[-1]), 'days', 0)}"
    return "not inside" if until <= 1.0 else f"about {figures.measure(until, 'days', 0)}"


def _after(store: Store) -> Iterator[str]:
    at = np.searchsorted(store.days, AFTER_DAYS)
    rows = (row[at].tolist() for row in (store.low_pct, store.mean_pct, store.high_pct))
    for low, mean, high in zip(*(map(figures.number, row) for row in rows), strict=True):
        yield f"{mean} ({low} to {high})" if low != high else mean
