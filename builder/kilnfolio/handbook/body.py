"""Rendering a chapter as HTML: Markdown with the handbook's own forms; problems with lines."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any, Literal
from xml.etree import ElementTree as ET

import markdown
from markdown.extensions import Extension
from markdown.extensions.toc import slugify
from markdown.preprocessors import Preprocessor
from markdown.treeprocessors import Treeprocessor
from markupsafe import Markup

from kilnfolio.handbook import directives
from kilnfolio.handbook.chapter import ChapterFile
from kilnfolio.handbook.examples import PLACEHOLDER, WorkedSteps
from kilnfolio.handbook.rendered import NOTHING, Body, Heading, IndexEntry, Listed
from kilnfolio.handbook.setting import (
    COMMON_PRACTICE,
    FROM_MEMORY,
    MILL_PAGES,
    Setting,
    unknown,
)
from kilnfolio.handbook.source import FORM, Block, PlaceFinder, Prose, split
from kilnfolio.records.problems import Place, Problem
from kilnfolio.records.quantities import TemperatureDifference
from kilnfolio.rendering.amounts import as_set
from kilnfolio.rendering.templating import quantity
from kilnfolio.review.working import parse_any

_EXTENSIONS = ("tables", "attr_list", "def_list", "footnotes", "admonition", "sane_lists", "abbr")
_ATTRIBUTES = frozenset(
    ("id", "class", "href", "title", "rel", "start", "scope", "colspan", "rowspan", "role", "style")
)
_ALIGN = re.compile(r"text-align: (left|right|center);")


class ChapterBuilder:
    """Renders a chapter; directives call back for their prose, numbers and addresses."""

    def __init__(self, setting: Setting, chapter: ChapterFile):
        self.setting, self.chapter = setting, chapter
        self.body = Body(cited=list(chapter.record.sources))
        self._counts: dict[str, int] = {}
        self._ids: set[str] = set()
        self._headings = self._section = 0
        self._indexed: set[tuple[str, int]] = set()

    def build(self) -> Body:
        """Render the chapter."""
        for place, identity in enumerate(self.chapter.record.sources):
            if identity not in self.setting.publications:
                self.problem(
                    unknown(
                        self.chapter.place("sources", place),
                        "publication",
                        identity,
                        self.setting.publications,
                    )
                )
        for term in self.chapter.record.index:
            self._index(term, "top")
        whole = _Converter(self, directives_too=True)
        self.body.html = self._with_aliases(whole.convert(list(self.chapter.lines)))
        self.body.headings = list(_headings(whole.md.toc_tokens))
        return self.body

    def _with_aliases(self, html: Markup) -> Markup:
        """Insert each retired anchor before the heading that replaces it."""
        for old, new in self.chapter.record.aliases.items():
            place = self.chapter.place("aliases", old)
            gone = Markup('<span id="{}"></span>').format(self.anchor(old, place))
            answer = self.setting.anchor(self.chapter.slug, new)
            heading = re.compile(rf'(?=<h\d[^>]*\bid="{answer}")')
            html, found = Markup(heading.sub(str(gone), html, count=1)), heading.search(html)
            if not found:
                self.problem(
                    Problem(
                        place,
                        f"alias '{old}'",
                        f"no section has the anchor '{new}'",
                        "Name the section that answers instead",
                    )
                )
        return html

    # --- what directives use ----------------------------------------------------------------------

    @property
    def file(self) -> str:
        """The chapter's file."""
        return self.chapter.file

    def problem(self, problem: Problem) -> None:
        """Record a problem."""
        self.body.problems.append(problem)

    def number(self, kind: str) -> str:
        """Return the next number of a kind such as tables, as in 6.2."""
        self._counts[kind] = self._counts.get(kind, 0) + 1
        chapter = self.chapter.record.number
        return f"{chapter}.{self._counts[kind]}" if chapter else str(self._counts[kind])

    def anchor(self, name: str, place: Place) -> str:
        """Return the id of an element of this chapter; report a name that is already taken."""
        if name in self._ids:
            self.problem(
                Problem(place, f"'{name}'", "this chapter has it already", "Give it another name")
            )
        self._ids.add(name)
        return self.setting.anchor(self.chapter.slug, name)

    def caption(
        self,
        kind: Literal["table", "figure"],
        number: str,
        anchor: str,
        text: str,
        place: Place,
        what: str = "",
    ) -> Markup:
        """Render the caption of a table or figure, and add it to the list of them."""
        caption = self.line(text, place)
        self.body.listed.append(Listed(kind, number, anchor, _short(caption.striptags()), what))
        return caption

    def prose(self, text: str, place: Place, board: WorkedSteps | None = None) -> Markup:
        """Render the prose of a directive, filling placeholders from its board."""
        if board is not None:
            text = self._fill_placeholders(text, place, board)
        self._prose.forms.first_line = place.line
        return self._prose.convert(text.split("\n"))

    def line(self, text: str, place: Place, board: WorkedSteps | None = None) -> Markup:
        """Render prose of a single paragraph, without the paragraph element."""
        html = str(self.prose(text, place, board)).strip()
        return Markup(re.sub(r"^<p>|</p>$", "", html))

    def _fill_placeholders(self, text: str, place: Place, board: WorkedSteps) -> str:
        def words(match: re.Match[str]) -> str:
            found = board.words(match[1], match[2])
            if found is None:
                known = [*board.results, *(f"{a}.{b}" for a, b in board.entered)]
                self.problem(
                    Problem(
                        place,
                        f"the placeholder {match[0]}",
                        "no step gives it",
                        "Known here: " + ", ".join(known),
                    )
                )
                return match[0]
            return "\x1a" + found + "\x1b"

        return PLACEHOLDER.sub(words, text)

    # --- Markdown ---------------------------------------------------------------------------------

    @cached_property
    def _prose(self) -> _Converter:
        """The converter of directives' prose; making one takes as long as using it."""
        return _Converter(self, directives_too=False)

    def source(
        self,
        lines: list[str],
        first_line: int,
        store: Callable[[str], str],
        *,
        directives_too: bool,
    ) -> list[str]:
        """Return the text for Markdown, with the handbook's forms moved to `store`."""
        parts, problems = (
            split(lines, first_line, self.file)
            if directives_too
            else ([Prose("\n".join(lines), first_line)], [])
        )
        self.body.problems += problems
        made: list[str] = []
        for part in parts:
            if isinstance(part, Block):
                made += ["", store(str(directives.render(self, part))), ""]
            else:
                made += self._prose_source(part, store).split("\n")
        return made

    def _prose_source(self, prose: Prose, store: Callable[[str], str]) -> str:
        spots, headings = PlaceFinder(prose, self.file), self._headings
        self._headings += prose.text.count("\n##")
        self.body.problems += spots.refused()
        for target, place in spots.links():
            self._check_link(target, place)

        def replace(match: re.Match[str]) -> str:
            if spots.in_code(match.start()):
                return match[0]
            self._section = headings + prose.text.count("\n##", 0, match.start())
            html = self._form(match[1], match[2], spots.place(match.start()))
            return match[0] if html is None else store(str(html))

        return FORM.sub(replace, prose.text)

    # --- inline forms -----------------------------------------------------------------------------

    def _form(self, name: str, text: str, place: Place) -> Markup | None:
        text = " ".join(text.split())
        if name == "q":
            try:
                asked = parse_any(text)
                if isinstance(asked, TemperatureDifference):
                    asked = as_set(asked)
                return quantity(asked, self.setting.regional)
            except ValueError as error:
                why = getattr(error, "context", None) or {}
                self.problem(
                    Problem(
                        place,
                        f"the quantity '{text}'",
                        why.get("why", str(error)),
                        "Write a number and its unit, as in {q: 25 mm}",
                    )
                )
        elif name == "cite":
            return self._cite(text, place)
        elif name == "index":
            if text.partition("!")[0]:
                return self._mark(text)
            self.problem(Problem(place, "an empty index term", "it names what is found here", ""))
        else:
            self.problem(
                Problem(
                    place,
                    f"the form '{{{name}: …}}'",
                    "there is no such form",
                    "Known ones: {q: }, {cite: }, {index: }",
                )
            )
        return None

    def _mark(self, text: str) -> Markup:
        """Mark a place for the index; a term is marked only once in a section."""
        if (text, self._section) in self._indexed:
            return NOTHING
        self._indexed.add((text, self._section))
        anchor = f"ix-{len(self.body.index) + 1}"
        self._index(text, anchor)
        return Markup('<span id="{}"></span>').format(
            self.setting.anchor(self.chapter.slug, anchor)
        )

    def _cite(self, text: str, place: Place) -> Markup | None:
        words, memory = re.subn(rf",?\s*{FROM_MEMORY}\s*$", "", text)
        identity = words.partition(",")[0].strip()
        if identity != COMMON_PRACTICE and identity not in self.setting.publications:
            self.problem(unknown(place, "publication", identity, self.setting.publications))
            return None
        if identity != COMMON_PRACTICE and identity not in self.body.cited:
            self.body.cited.append(identity)
        return self.setting.citation(words, "memory" if memory else "")

    def cite_row(self, citation: str, status: str) -> Markup:
        """Return a citation of a table's row, adding its publication to the list of sources."""
        identity = citation.partition(",")[0].strip()
        if identity != COMMON_PRACTICE and identity not in self.body.cited:
            self.body.cited.append(identity)
        return self.setting.citation(citation, status)

    def _index(self, text: str, anchor: str) -> None:
        term, _, sub = (part.strip() for part in text.partition("!"))
        self.body.index.append(IndexEntry(term, sub, anchor))

    # --- links ------------------------------------------------------------------------------------

    def _check_link(self, target: str, place: Place) -> None:
        setting = self.setting
        scheme, _, name = target.partition(":")
        if scheme == "species":
            if name not in setting.folder.species:
                self.problem(unknown(place, "species", name, setting.folder.species))
        elif scheme == "check":
            if name not in setting.checks:
                self.problem(unknown(place, "check", name, setting.checks))
        elif scheme == "mill":
            if name not in MILL_PAGES:
                self.problem(unknown(place, "page of the mill", name, MILL_PAGES))
        elif scheme == "term":
            if name not in setting.manuscript.terms:
                self.problem(unknown(place, "term", name, setting.manuscript.terms))
        elif chapter := re.fullmatch(r"(?:([\w-]+)\.md)?(?:#([\w-]+))?", target):
            self._check_chapter_link(chapter[1] or self.chapter.slug, chapter[2], target, place)
        elif scheme not in ("http", "https", "mailto"):
            self.problem(
                Problem(
                    place,
                    f"the link '{target}'",
                    "it leads nowhere in this book",
                    "Link to slug.md#anchor, species:id, check:slug, term:anchor, mill:page "
                    "or an https address",
                )
            )

    def _check_chapter_link(self, slug: str, anchor: str | None, target: str, place: Place) -> None:
        other = self.setting.manuscript.by_slug.get(slug)
        if other is None:
            self.problem(unknown(place, "chapter", slug, self.setting.manuscript.by_slug))
        elif anchor and anchor not in other.anchors:
            self.problem(
                unknown(place, f"anchor in {slug}.md", anchor, dict.fromkeys(other.anchors))
            )
        elif not target:
            self.problem(Problem(place, "an empty link", "it leads nowhere", ""))

    def address(self, target: str) -> str | None:
        """Return the address of a link; None if the book does not contain its target."""
        here = self.chapter.slug
        scheme, _, name = target.partition(":")
        if scheme == "term":
            return self.setting.chapter("glossary", name, here)
        if scheme == "mill":
            return self.setting.mill_page(name, here)
        if scheme in ("species", "check"):
            return self.setting.record(scheme, name, here)  # type: ignore[arg-type]
        if chapter := re.fullmatch(r"(?:([\w-]+)\.md)?(?:#([\w:-]+))?", target):
            return self.setting.chapter(chapter[1] or here, chapter[2] or "", here)
        return target if scheme in ("http", "https", "mailto") else None


