"""Read a built site as a browser would: links, anchors, ids, addresses outside."""

from __future__ import annotations

import html
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import unquote, urlsplit

from lxml import etree

#: Attributes that name another file or place.
ADDRESSES = {"href", "src", "action", "poster", "data", "srcset", "xlink:href"}


@dataclass
class Reading:
    """What a page names."""

    ids: set[str] = field(default_factory=set)
    repeated: set[str] = field(default_factory=set)
    links: list[str] = field(default_factory=list)
    named: list[tuple[str, str]] = field(default_factory=list)
    """The words of each link and where it leads."""
    text: str = ""


_PARSER = etree.HTMLParser(huge_tree=True, remove_comments=True, remove_pis=True)
_IDS = etree.XPath("//@id")
_LINKS = etree.XPath(f"//@*[{' or '.join(f'name()={name!r}' for name in sorted(ADDRESSES))}]")
_ANCHORS = etree.XPath("//a[@href]")


def read_page(path: Path) -> Reading:
    """Return what a page names."""
    tree = etree.HTML(path.read_text("utf-8") or "<html>", parser=_PARSER)
    counted = Counter(filter(None, _IDS(tree)))
    return Reading(
        ids=set(counted),
        repeated={name for name, count in counted.items() if count > 1},
        links=list(map(str, _LINKS(tree))),
        named=[
            (" ".join("".join(link.itertext()).split()), link.get("href"))
            for link in _ANCHORS(tree)
        ],
        text=" ".join(" ".join(tree.itertext()).split()),
    )


def read_edition(root: Path) -> dict[Path, Reading]:
    """Return every page of an edition."""
    return {path: read_page(path) for path in sorted(root.rglob("*.html"))}


def dead_links(
    root: Path, pages: dict[Path, Reading], published: tuple[str, Path] | None = None
) -> list[str]:
    """Return each link of an edition that leads to no file or no anchor within it.

    Parameters
    ----------
    root : Path
        The edition's folder.
    pages : dict of Path to Reading
        Its pages.
    published : tuple of str and Path, optional
        The address another edition is published at, and its folder: links there must lead to
        one of its pages.
    """
    dead = []
    for page, reading in pages.items():
        for link in reading.links:
            parts = urlsplit(link)
            if parts.scheme in ("mailto", "tel"):
                continue
            where = f"{page.relative_to(root)}: {link}"
            if published and link.startswith(published[0] + "/"):
                if not (published[1] / unquote(parts.path).strip("/") / "index.html").is_file():
                    dead.append(where)
                continue
            if parts.scheme or parts.netloc:
                dead.append(where)
                continue
            target = (page.parent / unquote(parts.path)).resolve() if parts.path else page
            exists = target.is_relative_to(root.resolve()) and target.is_file()
            anchored = parts.fragment and target.suffix == ".html"
            if not exists or (anchored and unquote(parts.fragment) not in pages[target].ids):
                dead.append(where)
    return dead


# --- temperatures ---------------------------------------------------------------------------------

#: Scripts and styles say nothing; code shows what may be written into a file; what was inserted into
#: a phrase would split its pairs.
_UNSAID = re.compile(r"<(script|style|code|pre|ins)\b.*?</\1>", re.DOTALL)
#: A formula is worked in the units it is made for; its name and its result are read like the rest.
_WORKING = re.compile(r'<div class="working".*?</div>', re.DOTALL)
_RESULT = re.compile(r'<b>.*?</b>|<p class="meta">.*?</p>|<span class="meta">.*?</span>', re.DOTALL)
_INLINE = re.compile(
    r"</?(?:a|abbr|b|br|del|dfn|em|i|label|mark|output|q|small|span|strong|sub|sup|time|tspan|wbr)\b[^>]*>"
)
_FORMULA = re.compile(r" = .*[×÷]")
#: What is read aloud, or seen on a tab or on hovering.
_READ = re.compile(r'\b(?:alt|aria-label|content|data-read|placeholder|title)="([^"]*)"')
_METRIC = re.compile(r"(?:\d °C|\d K\b|, °C$|\(°C\)$)(?![·/²]| ?h\b)")
_PAIR = re.compile(r"°F\)? ?\(?[^()]*?(?:°C|\d K)\)?")


