"""A chapter as written: its front matter and its text, with line numbers."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Annotated, get_args

from markdown.extensions.toc import slugify
from pydantic import Field

from kilnfolio.handbook.cautions import HANDBOOK, Caution, read_cautions
from kilnfolio.records.mill import CustomerLanguage
from kilnfolio.records.model import Change, Name, Record, Signature, Slug, Text
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import MAX_BYTES, Mark, parse_yaml
from kilnfolio.runtime.files import read_text

FIGURES = f"{HANDBOOK}/figures"
#: Tables of facts, each row with its source.
FACTS = f"{HANDBOOK}/facts"
#: Earlier revisions of chapters, ``SLUG/REVISION.md``.
SUPERSEDED = f"{HANDBOOK}/superseded"

#: Languages that chapters may be translated into, each in a folder of its name.
TRANSLATED: tuple[str, ...] = tuple(tag for tag in get_args(CustomerLanguage) if tag != "en")

_HEADING = re.compile(r"^(#{2,6})\s+(.*?)\s*(?:\{:?[ ]*#([\w-]+)[ ]*\})?\s*#*$")


class Term(Record):
    """An entry of the glossary."""

    term: Name
    """The word this handbook uses."""
    anchor: Slug
    """Its address on the page."""
    also: list[Name] = Field(default_factory=list)
    """Other names for it."""
    region: Name | None = None
    """The part of the world that uses it; empty if it is used everywhere."""
    definition: Text
    """Its meaning, in a sentence or two."""
    see: list[Slug] = Field(default_factory=list)
    """Anchors of related entries."""


class Chapter(Record):
    """The front matter of a chapter."""

    title: Name
    """As printed."""
    number: Annotated[int, Field(ge=1, le=99)] | None = None
    """Its number; empty for the glossary."""
    slug: Slug
    """Its address."""
    part: Name | None = None
    """The part of the book that begins with this chapter, if the book has parts."""
    summary: Text
    """One sentence, for the contents and for search."""
    revision: Annotated[int, Field(ge=1)]
    """Revision, from 1."""
    approved: Signature | None = None
    """Approval of this revision; a chapter without it is a draft."""
    changes: list[Change] = Field(default_factory=list)
    """Revision history."""
    sources: list[Slug] = Field(default_factory=list)
    """Publications it is based on."""
    cautions: list[Slug] = Field(default_factory=list)
    """Hazards of the work it describes: keys of cautions.yaml."""
    index: list[Name] = Field(default_factory=list)
    """Index terms whose main entry is this chapter."""
    aliases: dict[Slug, Slug] = Field(default_factory=dict)
    """Published anchors that no longer exist, each with the one that replaces it."""
    terms: list[Term] = Field(default_factory=list)
    """The glossary's entries."""


@dataclass(frozen=True)
class ChapterFile:
    """A chapter and the file it was read from."""

    record: Chapter
    file: str
    """Path relative to the mill folder."""
    lines: tuple[str, ...]
    """Every line of the file; those of the front matter are empty."""
    front: Mapping[tuple[str | int, ...], Mark]
    """The mark of each key of the front matter."""

    @property
    def slug(self) -> str:
        """Its address."""
        return str(self.record.slug)

    @property
    def title(self) -> str:
        """Its title."""
        return str(self.record.title)

    @property
    def heading(self) -> str:
        """Its number and title."""
        number = self.record.number
        return f"{number} {self.title}" if number else self.title

    def place(self, *path: str | int) -> Place:
        """Return the place of a key of the front matter."""
        return Place(self.file, *self.front.get(path, (1, 1)))

    @cached_property
    def anchors(self) -> frozenset[str]:
        """Every anchor within the chapter."""
        found = {term.anchor for term in self.record.terms}
        for line in self.lines:
            if heading := _HEADING.match(line):
                found.add(heading[3] or slugify(re.sub(r"\{[^}]*\}", "", heading[2]).strip(), "-"))
            elif option := re.match(r"(?:id|name):\s*([\w-]+)\s*$", line):
                found.add(option[1])
        return frozenset(found | self.record.aliases.keys())