def _short(caption: str, most: int = 80) -> str:
    """Return the first sentence of a caption, or as much of it as fits on a line."""
    title = re.split(r"\.\s+(?=[A-Z])", caption)[0].removesuffix(".")
    if len(title) <= most:
        return title
    clause = re.split(r"[,:;]\s(?=[^,:;]*$)", title[:most])[0]  # cut at the last comma or the like
    return clause if len(clause) > most // 2 else textwrap.shorten(title, most, placeholder="…")


def _headings(tokens: Sequence[dict[str, Any]]) -> Sequence[Heading]:
    found: list[Heading] = []
    for token in tokens:
        text = Markup(token["name"]).striptags().strip()
        found.append(Heading(token["id"], text, token["level"]))
        found += _headings(token["children"])
    return found


class _Converter:
    """Converts Markdown with the handbook's forms, any number of times."""

    def __init__(self, builder: ChapterBuilder, *, directives_too: bool):
        self.forms = _Forms(builder, 1, directives_too)
        toc = {
            "permalink": builder.setting.target == "site",
            "permalink_title": "Link to this section",
            "slugify": slugify,
        }
        self.md = markdown.Markdown(
            extensions=[*_EXTENSIONS, self.forms, *(["toc"] if directives_too else [])],
            extension_configs={"toc": toc},
            output_format="html",
        )

    def convert(self, lines: list[str]) -> Markup:
        html = self.md.reset().convert("\n".join(lines))
        return Markup(re.sub("\x1a(.*?)\x1b", r'<span class="value">\1</span>', html))


