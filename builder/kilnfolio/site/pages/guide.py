"""The guide to kilnfolio: the Markdown pages that come with the package.

A page is ``kilnfolio/guide/NN-slug.md``: front matter, then plain Markdown that reads equally well
on a code host. A fenced ``sh`` block is a command and the ``text`` block after it is its output;
the tests run them all. A line ``[[formulas]]`` is replaced by the registry of formulas, and
``[[sheet headings]]`` by the column headings that imported sheets may have.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import field
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal
from xml.etree import ElementTree as ET

import markdown
from markdown.extensions import Extension
from markdown.extensions.toc import slugify
from markdown.treeprocessors import Treeprocessor
from markupsafe import Markup

from kilnfolio.handbook.pages import plain_words
from kilnfolio.records.model import Name, Record, Text
from kilnfolio.records.sheet_words import roles
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext

#: Kinds of page in the order of the guide's contents, with the heading of each.
KINDS = {
    "tutorial": "Learn it",
    "how-to": "How to",
    "operation": "Keep it running",
    "explanation": "Understand it",
    "reference": "Look it up",
}

_NAME = re.compile(r"\d\d-([a-z0-9-]+)\.md")
_FRONT = re.compile(r"---\n(.*?)\n---\n", re.DOTALL)
#: Words on a fence that only the tests read, as in ```` ```sh exits=1 ````.
_FENCE_NOTE = re.compile(r"^(```\w+) +\w+=.*$", re.MULTILINE)


class Front(Record):
    """The front matter of a page."""

    title: Name
    """As printed."""
    summary: Text
    """One sentence, for the contents and for search."""
    kind: Literal["tutorial", "how-to", "operation", "explanation", "reference"]
    """The kind of page, which decides its place in the contents."""
    starts_in: Literal["clone", "demonstration", "empty"] | None = None
    """The folder in which its first command runs; None if it has no commands."""


@dataclass(frozen=True)
class GuidePage:
    """A page of the guide as written."""

    slug: str
    front: Front
    text: str

    @property
    def path(self) -> str:
        """Path in the mill edition."""
        return routes.guide(self.slug)


@dataclass(frozen=True)
class FormulaRow:
    """A formula as the guide's table of formulas lists it."""

    name: str
    symbols: str
    source: str


@cache
def guide_files() -> tuple[GuidePage, ...]:
    """Return the files of the guide in order."""
    home = Path(str(resources.files("kilnfolio") / "guide"))
    return tuple(_read(path) for path in sorted(home.glob("*.md")))


def _read(path: Path) -> GuidePage:
    name, text = _NAME.fullmatch(path.name), path.read_text("utf-8")
    front = _FRONT.match(text)
    if name is None or front is None:
        raise ValueError(
            f"{path.name}: a page of the guide is named NN-slug.md and begins with "
            "its front matter between two lines of '---'"
        )
    record = validate(parse_yaml(b"\n" + front[1].encode(), f"guide/{path.name}"), Front).record
    return GuidePage(name[1], record, text[front.end() :])


def guide_slugs() -> tuple[str, ...]:
    """Return the last part of each page's address, in order."""
    return tuple(page.slug for page in guide_files())


def guide_index(context: SiteContext) -> Page:
    """Return the page of the guide's contents."""
    return context.page(
        "guide_contents.html",
        routes.guide("index"),
        "Guide",
        "guide",
        groups=_groups(),
        summary="How to use kilnfolio: begin, keep records, seal, publish, and what lies behind.",
    )


def guide_page(context: SiteContext, slug: str) -> Page:
    """Return a page of the guide."""
    pages = guide_files()
    place = guide_slugs().index(slug)
    page = pages[place]
    body, headings = render_guide(page, context)
    return context.page(
        "guide.html",
        page.path,
        page.front.title,
        "guide",
        body=body,
        headings=headings,
        groups=_groups(),
        current=page,
        before=pages[place - 1] if place else None,
        after=pages[place + 1] if place + 1 < len(pages) else None,
        crumbs=(("Guide", routes.guide("index")),),
        summary=page.front.summary,
        text=[plain_words(body)],
    )