@dataclass(frozen=True)
class Manuscript:
    """All chapters in order, with the glossary last, and the cautions."""

    chapters: tuple[ChapterFile, ...]
    cautions: Mapping[str, Caution]
    superseded: Mapping[str, tuple[ChapterFile, ...]] = field(default_factory=dict)
    """Earlier revisions of chapters by address, newest first."""
    translations: Mapping[str, Mapping[str, ChapterFile]] = field(default_factory=dict)
    """Translated chapters by language and address."""

    def in_language(self, tag: str) -> Manuscript:
        """Return the same handbook with its translated chapters in place of the English ones."""
        given = self.translations.get(tag, {})
        return replace(self, chapters=tuple(given.get(one.slug, one) for one in self.chapters))

    @cached_property
    def by_slug(self) -> Mapping[str, ChapterFile]:
        """Chapters by address."""
        return {chapter.slug: chapter for chapter in self.chapters}

    @cached_property
    def terms(self) -> Mapping[str, Term]:
        """Glossary entries by anchor."""
        return {term.anchor: term for chapter in self.chapters for term in chapter.record.terms}

    @property
    def latest(self) -> dt.date | None:
        """The date of the newest approval."""
        return max((c.record.approved.on for c in self.chapters if c.record.approved), default=None)


def read_manuscript(root: Path) -> tuple[Manuscript, list[Problem]]:
    """Read every chapter of a mill folder.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/handbook``.

    Returns
    -------
    tuple of Manuscript and list of Problem
        The chapters that could be read, and the problems of the others.
    """
    cautions, problems = read_cautions(root)
    chapters = []
    for path in sorted((root / HANDBOOK).glob("*.md")):
        name = path.relative_to(root).as_posix()
        try:
            chapters.append(_read(path, name))
        except RecordProblems as error:
            problems += error.problems
    chapters.sort(key=lambda chapter: (chapter.record.number or 100, chapter.slug))
    problems += _cross_check(chapters, cautions)
    superseded: dict[str, list[ChapterFile]] = {}
    for path in sorted((root / SUPERSEDED).glob("*/*.md")):
        name = path.relative_to(root).as_posix()
        try:
            superseded.setdefault(path.parent.name, []).append(_read(path, name))
        except RecordProblems as error:
            problems += error.problems
    problems += _check_superseded(chapters, superseded)
    translations, refused = _read_translations(root, chapters)
    problems += refused
    return Manuscript(
        tuple(chapters),
        cautions,
        {
            slug: tuple(sorted(found, key=lambda one: -one.record.revision))
            for slug, found in superseded.items()
        },
        translations,
    ), problems


def _read_translations(
    root: Path, chapters: Sequence[ChapterFile]
) -> tuple[dict[str, dict[str, ChapterFile]], list[Problem]]:
    """Read the chapters in folders named after a language, as ``content/handbook/fr``."""
    found: dict[str, dict[str, ChapterFile]] = {}
    problems: list[Problem] = []
    english = {chapter.slug: chapter for chapter in chapters}
    for tag in TRANSLATED:
        for path in sorted((root / HANDBOOK / tag).glob("*.md")):
            try:
                chapter = _read(path, path.relative_to(root).as_posix())
            except RecordProblems as error:
                problems += error.problems
                continue
            if wrong := list(_check_translation(chapter, english.get(chapter.slug))):
                problems += wrong
            else:
                found.setdefault(tag, {})[chapter.slug] = chapter
    return found, problems


def _check_translation(chapter: ChapterFile, original: ChapterFile | None) -> Iterator[Problem]:
    record, place = chapter.record, chapter.place("slug")
    if original is None or record.terms:
        yield Problem(
            place,
            f"chapter '{record.slug}'",
            "the glossary is not translated" if original else "there is no English chapter of it",
            "A translation has the slug, the number and the file name of the English chapter",
        )
        return
    if (
        Path(chapter.file).name != Path(original.file).name
        or record.number != original.record.number
    ):
        yield Problem(
            place,
            f"chapter '{record.slug}'",
            f"its file or its number is not that of {original.file}",
            "A translation has the slug, the number and the file name of the English chapter",
        )
    if record.revision > original.record.revision:
        yield Problem(
            chapter.place("revision"),
            f"revision {record.revision}",
            f"the English chapter is at revision {original.record.revision}",
            "Give the revision that was translated",
        )