class _Forms(Extension):
    """Adds the handbook's forms and directives to Markdown, and removes raw HTML."""

    def __init__(self, builder: ChapterBuilder, first_line: int, directives_too: bool):
        super().__init__()
        self.builder, self.first_line, self.directives_too = builder, first_line, directives_too

    def extendMarkdown(self, md: markdown.Markdown) -> None:  # noqa: N802 (the library's name)
        md.preprocessors.deregister("html_block")
        for name in ("html", "image_link", "image_reference", "short_image_ref"):
            md.inlinePatterns.deregister(name)
        md.preprocessors.register(_Source(md, self), "kilnfolio-source", 29)
        md.treeprocessors.register(_Tree(md, self.builder), "kilnfolio-tree", -1)


class _Source(Preprocessor):
    def __init__(self, md: markdown.Markdown, forms: _Forms):
        super().__init__(md)
        self.forms = forms

    def run(self, lines: list[str]) -> list[str]:
        store = self.md.htmlStash.store
        return self.forms.builder.source(
            lines, self.forms.first_line, store, directives_too=self.forms.directives_too
        )


class _Tree(Treeprocessor):
    """Resolves links, makes ids unique to the chapter, and keeps only known attributes."""

    def __init__(self, md: markdown.Markdown, builder: ChapterBuilder):
        super().__init__(md)
        self.builder = builder

    def run(self, root: ET.Element) -> None:
        for element in list(root.iter()):
            self._attributes(element)
            for place, child in enumerate(list(element)):
                if child.tag == "table":
                    element[place] = _scrolled(child)

    def _attributes(self, element: ET.Element) -> None:
        builder = self.builder
        for key in list(element.attrib):
            if key not in _ATTRIBUTES or (
                key == "style" and not _ALIGN.fullmatch(element.attrib[key])
            ):
                del element.attrib[key]
        if "id" in element.attrib:
            element.set("id", builder.setting.anchor(builder.chapter.slug, element.attrib["id"]))
        if "href" in element.attrib:
            address = builder.address(element.attrib["href"])
            if address is None:
                del element.attrib["href"]
                element.tag = "span"
            else:
                element.set("href", address)


def _scrolled(table: ET.Element) -> ET.Element:
    box = ET.Element(
        "div", {"class": "scroll-x", "tabindex": "0", "role": "region", "aria-label": "Table"}
    )
    box.append(table)
    box.tail, table.tail = table.tail, None
    return box
