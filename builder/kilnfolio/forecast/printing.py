"""A forecast as the command prints it: as data and as text."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from kilnfolio.forecast.result import CAUTION, Due, Forecast

BANDS = ("median", "low80", "high80", "low95", "high95")
"""The times of a `Due` that are printed."""


def as_data(found: Forecast) -> dict[str, object]:
    """Return a forecast as plain data.

    Returns
    -------
    dict
        ``as_of``; ``steps``, each with the number of the step that begins and when it is ``due``;
        ``end``; ``boards`` with ``id``, ``pace`` and ``next_trigger``; ``learnt_from``; ``method``.
        Times are ISO 8601 with their offset; None if the plan does not get there.
    """
    return {
        "as_of": _moment(found.as_of),
        "steps": [{"step": step.step, "due": _due(step.due)} for step in found.steps],
        "end": _due(found.end),
        "boards": [
            {
                "id": board.board,
                "pace": round(board.pace, 3),
                "next_trigger": {
                    "mc_pct": board.next_trigger_pct,
                    "mass_g": board.next_trigger_g and round(board.next_trigger_g, 1),
                    "at": board.next_trigger_at and _moment(board.next_trigger_at),
                },
            }
            for board in found.boards
        ],
        "learnt_from": list(found.learnt_from),
        "method": found.method,
    }


def as_text(found: Forecast) -> str:
    """Return a forecast as text for a terminal."""
    return "\n".join(_lines(found))


def _lines(found: Forecast) -> Iterator[str]:
    yield f"Charge {found.charge}, as of {found.as_of:%Y-%m-%d %H:%M}: {CAUTION}"
    weighed = (
        f"; controlling MC {found.controlling_pct:.1f} % at {found.weighed:%Y-%m-%d %H:%M}"
        if found.past
        else ""
    )
    yield f"Step {found.step}{weighed}"
    yield f"{'':<26}{'likely':>17}   80 of 100 between"
    for step in found.steps:
        at = f" at {step.trigger_pct:g} %" if step.trigger_pct is not None else ""
        yield _row(f"step {step.step}{at}", step.due)
    target = f" at {found.target_pct:g} %" if found.target_pct is not None else ""
    yield _row(f"end of drying{target}", found.end)
    for name in ("equalizing", "conditioning", "unload"):
        if (due := getattr(found, name)) is not None:
            yield _row(name, due)
    if found.boards:
        yield f"{'board':<10}{'MC':>8}{'pace':>7}   next trigger"
    for board in found.boards:
        mc = f"{board.mc_pct:.1f} %" if board.mc_pct is not None else ""
        trigger = f"{board.next_trigger_pct:g} %" if board.next_trigger_pct is not None else ""
        mass = f", {board.next_trigger_g:.0f} g" if board.next_trigger_g is not None else ""
        at = f", {board.next_trigger_at:%Y-%m-%d %H:%M}" if board.next_trigger_at else ""
        if (board.mc_pct or 0.0) <= (board.next_trigger_pct or -1.0):
            at = ", there already"
        yield f"{board.board:<10}{mc:>8}{board.pace:>7.2f}   {trigger}{mass}{at}"
    for warning in found.warnings:
        yield f"Worth a look: {warning.at:%Y-%m-%d %H:%M}: {warning.message}"
    yield f"Made with {found.method}."
    if (error := found.usual_error_pct()) is not None:
        yield (
            f"On those charges, from about this point, it missed the end by {error:.0f} % of "
            "the whole time (median)."
        )


def _row(label: str, due: Due | None) -> str:
    if due is None:
        return f"{label:<26}{'not under this plan':>17}"
    likely, low, high = (
        f"{moment:%Y-%m-%d %H:%M}" for moment in (due.median, due.low80, due.high80)
    )
    return f"{label:<26}{likely:>17}   {low} and {high}"


def _due(due: Due | None) -> dict[str, str] | None:
    return None if due is None else {name: _moment(getattr(due, name)) for name in BANDS}


def _moment(moment: dt.datetime) -> str:
    return moment.isoformat(timespec="minutes")