def lone_celsius(page: str) -> list[str]:
    """Return the phrases of a page, drawings and attributes too, that no °F stands before.

    A cell of its own counts as preceded where the cell before it is in °F, as in a row of set-points;
    so does a heading of a column. Degree-hours are no temperature.
    """
    if "°C" not in page and "K" not in page:
        return []
    page = _UNSAID.sub("", page)
    page = _WORKING.sub(lambda found: "\n".join(_RESULT.findall(found[0])), page)
    # what stands in its own place beside a first amount belongs to it
    said = re.sub(r"<[^>]+>", "\n", _INLINE.sub(" ", page)).split("\n")
    phrases = [_plain(words) for words in said if words.strip()]
    lone = [
        phrase
        for before, phrase in zip(["", *phrases], phrases, strict=False)
        if has_lone_celsius(phrase)
        and not _FORMULA.search(phrase)
        and not (_IS_METRIC.fullmatch(phrase) and "°F" in before)
    ]
    read = (_plain(words) for words in _READ.findall(page))
    return lone + [words for words in read if has_lone_celsius(words)]


def has_lone_celsius(words: str) -> bool:
    """Return whether words hold a temperature or a difference that no °F stands before."""
    return _METRIC.search(_PAIR.sub("", words)) is not None


#: Nothing but a temperature, or a heading that ends with its unit.
_IS_METRIC = re.compile(r"[\u2212-]?[\d.]+ (?:°C|K)|[\w ]*°C")


def _plain(words: str) -> str:
    return " ".join(html.unescape(words).replace("\u202f", " ").split())


# --- set-points -----------------------------------------------------------------------------------

_SET = re.compile(r"(\d+) °F dry bulb, (\d+) °F wet bulb,? \(?EMC ([\d.]+) %")
_CELL = re.compile(r"<t([hd])\b([^>]*)>(.*?)</t[hd]>", re.DOTALL)


def set_points(page: str) -> list[tuple[float, float, float]]:
    """Return every dry bulb and wet bulb [°F] that a page prints as set, with the EMC beside it [%].

    They stand in sentences, as on the page of today, and in tables of steps: those that have a column
    of steps, of both bulbs and of EMC, whose first column of a bulb is in °F.
    """
    words = _plain(re.sub(r"<[^>]+>", " ", page))
    found = [(float(dry), float(wet), float(emc)) for dry, wet, emc in _SET.findall(words)]
    for table in re.findall(r"<table\b.*?</table>", page, flags=re.DOTALL):
        head, _, body = table.partition("</thead>")
        columns = _cells(head)
        places = [_place(columns, words) for words in ("step", "dry bulb", "wet bulb", "emc")]
        if None in places:
            continue
        for row in re.findall(r"<tr\b.*?</tr>", body, flags=re.DOTALL):
            cells = _cells(row)
            if len(cells) == len(columns):
                numbers = [_number(cells[place]) for place in places[1:] if place is not None]
                if None not in numbers:
                    found.append(tuple(numbers))  # type: ignore[arg-type]
    return found


def _cells(html_: str) -> list[str]:
    """Return the words of each cell of a row, one that spans columns for each of them."""
    cells = []
    for _, attributes, words in _CELL.findall(html_):
        span = re.search(r'colspan="(\d+)"', attributes)
        plain = _plain(re.sub(r"<[^>]+>", " ", words)).lower()
        cells += [plain] * (int(span[1]) if span else 1)
    return cells


def _place(columns: list[str], words: str) -> int | None:
    return next((n for n, column in enumerate(columns) if column.startswith(words)), None)


def _number(words: str) -> float | None:
    found = re.match(r"(\d+(?:\.\d+)?)(?: (?:°f|%)| ±.*|$)", words)
    return float(found[1]) if found else None