def parse_chapter(text: str, name: str) -> ChapterFile:
    """Parse a chapter from its text.

    Raises
    ------
    RecordProblems
        If the front matter is missing or wrong.
    """
    lines = text.split("\n")
    ends = [i for i, line in enumerate(lines[1:], 1) if line.rstrip() == "---"]
    if lines[0].rstrip() != "---" or not ends:
        raise RecordProblems(
            [
                Problem(
                    Place(name),
                    "the front matter is missing",
                    "a chapter begins with its title, number "
                    "and revision between two lines of '---'",
                    "Begin the file with '---'",
                )
            ]
        )
    end = ends[0]
    front = "\n".join(
        ["", *lines[1:end], ""]
    )  # an empty line replaces '---', so that line numbers stay right
    located = validate(parse_yaml(front.encode(), name), Chapter)
    body = [""] * (end + 1) + [line.rstrip("\r") for line in lines[end + 1 :]]
    return ChapterFile(located.record, name, tuple(body), located.document.marks)


def _read(path: Path, name: str) -> ChapterFile:
    if path.stat().st_size > MAX_BYTES:
        raise RecordProblems(
            [
                Problem(
                    Place(name),
                    "the chapter is too long",
                    f"a chapter may have at most {MAX_BYTES:,} bytes",
                    "Split it",
                )
            ]
        )
    try:
        text = read_text(path, "utf-8-sig")
    except UnicodeDecodeError as error:
        raise RecordProblems(
            [
                Problem(
                    Place(name),
                    "the file is not UTF-8",
                    str(error.reason),
                    "Save it again with the encoding UTF-8",
                )
            ]
        ) from None
    return parse_chapter(text, name)


def _check_superseded(
    chapters: list[ChapterFile], superseded: Mapping[str, list[ChapterFile]]
) -> Iterable[Problem]:
    current = {chapter.slug: chapter.record.revision for chapter in chapters}
    for slug, found in superseded.items():
        for chapter in found:
            record = chapter.record
            if (
                record.slug != slug
                or str(record.revision) != Path(chapter.file).stem
                or record.revision >= current.get(slug, record.revision + 1)
            ):
                yield Problem(
                    chapter.place("revision"),
                    f"revision {record.revision} of '{record.slug}'",
                    "an earlier revision is kept by its chapter and number, and is below the "
                    "revision in force",
                    f"Keep revision 1 as {SUPERSEDED}/{record.slug}/1.md",
                )


def _cross_check(chapters: list[ChapterFile], cautions: Mapping[str, Caution]) -> Iterable[Problem]:
    seen: dict[str, ChapterFile] = {}
    for chapter in chapters:
        record = chapter.record
        stem = Path(chapter.file).stem
        wanted = f"{record.number:02d}-{record.slug}" if record.number else record.slug
        if stem != wanted:
            yield Problem(
                chapter.place("slug"),
                f"slug '{record.slug}'",
                f"the file is named '{stem}.md'",
                f"Name it '{wanted}.md'",
            )
        if record.slug in seen:
            yield Problem(
                chapter.place("slug"),
                f"slug '{record.slug}'",
                f"{seen[record.slug].file} has it already",
                "Each chapter has its own",
            )
        seen[record.slug] = chapter
        for place, key in enumerate(record.cautions):
            if key not in cautions:
                yield Problem(
                    chapter.place("cautions", place),
                    f"caution '{key}'",
                    "cautions.yaml has none of this name",
                    "Known ones: " + ", ".join(cautions),
                )
        anchors = {term.anchor for term in record.terms}
        for place, term in enumerate(record.terms):
            for position, other in enumerate(term.see):
                if other not in anchors:
                    yield Problem(
                        chapter.place("terms", place, "see", position),
                        f"see '{other}'",
                        "the glossary has no entry with this anchor",
                        "",
                    )
