"""Show the working: how each computed number of a page was had, from what the page itself rests on.

A page's view model carries a `Shown` for every heading under which computed numbers stand; the
heading leads to it. What is sealed in a dossier stays as it is: the workings here are had from the
dossier's own values, through the registry of formulas, when the page is made. Their inputs are
rounded as the dossier keeps them, so that a last digit may differ by one from the number printed.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from kilnfolio.records.quantities import Percent
from kilnfolio.records.sourced import Titled, in_words
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.working import Points, evaluate


@dataclass(frozen=True)
class Shown:
    """How the numbers under one heading were had."""

    id: str
    """Where it stands on the page, after ``how-``."""
    of: str
    """What the numbers are."""
    worked: tuple[Working, ...]
    """Each number, or one of them where `sample` says so."""
    said: str = ""
    """What a reader must know of it."""
    sample: bool = False
    """One number is worked out for many that are had in the same way."""

    @property
    def boards(self) -> Iterator[tuple[Working, str]]:
        """Each working with the formula to print over it: none where it is that of the last."""
        last = ""
        for working in self.worked:
            yield working, "" if working.formula == last else working.formula
            last = working.formula

    @property
    def sources(self) -> list[str]:
        """Where its formulas stand."""
        return list(dict.fromkeys(one.source for one in self.worked))


Workings = Mapping[str, Shown]


def by_id(found: Iterable[Shown]) -> Workings:
    """Return what has a working, by its id; a heading without one then leads nowhere."""
    return {one.id: one for one in found if one.worked}


def with_titles(workings: Workings, publications: Mapping[str, Titled]) -> Workings:
    """Return workings that name publications by their titles, for a page that knows none."""
    return {
        name: replace(
            one,
            worked=tuple(
                working.model_copy(update={"source": in_words(working.source, publications)})
                for working in one.worked
            ),
        )
        for name, one in workings.items()
    }


def shown(
    identity: str,
    of: str,
    worked: Iterable[Working | None],
    said: str = "",
    *,
    sample: bool = False,
) -> Shown:
    """Return how numbers were had, leaving out what could not be worked."""
    return Shown(identity, of, tuple(one for one in worked if one is not None), said, sample)


def work_out(formula: str, label: str, /, **values: Any) -> Working | None:
    """Work a formula of the registry; None where physics refuses the values."""
    given = tuple(sorted(values.items()))
    try:
        return _worked_out(formula, label, given)
    except TypeError:  # a list of values is not kept
        return _worked_out.__wrapped__(formula, label, given)


@lru_cache(maxsize=4096)
def _worked_out(formula: str, label: str, values: tuple[tuple[str, Any], ...]) -> Working | None:
    """Work a formula; kept, for schedules share recipes, and two editions their pages."""
    try:
        return evaluate(FORMULAS[formula], label, dict(values)).working
    except ValueError:
        return None


def percent(value: float, decimals: int = 2) -> Percent:
    """Return a percentage with its words."""
    return Percent(value, f"{value:.{decimals}f} %")


def points(value: float, decimals: int = 2) -> Points:
    """Return points of MC with their words."""
    return Points(value, f"{value:.{decimals}f} points")


def counted_up(label: str, formula: str, over: str, result: str, source: str) -> Working:
    """Return the working of a number that is summed over a log: what is summed, over how much.

    The readings themselves stay in the logger's file, which the page names with its digest.
    """
    return Working(name=label, formula=formula, substituted=over, result=result, source=source)


def length_of(
    label: str, start: dt.datetime, end: dt.datetime, zone: dt.tzinfo, result: str
) -> Working:
    """Return the working of a length of time."""
    ends = " − ".join(when(at, zone) for at in (end, start))
    return Working(
        name=label,
        formula="length = end − start",
        substituted=ends,
        result=result,
        source="the definition",
    )


def when(at: dt.datetime, zone: dt.tzinfo) -> str:
    """Return a moment as a label prints it."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M}".replace(" ", figures.NBSP)
