"""Records that are not yet complete, as pages show them: how far they are, what they lack."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from kilnfolio.records.drafts import Draft, key_of
from kilnfolio.rendering import routes
from kilnfolio.review import figures
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.running import Running
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.words import stock_words


@dataclass(frozen=True)
class ToFill:
    """Something still to be written."""

    key: str
    where: str
    """``file:line``."""
    meaning: str


@dataclass(frozen=True)
class RunningView:
    """What the page of a charge that is not complete prints beside what is known of it."""

    number: str
    target: str
    answer: str
    words: str
    """Timber and kiln; empty where they are not written."""
    since: dt.datetime | None
    to_fill: list[ToFill]
    lots: tuple[str, ...]
    waits: tuple[str, ...]
    """What it names and is still to be filled in itself."""


@dataclass(frozen=True)
class DraftView:
    """A record that is still to be filled in; it has no page."""

    title: str
    """As in ``Kiln k2``."""
    to_fill: list[ToFill]


def draft_views(holdings: SiteContext, *kinds: str) -> list[DraftView]:
    """Return the records that are still to be filled in, of some kinds or of all."""
    draft = holdings.folder.drafts
    return [
        DraftView(name[0].upper() + name[1:], _to_fill(draft[name]))
        for name in sorted(draft)
        if not kinds or draft[name].kind in kinds
    ]


def running_views(holdings: SiteContext) -> list[RunningView]:
    """Return every charge that is not complete, by number."""
    return [running_view(holdings, holdings.running[name]) for name in sorted(holdings.running)]


def running_view(holdings: SiteContext, running: Running) -> RunningView:
    """Return a charge that is not complete, as pages show it."""
    words = ""
    if running.located is not None:
        charge = running.located.record
        names = {stock.species: holdings.species_name(stock.species) for stock in charge.stock}
        kiln = holdings.folder.kilns[charge.kiln].record.name
        words = f"{stock_words(charge, names)}, {kiln}"
    return RunningView(
        running.charge.id,
        routes.charge(running.charge.id),
        _answer(running.dossier),
        words,
        running.dossier.started if running.dossier else None,
        _to_fill(running.charge),
        running.lots,
        running.waits,
    )


def _to_fill(draft: Draft) -> list[ToFill]:
    return [
        ToFill(key_of(one), f"{one.place.file}:{one.place.line}", _sentence(one.why))
        for one in draft.to_fill
    ]


def _answer(dossier: Dossier | None) -> str:
    """Return how far the charge is, in a sentence that judges nothing."""
    if dossier is None:
        return "Started; not enough is recorded yet for a review."
    if not dossier.controlling:
        return "Still running; no weighing is recorded yet."
    last = dossier.controlling[-1]
    return (
        f"Still running. Controlling MC was {figures.measure(last.mc_pct, '%', 1)} at the last "
        f"weighing, {last.at:%Y-%m-%d %H:%M}; the target is "
        f"{dossier.target_mc_pct:g}{figures.NBSP}%."
    )


def _sentence(why: str) -> str:
    meaning = why.rpartition("holds: ")[2]
    return meaning[:1].upper() + meaning[1:].rstrip(".") + "."
