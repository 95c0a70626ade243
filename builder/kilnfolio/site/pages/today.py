"""The today page: each kiln with an open charge, its settings, and what is due or in question."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from kilnfolio.records.charge import Charge
from kilnfolio.records.setpoints import AirState
from kilnfolio.rendering import routes
from kilnfolio.review import figures
from kilnfolio.review.findings import title_of
from kilnfolio.review.kiln_state import KilnState, kiln_state
from kilnfolio.review.open_review import OpenReview
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.kiln_forecast import KilnForecast, kiln_forecast
from kilnfolio.site.pages.phrases import stock_words

#: Notes of the last shift are those of so many hours.
_SHIFT = dt.timedelta(hours=24)
#: A round is overdue once it is late by this share of the usual hours between rounds.
_LATE = 0.25


@dataclass(frozen=True)
class OpenQuestion:
    """An open question."""

    check: str
    title: str
    message: str


@dataclass(frozen=True)
class Note:
    """A note that somebody wrote down."""

    at: dt.datetime
    by: str
    text: str


@dataclass(frozen=True)
class KilnToday:
    """A kiln with an open charge, as the today page prints it."""

    kiln: str
    number: str
    target: str
    kiln_side: str
    timber: str
    day: int
    stage: str
    air: tuple[str, str, str]
    """Dry bulb, wet bulb and EMC set; empty before the first step."""
    controlling: str
    due: str
    is_due: bool
    last_round: dt.datetime | None
    next_round: dt.datetime
    overdue: bool
    boards: tuple[str, ...]
    in_the_oven: tuple[str, ...]
    sensors: tuple[str, ...]
    """The last readings of pins and EMC sensors, in words."""
    questions: tuple[OpenQuestion, ...]
    instruments: tuple[str, ...]
    notes: tuple[Note, ...]
    forecast: KilnForecast | None


def today(context: SiteContext) -> tuple[dt.datetime | None, list[KilnToday]]:
    """Return the time the page describes, and each kiln with an open charge, sorted by name."""
    known = [
        review
        for name in sorted(context.open_reviews)
        if (review := context.open_reviews[name]).located and review.dossier
    ]
    if not known:
        return None, []
    as_of = max(review.dossier.ended for review in known if review.dossier)
    kilns = [kiln_today(context, review, as_of) for review in known]
    return as_of, sorted(kilns, key=lambda one: (one.kiln, one.number))


def kiln_today(context: SiteContext, review: OpenReview, as_of: dt.datetime) -> KilnToday:
    """Return the state of a kiln with an open charge at a given time."""
    assert review.located
    assert review.dossier
    charge = review.located.record
    state = kiln_state(context.folder, charge)
    regional = context.regional
    names = {stock.species: context.species_name(stock.species) for stock in charge.stock}
    air = state.air and regional.as_set(
        AirState(
            state.air.dry_bulb_c,
            state.air.wet_bulb_c,
            state.air.relative_humidity_pct,
            state.air.emc_pct,
        ),
        context.pressure_pa,
    )
    questions = [finding for finding in review.findings if finding.outcome in ("question", "fail")]
    due = dt.datetime.fromisoformat(state.next_round)
    return KilnToday(
        state.kiln_name,
        state.charge,
        routes.charge(state.charge),
        routes.kiln_side(state.charge),
        stock_words(charge, names),
        (as_of - charge.started).days + 1,
        _stage_words(state),
        (
            regional.reading(air.dry_bulb_c),
            regional.reading(air.wet_bulb_c),
            figures.measure(air.emc_pct, "%", 1),
        )
        if air
        else ("", "", ""),
        figures.measure(state.controlling_pct, "%", 1) if state.controlling_pct is not None else "",
        due_words(state),
        state.is_due,
        dt.datetime.fromisoformat(state.last_round) if state.last_round else None,
        due,
        as_of > due + _LATE * dt.timedelta(hours=state.every_hours),
        tuple(board.tag for board in state.boards),
        tuple(board.tag for board in state.boards if board.oven_dry_g is None),
        tuple(one.words for one in state.sensors),
        tuple(
            OpenQuestion(finding.check, title_of(finding), finding.message)
            for finding in questions
            if finding.check != "calibration-due"
        ),
        tuple(finding.message for finding in questions if finding.check == "calibration-due"),
        tuple(_notes(charge, as_of)),
        kiln_forecast(context, state.charge, state, as_of),
    )


def due_words(state: KilnState) -> str:
    """Return the next change, with the MC at which it is due."""
    if state.next_due_at:
        return f"the next step at {dt.datetime.fromisoformat(state.next_due_at):%d %b %H:%M}"
    due = state.next_due
    if due is None:
        return "the end of conditioning"
    at = figures.measure(due.mc_pct, "%", 0 if due.mc_pct.is_integer() else 1)
    if due.step:
        return f"step {due.step} at {at}"
    if due.label == "equalize":
        return f"equalize at {at} (driest board)"
    return f"target at {at} (wettest board)"


def _stage_words(state: KilnState) -> str:
    if state.stage != "drying":
        return state.stage
    return f"step {state.step} of {len(state.steps)}" if state.step else "heating up"


def _notes(charge: Charge, as_of: dt.datetime) -> Iterator[Note]:
    for event in sorted(charge.events, key=lambda one: one.at):  # as the shift went
        if event.note and as_of - _SHIFT <= event.at <= as_of:
            yield Note(event.at, event.by or "", event.note)