def _groups() -> list[tuple[str, list[GuidePage]]]:
    return [
        (words, [page for page in guide_files() if page.front.kind == kind])
        for kind, words in KINDS.items()
    ]


def render_guide(page: GuidePage, context: SiteContext) -> tuple[Markup, list[tuple[str, str]]]:
    """Return a page as HTML, and the anchor and words of each second-level heading."""
    md = markdown.Markdown(
        extensions=[
            "tables",
            "sane_lists",
            "def_list",
            "fenced_code",
            "attr_list",
            "toc",
            _Links(page),
        ],
        extension_configs={
            "toc": {
                "permalink": True,
                "permalink_title": "Link to this section",
                "slugify": slugify,
            }
        },
        output_format="html",
    )
    html = md.convert(_FENCE_NOTE.sub(r"\1", page.text))
    html = html.replace("<pre>", '<pre tabindex="0">')
    if "[[formulas]]" in html:
        table = context.env.get_template("guide_formulas.html").render(rows=formula_rows(context))
        html = html.replace("<p>[[formulas]]</p>", table)
    if "[[sheet headings]]" in html:
        table = context.env.get_template("guide_sheet_headings.html").render(roles=roles().values())
        html = html.replace("<p>[[sheet headings]]</p>", table)
    headings = [
        (token["id"], str(Markup(token["name"]).striptags()))
        for token in _second(getattr(md, "toc_tokens", []))
    ]
    return Markup(html), headings


def formula_rows(context: SiteContext) -> list[FormulaRow]:
    """Return every formula of the registry, with its publication's short title."""
    rows = []
    for formula in FORMULAS.values():
        cited = context.cite(formula.source)
        source = ", ".join(filter(None, (cited.words, cited.rest)))
        rows.append(FormulaRow(formula.name.replace("_", " "), formula.symbols, source))
    return rows


def _second(tokens: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    return [token for token in tokens if token["level"] == 2]


@dataclass
class _Links(Extension):
    """Resolves links between files, ``09-seal.md#a``, and to the rest of the site, ``site:``."""

    page: GuidePage
    config: dict[str, Any] = field(default_factory=dict)

    def extendMarkdown(self, md: markdown.Markdown) -> None:  # noqa: N802 (the library's name)
        md.treeprocessors.register(_Resolve(md, self.page), "kilnfolio-guide-links", -1)


class _Resolve(Treeprocessor):
    def __init__(self, md: markdown.Markdown, page: GuidePage):
        super().__init__(md)
        self.page = page

    def run(self, root: ET.Element) -> None:
        for element in root.iter("a"):
            element.set("href", self._address(element.get("href", "")))
        heading = self.page.front.title
        for place, child in enumerate(list(root)):
            if child.tag in ("h2", "h3"):
                heading = _words(child)
            elif child.tag == "table":
                root[place] = _scrolled(child, heading)

    def _address(self, target: str) -> str:
        if target.startswith("site:"):
            return routes.relative(target.removeprefix("site:"), self.page.path)
        if written := re.fullmatch(r"\d\d-([a-z0-9-]+)\.md(#.*)?", target):
            return f"{written[1]}.html{written[2] or ''}"
        return target


def _words(heading: ET.Element) -> str:
    """Return the words of a heading without its permalink mark."""
    kept = [part for part in heading if part.get("class") != "headerlink"]
    return (heading.text or "") + "".join(
        "".join(part.itertext()) + (part.tail or "") for part in kept
    )


def _scrolled(table: ET.Element, heading: str) -> ET.Element:
    """Return a table in a scrolling box that is labelled with the heading above it."""
    box = ET.Element(
        "div", {"class": "scroll-x", "tabindex": "0", "role": "region", "aria-label": heading}
    )
    box.append(table)
    table.set("class", "words-table")
    box.tail, table.tail = table.tail, None
    return box
