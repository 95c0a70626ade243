"""Show the working: how each computed number of a page follows from the data behind the page.

A page's view model carries a `Shown` for every heading with computed numbers under it, and the
heading links to it. The dossier stays as sealed: these workings are computed from its values
through the registry of formulas when the page is made. Their inputs are rounded as the dossier
keeps them, so the last digit may differ by one from the number printed.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from kilnfolio.records.quantities import Percent
from kilnfolio.records.sourced import Titled, in_words
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.working import Points, evaluate
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class Shown:
    """The working of the numbers under one heading."""

    id: str
    """Its anchor on the page, after ``how-``."""
    of: str
    """What the numbers are."""
    worked: tuple[Working, ...]
    """The working of each number, or of one of them if `sample` is set."""
    remark: str = ""
    """A remark the reader needs."""
    sample: bool = False
    """One number is worked out as an example; the others are worked out in the same way."""

    @property
    def boards(self) -> Iterator[tuple[Working, str]]:
        """Each working with the formula to print above it; "" if the one before has the same."""
        last = ""
        for working in self.worked:
            yield working, "" if working.formula == last else working.formula
            last = working.formula

    @property
    def sources(self) -> list[str]:
        """The sources of its formulas."""
        return list(dict.fromkeys(one.source for one in self.worked))


Workings = Mapping[str, Shown]


def by_id(found: Iterable[Shown]) -> Workings:
    """Return the workings by id, without empty ones, whose headings then link nowhere."""
    return {one.id: one for one in found if one.worked}


def with_titles(workings: Workings, publications: Mapping[str, Titled]) -> Workings:
    """Return workings that cite publications by title, for a page that cannot look them up."""
    return {
        name: replace(one, worked=tuple([_titled(working, publications) for working in one.worked]))
        for name, one in workings.items()
    }


def _titled(working: Working, publications: Mapping[str, Titled]) -> Working:
    source = in_words(working.source, publications)
    return working if source == working.source else working.model_copy(update={"source": source})


def shown(
    identity: str,
    of: str,
    worked: Iterable[Working | None],
    remark: str = "",
    *,
    sample: bool = False,
) -> Shown:
    """Return a `Shown` without the workings that could not be made."""
    return Shown(identity, of, tuple(one for one in worked if one is not None), remark, sample)


def work_out(formula: str, label: str, /, **values: Any) -> Working | None:
    """Evaluate a formula of the registry; None if physics refuses the values."""
    given = [
        (name, tuple(value) if isinstance(value, list) else value) for name, value in values.items()
    ]
    return _worked_out(formula, label, tuple(given))


@lru_cache(maxsize=4096)
def _worked_out(formula: str, label: str, values: tuple[tuple[str, Any], ...]) -> Working | None:
    """Evaluate a formula; cached, because lots share readings and two editions share pages."""
    try:
        return evaluate(FORMULAS[formula], label, dict(values)).working
    except ValueError:
        return None


def percent(value: float, decimals: int = 2) -> Percent:
    """Return a percentage with its printed form."""
    return Percent(value, f"{value:.{decimals}f} %")


def points(value: float, decimals: int = 2) -> Points:
    """Return points of MC with their printed form."""
    return Points(value, f"{value:.{decimals}f} points")


def summed_over_log(label: str, formula: str, over: str, result: str, source: str) -> Working:
    """Return the working of a number summed over a log: the formula, and the interval.

    The readings are in the logger's file, which the page names with its digest.
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
    """Return a time as labels print it."""
    return at.astimezone(zone).isoformat(figures.NBSP, "minutes")[:16]
