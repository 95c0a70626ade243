"""The forecast of an open charge, as the today page and the kiln-side page print it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from kilnfolio.forecast.mill import open_forecasts
from kilnfolio.forecast.result import CAUTION, BoardPace, Due, Forecast
from kilnfolio.forecast.words import likely, ready, record
from kilnfolio.rendering import routes
from kilnfolio.review.figures import NBSP
from kilnfolio.review.kiln_state import BoardState, DueAt, KilnState, mass_due
from kilnfolio.review.round_check import mass_words
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext


@dataclass(frozen=True)
class BoardForecast:
    """The forecast of a sample board.

    Attributes
    ----------
    tag : str
    now : str
        What it should weigh at the next round; empty if not known.
    due : str
        Its mass when the next change falls due.
    at : datetime or None
        When it will probably be down to that mass; None if it already is or never will be.
    decides : bool
        True if it is one of the boards that decide.
    """

    tag: str
    now: str
    due: str
    at: dt.datetime | None
    decides: bool


@dataclass(frozen=True)
class KilnForecast:
    """The forecast of the charge in a kiln, in words.

    Attributes
    ----------
    next : str
        When the next change falls due, with its band; empty if the forecast does not say.
    ready, ready_what : str
        When the charge is done, and what that means: ``Ready to unload``, ``End of drying at 8 %``.
    boards : sequence of BoardForecast
    record : str
        How well such forecasts did on earlier charges.
    target, record_target : str
        Addresses of the whole forecast, and of its record on earlier charges.
    caution : str
    """

    next: str
    ready: str
    ready_what: str
    boards: Sequence[BoardForecast]
    record: str
    target: str
    record_target: str
    caution: str = CAUTION

    @property
    def deciding(self) -> list[BoardForecast]:
        """The boards that decide."""
        return [board for board in self.boards if board.decides]


def kiln_forecast(
    context: SiteContext, number: str, state: KilnState, now: dt.datetime
) -> KilnForecast | None:
    """Return the forecast of an open charge in words; None if it has none yet.

    Parameters
    ----------
    context : SiteContext
        The records.
    number : str
        The charge.
    state : KilnState
        The charge's state.
    now : datetime
        The time the page describes.
    """
    found: Forecast | None = open_forecasts(context.folder).get(number)
    if found is None:
        return None
    done = ready(found)
    return KilnForecast(
        _next_words(found, state, now),
        likely(done.due, now),
        done.what,
        _boards(found, state),
        record(found),
        f"{routes.charge(number)}#forecast",
        f"{routes.charge(number)}#forecast-record",
    )


def _next_words(found: Forecast, state: KilnState, now: dt.datetime) -> str:
    if state.is_due or state.next_due is None:
        return ""
    due = _due_of(found, state.next_due)
    return likely(due, now) if due is not None else ""


def _due_of(found: Forecast, due: DueAt) -> Due | None:
    """Return the forecast of when the next change falls due."""
    if due.label == "equalize":
        return found.equalizing
    if due.label == "target":
        return found.conditioning or found.end
    return next((step.due for step in found.steps if due.step == step.step), None)


def _boards(found: Forecast, state: KilnState) -> list[BoardForecast]:
    paces = {board.board: board for board in found.boards}
    return [_board(found, state, board, paces.get(board.tag)) for board in state.boards]


def _board(
    found: Forecast, state: KilnState, board: BoardState, pace: BoardPace | None
) -> BoardForecast:
    due, mass, weighs, at = state.next_due, None, None, None
    if due is not None:
        mass = mass_due(board, due)
    if pace is not None:
        weighs = found.board_mass_g(pace, dt.datetime.fromisoformat(state.next_round))
        if due is not None and (pace.mc_pct or 0.0) > due.mc_pct:
            at = found.board_reaches(pace, due.mc_pct)
    return BoardForecast(
        board.tag, _words(weighs, board), _words(mass, board), at, board.tag in _deciding(state)
    )


def _deciding(state: KilnState) -> Sequence[str]:
    """Return the boards that decide the next change."""
    known = [board for board in state.boards if board.mc_pct is not None]
    if state.next_due is None or not known:
        return ()
    if state.next_due.whose == "controlling":
        return state.controlling_boards
    pick = min if state.next_due.whose == "driest" else max
    return (pick(known, key=lambda board: board.mc_pct or 0.0).tag,)


def _words(mass_g: float | None, board: BoardState) -> str:
    return "" if mass_g is None else f"{mass_words(mass_g, board.unit)}{NBSP}{board.unit}"
