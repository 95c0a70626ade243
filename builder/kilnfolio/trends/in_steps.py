"""When a charge ran too fast or stopped, and in which step of its schedule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from itertools import pairwise

from kilnfolio.records.charge import Charge
from kilnfolio.review.dossier import Dossier

#: Its start and its end.
Span = tuple[dt.datetime, dt.datetime]
_HOUR = dt.timedelta(hours=1)


def fast_spans(dossier: Dossier, wet_pct: float) -> list[Span] | None:
    """Return when some wet board lost more than its safe daily loss.

    None if no board was weighed twice above `wet_pct`, or none has a safe loss.
    """
    spans: set[Span] = set()
    judged = False
    for board in dossier.boards:
        for before, point in pairwise(board.points):
            if (
                board.safe_daily_loss_pct is None
                or point.daily_loss_pct is None
                or before.mc_pct <= wet_pct
            ):
                continue
            judged = True
            if point.daily_loss_pct > board.safe_daily_loss_pct:
                spans.add((max(before.at, dossier.started), point.at))
    return _union(spans) if judged else None


def _union(spans: Iterable[Span]) -> list[Span]:
    """Return the times in which at least one of these spans lasted, without overlaps."""
    found: list[Span] = []
    for start, end in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1] = found[-1][0], max(end, found[-1][1])
        elif end > start:
            found.append((start, end))
    return found


def hours_of(span: Span) -> float:
    """Return how long a span lasted [h]."""
    return (span[1] - span[0]) / _HOUR


def _steps_run(record: Charge) -> list[tuple[int, Span]]:
    """Return the steps of the schedule as they were run, until equalizing or the end."""
    changes = sorted(record.step_changes, key=lambda change: change.at)
    if not changes:
        return []
    stages = (stage.start for stage in (record.equalizing, record.conditioning) if stage)
    last = min((record.ended, *stages))
    ends = [*(change.at for change in changes[1:]), last]
    return [(change.step, (change.at, end)) for change, end in zip(changes, ends, strict=True)]


def hours_by_step(record: Charge, spans: Sequence[Span]) -> tuple[tuple[int, float], ...]:
    """Return how much of these spans lay in each step [h]; a step run twice counts as one."""
    found: dict[int, float] = {}
    for step, (begun, ended) in _steps_run(record):
        within = (hours_of((max(begun, one), min(ended, other))) for one, other in spans)
        found[step] = found.get(step, 0.0) + sum(hours for hours in within if hours > 0.0)
    return tuple(sorted(found.items()))


def stops_by_step(record: Charge, starts: Sequence[dt.datetime]) -> tuple[tuple[int, float], ...]:
    """Return how many stops began in each step."""
    found: dict[int, float] = {}
    for step, (begun, ended) in _steps_run(record):
        found[step] = found.get(step, 0.0) + sum(begun <= start < ended for start in starts)
    return tuple(sorted(found.items()))
