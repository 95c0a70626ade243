"""Show the working: on the built pages, every computed number has its working.

Every column of every table, and every line of key figures, that contains a number must say where
its numbers come from: its heading links to their working on the same page, or is marked `given`
(printed as written down or read) or `there` (worked out on the page that its row links to). The
working must then contain those very numbers. A new column or figure fails here until it does.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from html import unescape
from pathlib import Path

import pytest

#: Pages of prose, and pages whose numbers the reader works out or types in; other tests check that
#: their answers are worked (test_practice, test_drills, test_calculators).
OTHERWISE = ("mill/guide/", "mill/practice", "mill/drills", "mill/calculators", "mill/search")

_TABLE = re.compile(r"<table([^>]*)>(.*?)</table>", re.DOTALL)
_HEAD = re.compile(r"<th scope=\"(?:col|colgroup)\"([^>]*)>(.*?)</th>", re.DOTALL)
_ROW = re.compile(r"<tr[^>]*>(.*?)</tr>", re.DOTALL)
_CELL = re.compile(r"<t([dh])[^>]*>(.*?)</t\1>", re.DOTALL)
_FACTS = re.compile(r'<dl class="(?:keyfacts|lot-facts)">(.*?)</dl>', re.DOTALL)
_LINE = re.compile(r"<dt([^>]*)>(.*?)</dt>\s*<dd[^>]*>(.*?)</dd>", re.DOTALL)
_NAMES = re.compile(
    r"<(time|a|code|span class=\"unit\")[^>]*>.*?</(?:time|a|code|span)>", re.DOTALL
)
_TAG = re.compile(r"<[^>]+>")
_NUMBER = re.compile(r"(?<![\w.-])−?\d[\d\u00a0]*(?:\.\d+)?(?![\w-])")
_VALUE = re.compile(r'<span class="value"[^>]*>(.*?)</span>', re.DOTALL)
_LEADS = re.compile(r'href="#how-([\w-]+)"')


def numbers(html: str) -> list[str]:
    """Return the printed numbers, except times, names and units."""
    return _NUMBER.findall(unescape(_TAG.sub(" ", _NAMES.sub(" ", html))))


@dataclass(frozen=True)
class Heading:
    """A heading over numbers, and the numbers."""

    where: str
    marks: str
    html: str
    cells: tuple[str, ...]
    line: bool = False
    """A line of key figures, not a column."""

    @property
    def figures(self) -> list[str]:
        return [one for cell in self.cells for one in numbers(cell)]

    @property
    def exact(self) -> list[str]:
        """The results of a working: those set apart, if any are."""
        apart = [one for cell in self.cells for one in _VALUE.findall(cell)]
        if self.line and not apart:
            return []
        return [one for cell in apart for one in numbers(cell)] if apart else self.figures

    def says(self, mark: str) -> bool:
        return re.search(rf'class="[^"]*\b(?:{mark})\b', self.marks) is not None


class Built:
    """A page of the built site."""

    def __init__(self, path: Path, root: Path):
        self.path, self.html = path.relative_to(root).as_posix(), path.read_text("utf-8")

    @cached_property
    def worked(self) -> dict[str, tuple[set[str], bool]]:
        """The results under each working, and whether they are only a sample."""
        parts = re.split(r'<div class="working" id="how-', self.html)[1:]
        found = {}
        for part in parts:
            name, rest = part.split('"', 1)
            results = re.findall(r"<b>(.*?)</b>", rest.split("</div>", 1)[0], re.DOTALL)
            found[name] = (
                {one for words in results for one in numbers(words)},
                rest.startswith(" data-sample"),
            )
        return found

    def headings(self) -> Iterator[Heading]:
        for table in _TABLE.finditer(self.html):
            yield from self._columns(table)
        for listed in _FACTS.findall(self.html):
            for line in _LINE.finditer(listed):
                yield Heading(
                    f"{self.path}: {_TAG.sub('', line[2])}", line[1], line[2], (line[3],), line=True
                )

    def _columns(self, table: re.Match[str]) -> Iterator[Heading]:
        if "</thead>" not in table[2]:
            return
        head, body = table[2].split("</thead>", 1)
        rows = [[cell[1] for cell in _CELL.findall(row)] for row in _ROW.findall(body)]
        heads = [one for one in _HEAD.findall(head) if "colspan" not in one[0]]
        marks = table[1]
        if self._in_block_of_its_own(table):
            marks += ' class="given"'
        for place, (own, words) in enumerate(heads):
            cells = tuple(row[place] for row in rows if place < len(row) and place > 0)
            yield Heading(f"{self.path}: {_TAG.sub('', words)}", marks + own, words, cells)

    def _in_block_of_its_own(self, table: re.Match[str]) -> bool:
        """Return whether a handbook table has its working below it, or prints recorded figures."""
        block = self.html.rfind('<div class="table-block', 0, table.start())
        after = self.html[table.end() : table.end() + 4000].split("<table")[0]
        if block > self.html.rfind("</table>", 0, table.start()):
            opening = self.html[block : self.html.index(">", block)]
            return "given" in opening or 'class="workings"' in after
        return after.startswith('</details><details class="workings"')


@pytest.fixture(scope="module")
def built(demo_site) -> list[Built]:
    pages = (
        Built(path, demo_site)
        for path in sorted(demo_site.rglob("*.html"))
        if "bags" not in path.parts and ".staging" not in path.parts
    )
    return [page for page in pages if not page.path.startswith(OTHERWISE)]


def test_every_number_has_its_working(built):
    silent = {
        heading.where
        for page in built
        for heading in page.headings()
        if heading.figures
        and not (_LEADS.search(heading.html) or heading.says("given") or heading.says("there"))
    }
    assert sorted(silent) == []


def test_a_heading_links_to_an_existing_working(built):
    broken = [
        (page.path, name)
        for page in built
        for name in _LEADS.findall(page.html)
        if name not in page.worked
    ]
    assert broken == []


def test_a_working_ends_in_the_number_it_explains(built):
    """To the last digit, or the next to it: workings start from the record's rounded values."""
    looked_at = 0
    for page in built:
        for heading in page.headings():
            leads = [page.worked[name] for name in _LEADS.findall(heading.html)]
            if not leads or any(sample for _, sample in leads) or heading.says("under|words"):
                continue
            results = {_value(one) for found, _ in leads for one in found}
            for figure in heading.exact:
                step = 10.0 ** -len(figure.partition(".")[2])
                off = min(
                    abs(shown - _value(figure))
                    for result in results
                    for shown in (result, *_in_fahrenheit(result))
                )
                assert off < 1.6 * step, (heading.where, figure)
                looked_at += 1
    assert looked_at > 5000


def _in_fahrenheit(celsius: float) -> tuple[float, float]:
    """Return a worked temperature, difference or degree-hours as pages print it."""
    return celsius * 1.8 + 32.0, celsius * 1.8


def _value(figure: str) -> float:
    return float(figure.replace("\u00a0", "").replace("−", "-"))


def test_every_kind_of_page_with_figures_shows_workings(built):
    """None of these kinds may lack workings just because its page happens to print none."""
    for start in (
        "mill/charges/HB",
        "mill/lots/",
        "mill/kilns/kiln",
        "mill/schedules/acer",
        "auditor/charges/HB",
        "mill/handbook/calculations",
    ):
        page = next(page for page in built if page.path.startswith(start))
        assert 'class="working"' in page.html, page.path
    customers = [
        page
        for page in built
        if page.path.startswith("customer/") and "mean moisture content" in page.html
    ]
    assert len(customers) > 10
    assert all('class="working"' in page.html for page in customers)
