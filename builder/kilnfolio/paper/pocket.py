"""The pocket edition, A5: extracts of the handbook and the schedules to carry to the kiln.

It holds cautions, checklists, the mill's approved schedules, and tables for looking things up.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.charts.paper import for_paper
from kilnfolio.handbook.rendered import Contents
from kilnfolio.records.build_date import build_date
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import mill_pressure
from kilnfolio.rendering.regional import regional_format
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.pages.phrases import listed, thicknesses
from kilnfolio.site.pages.schedules import AirRow, schedule_rows

#: Path in the mill edition, and the style sheets.
PATH = "handbook-a5.pdf"
CSS = ("book.css", "pocket.css")
#: Kinds of handbook table to include, in this order.
CARRIED = (
    "safe-rates",
    "emc-by-bulbs",
    "humidity-by-bulbs",
    "set-points-for-emc",
    "equalizing-conditioning",
    "notation-temperature",
    "notation-depression",
    "notation-steps",
    "meter-temperature",
    "readings-for-share",
    "limits",
)
_CHECKLIST = re.compile(r'<div class="admonition practice">.*?</div>', re.DOTALL)


@dataclass(frozen=True)
class PocketSchedule:
    """A schedule and its steps."""

    record: Schedule
    stock: str
    rows: list[AirRow]


def pocket_html(contents: Contents, env: Environment) -> str:
    """Return the pocket edition as one HTML document.

    Parameters
    ----------
    contents : Contents
        The handbook, compiled for the book.
    env : Environment
        From `templating.environment`.
    """
    from kilnfolio import __version__

    folder, manuscript = contents.setting.folder, contents.manuscript
    pressure = mill_pressure(folder)
    records = sorted(
        (located.record for located in folder.schedules.values()),
        key=lambda record: (record.title.casefold(), record.id),
    )
    html = env.get_template("handbook/pocket.html").render(
        cautions=list(manuscript.cautions.values()),
        checklists=list(_checklists(contents)),
        schedules=[
            PocketSchedule(
                record,
                listed(folder.species[name].record.trade_name for name in record.for_stock.species)
                + f", {thicknesses(record.for_stock.thickness)}",
                schedule_rows(
                    record, folder.steps_of(record), pressure, regional_format(folder.mill.record)
                ),
            )
            for record in records
            if record.approved
        ],
        drafts=sum(record.approved is None for record in records),
        pressure_kpa=pressure / 1000.0,
        tables=list(_tables(contents)),
        edition=build_date(folder, manuscript.latest),
        version=__version__,
        here="",
        root="",
    )
    return for_paper(html)


def _checklists(contents: Contents) -> Iterator[tuple[str, Markup]]:
    """Yield each chapter's checklists, with the chapter's title."""
    for chapter in contents.manuscript.chapters:
        for box in _CHECKLIST.findall(contents.bodies[chapter.slug].html):
            yield chapter.heading, Markup(_unlinked(box))


def _tables(contents: Contents) -> Iterator[Markup]:
    """Yield the tables to include, each once."""
    found = [
        (one.what, one.anchor, contents.bodies[chapter.slug].html)
        for chapter in contents.manuscript.chapters
        for one in contents.bodies[chapter.slug].listed
        if one.what in CARRIED
    ]
    seen: set[str] = set()
    for _, anchor, html in sorted(found, key=lambda one: CARRIED.index(one[0])):
        block = re.search(
            rf'<div class="table-block[^"]*" id="{anchor}">.*?</table></div>'
            r'<p class="source">.*?</p></div>',
            html,
            re.DOTALL,
        )
        assert block is not None, anchor
        rows = block[0].partition("<tbody>")[2]
        if rows not in seen:
            seen.add(rows)
            yield Markup(_unlinked(block[0]))


def _unlinked(html: str) -> str:
    """Return HTML without links, whose targets are only in the handbook."""
    return re.sub(r"</?a\b[^>]*>", "", html)
