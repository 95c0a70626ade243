"""Pages of the registers: the newest rows with the filters, and plain pages by year and month.

The plain pages serve readers without script, and printing. A year with many rows is split into
months, so that no page grows with the age of the mill.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence

from jinja2 import Environment

from kilnfolio.records.reading import ALL
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.templating import render
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.open_charges import (
    DraftView,
    OpenChargeView,
    draft_views,
    open_charge_views,
)
from kilnfolio.site.pages.phrases import OUTCOME_MEANING, plural
from kilnfolio.site.pages.rows import (
    CHARGES,
    LOTS,
    Filter,
    Register,
    RegisterPart,
    Row,
    choices,
    manifest,
    shard,
)

#: Rows on the register's own page before it is filtered.
NEWEST = 50
#: Most rows on a year's page; with more, it links to its months.
YEAR_HOLDS = 100


@dataclass(frozen=True)
class Choices:
    """A filter as the page prints it."""

    filter: Filter
    options: list[tuple[str, str]]


@dataclass(frozen=True)
class Period:
    """A year or month, with its number of rows."""

    words: str
    target: str
    rows: int


def register_names(context: SiteContext, register: Register) -> Iterator[str]:
    """Yield the name of each page of a register: "" for its own, then years and their months."""
    yield ""
    parts = context.register_parts(register)
    for year in years(parts):
        yield year
        if _row_count(year, parts) > YEAR_HOLDS:
            yield from _months(year, parts)


def register_page(context: SiteContext, register: Register, name: str) -> Page:
    """Return a page of a register; see `register_names`."""
    env, parts = context.env, context.register_parts(register)
    if not name:
        newest = context.register_rows(register, ALL, NEWEST)
        open_charges = open_charge_views(context) if register.kind == CHARGES.kind else []
        drafts = draft_views(context, "lot") if register.kind == LOTS.kind else []
        return index_page(env, register, newest, parts, open_charges, drafts)
    if len(name) > len("2026"):
        return month_page(env, register, name, context.register_rows(register, f"month:{name}"))
    rows = context.register_rows(register, f"year:{name}", YEAR_HOLDS + 1)
    return year_page(env, register, name, rows, parts)


def script_names(context: SiteContext, register: Register) -> Iterator[str]:
    """Yield the parts of a register."""
    for part in context.register_parts(register):
        yield part.name


def register_script(context: SiteContext, register: Register, name: str) -> Page:
    """Return the script file of a part of a register."""
    rows = context.register_rows(register, f"quarter:{name}")
    return _script(routes.register_rows(register.kind, name), shard(register, name, rows))


def manifest_script(context: SiteContext) -> Page:
    """Return the script file that names every part of both registers."""
    return _script(
        routes.REGISTER_MANIFEST,
        manifest(context.register_parts(CHARGES), context.register_parts(LOTS)),
    )


def _script(path: str, text: str) -> Page:
    return Page(path, text, path, "script", "")


def years(parts: Iterable[RegisterPart]) -> list[str]:
    """Return the years of a register, newest first."""
    return sorted({month[:4] for part in parts for month in part.months}, reverse=True)


def index_page(
    env: Environment,
    register: Register,
    newest: Sequence[Row],
    parts: Sequence[RegisterPart],
    open_charges: Sequence[OpenChargeView] = (),
    drafts: Sequence[DraftView] = (),
) -> Page:
    """Return the register's own page.

    Parameters
    ----------
    env : Environment
        From `templating.environment`.
    register : Register
        The register.
    newest : sequence of rows
        The first `NEWEST` of all.
    parts : sequence of RegisterPart
        A summary of each quarter.
    open_charges : sequence of OpenChargeView, optional
        Charges that are not yet complete.
    drafts : sequence of DraftView, optional
        Other records of the register's kind that are not yet complete.
    """
    total = sum(part.rows for part in parts)
    held = "with its review" if register.kind == CHARGES.kind else "compared with its order"
    summary = f"{plural(total, register.one)}, the newest first, each {held}."
    return _page(
        env,
        register,
        routes.register(register.kind),
        register.title,
        newest,
        summary,
        total=total,
        open_charges=open_charges,
        drafts=drafts,
        filters=[Choices(one, choices(parts, one.key)) for one in register.filters],
        periods=[_period(register, year, parts) for year in years(parts)],
        meanings=OUTCOME_MEANING if register.kind == CHARGES.kind else {},
    )


def year_page(
    env: Environment,
    register: Register,
    year: str,
    rows: Sequence[Row],
    parts: Sequence[RegisterPart],
) -> Page:
    """Return the plain page of a year: its rows or, if there are too many, links to its months.

    Parameters
    ----------
    env, register, parts
        As for `index_page`.
    year : str
        As in ``2026``.
    rows : sequence of rows
        The year's rows; only the first `YEAR_HOLDS` + 1 are used.
    """
    long = len(rows) > YEAR_HOLDS
    months = _months(year, parts) if long else []
    periods = [_period(register, month, parts) for month in months]
    total = _row_count(year, parts)
    return _plain_page(env, register, year, [] if long else rows, total, periods)


def month_page(env: Environment, register: Register, month: str, rows: Sequence[Row]) -> Page:
    """Return the plain page of a month, with all its rows."""
    return _plain_page(env, register, month, rows, len(rows), [])


def _plain_page(
    env: Environment,
    register: Register,
    part: str,
    rows: Sequence[Row],
    total: int,
    periods: list[Period],
) -> Page:
    crumbs = [(register.title, routes.register(register.kind))]
    if len(part) > 4:
        crumbs.append((part[:4], routes.register(register.kind, part[:4])))
    title = f"{register.title} of {_period_words(part)}"
    return _page(
        env,
        register,
        routes.register(register.kind, part),
        title,
        rows,
        f"{plural(total, register.one)}, the newest first.",
        total=total,
        open_charges=(),
        drafts=(),
        periods=periods,
        filters=[],
        crumbs=tuple(crumbs),
    )


def _page(
    env: Environment,
    register: Register,
    path: str,
    title: str,
    rows: Sequence[Row],
    summary: str,
    **values: object,
) -> Page:
    html = render(
        env,
        "register.html",
        path,
        title=title,
        summary=summary,
        register=register,
        rows=rows,
        **values,
    )
    return Page(path, html, title, "register", "", summary)


def _period(register: Register, part: str, parts: Iterable[RegisterPart]) -> Period:
    return Period(
        _period_words(part), routes.register(register.kind, part), _row_count(part, parts)
    )


def _row_count(part: str, parts: Iterable[RegisterPart]) -> int:
    return sum(
        count for found in parts for month, count in found.months.items() if month.startswith(part)
    )


def _months(year: str, parts: Iterable[RegisterPart]) -> list[str]:
    return sorted({m for part in parts for m in part.months if m[:4] == year}, reverse=True)


def _period_words(part: str) -> str:
    year, _, month = part.partition("-")
    return f"{dt.date(int(year), int(month), 1):%B %Y}" if month else year
