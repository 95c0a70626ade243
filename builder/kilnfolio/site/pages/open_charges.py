"""Incomplete records as pages show them: how far along they are, and what they lack."""

from __future__ import annotations

import datetime as dt

from kilnfolio.records.drafts import Draft, key_of
from kilnfolio.rendering import routes
from kilnfolio.review import figures
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.open_review import OpenReview
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.phrases import stock_words


@dataclass(frozen=True)
class ToFill:
    """Something still to be filled in."""

    key: str
    where: str
    """``file:line``."""
    meaning: str


@dataclass(frozen=True)
class OpenChargeView:
    """The state of an incomplete charge as its page prints it."""

    number: str
    target: str
    answer: str
    words: str
    """Timber and kiln; empty until they are written."""
    since: dt.datetime | None
    to_fill: list[ToFill]
    lots: tuple[str, ...]
    waits: tuple[str, ...]
    """Records it refers to that are themselves still to be filled in."""


@dataclass(frozen=True)
class DraftView:
    """A record that is still to be filled in; it has no page."""

    title: str
    """As in ``Kiln k2``."""
    to_fill: list[ToFill]


def draft_views(context: SiteContext, *kinds: str) -> list[DraftView]:
    """Return the records still to be filled in, of the kinds given or of all kinds."""
    draft = context.folder.drafts
    return [
        DraftView(name[0].upper() + name[1:], _to_fill(draft[name]))
        for name in sorted(draft)
        if not kinds or draft[name].kind in kinds
    ]


def open_charge_views(context: SiteContext) -> list[OpenChargeView]:
    """Return every incomplete charge by number."""
    return [
        open_charge_view(context, context.open_reviews[name])
        for name in sorted(context.open_reviews)
    ]


def open_charge_view(context: SiteContext, review: OpenReview) -> OpenChargeView:
    """Return an incomplete charge as pages show it."""
    words = ""
    if review.located is not None:
        charge = review.located.record
        names = {stock.species: context.species_name(stock.species) for stock in charge.stock}
        kiln = context.folder.kilns[charge.kiln].record.name
        words = f"{stock_words(charge, names)}, {kiln}"
    return OpenChargeView(
        review.charge.id,
        routes.charge(review.charge.id),
        _answer(review.dossier),
        words,
        review.dossier.started if review.dossier else None,
        _to_fill(review.charge),
        review.lots,
        review.waits,
    )


def _to_fill(draft: Draft) -> list[ToFill]:
    return [
        ToFill(key_of(one), f"{one.place.file}:{one.place.line}", _sentence(one.why))
        for one in draft.to_fill
    ]


def _answer(dossier: Dossier | None) -> str:
    """Return how far along the charge is, in a neutral sentence."""
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
