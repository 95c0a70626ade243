"""The context in which a chapter is rendered: records, other chapters, and link targets."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import field
from typing import Literal

from markupsafe import Markup

from kilnfolio.handbook.chapter import Chapter, Manuscript
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.problems import Place, Problem
from kilnfolio.records.sourced import STATUS_MEANING, Publication, publication_of
from kilnfolio.rendering import routes
from kilnfolio.rendering.regional import RegionalFormat, regional_format
from kilnfolio.rendering.templating import STATUS_WORDS
from kilnfolio.runtime.values import dataclass

COMMON_PRACTICE = "common practice"
FROM_MEMORY = "from memory"
#: Pages made of the mill's own charges that a chapter may link to, as in ``mill:trends``.
MILL_PAGES: Mapping[str, str] = {
    "trends": routes.TRENDS,
    "degrade": routes.DEGRADE,
    "measuring": routes.MEASURING,
}


@dataclass(frozen=True)
class Setting:
    """The context of a chapter.

    Attributes
    ----------
    folder : MillFolder
        The mill's records.
    manuscript : Manuscript
        All chapters.
    target : {"site", "book"}
        Separate pages, or one printed document.
    checks : Mapping
        The catalogue of checks, by slug.
    """

    folder: MillFolder
    manuscript: Manuscript
    target: Literal["site", "book"] = "site"
    checks: Mapping[str, object] = field(default_factory=dict)
    language: str = ""
    """Tag of the language of a translation."""
    english: Manuscript | None = None
    """The chapters that were translated."""

    def original(self, slug: str) -> Chapter | None:
        """Return the chapter that one was translated from; None for an English one."""
        return self.english.by_slug[slug].record if self.english else None

    @property
    def publications(self) -> Mapping[str, Publication]:
        """The publications on record."""
        return self.folder.sources.record.publications

    @property
    def regional(self) -> RegionalFormat:
        """The mill's units, formats and regional words."""
        return regional_format(self.folder.mill.record)

    def anchor(self, slug: str, name: str) -> str:
        """Return an id within a chapter: unchanged on the site, prefixed in the book."""
        return name if self.target == "site" else f"{slug}--{name}"

    def chapter(self, slug: str, anchor: str, here: str) -> str:
        """Return the address of a place in a chapter, relative to the chapter `here`."""
        if self.target == "book":
            return f"#{slug}--{anchor or 'top'}"
        there = routes.chapter(self.address(slug), anchor)
        return routes.relative(there, routes.chapter(self.address(here)))

    def address(self, slug: str) -> str:
        """Return a chapter's address in this language; in English if it is not translated."""
        translated = slug in self.manuscript.translations.get(self.language, ())
        return f"{slug}.{self.language}" if translated else slug

    def record(
        self, kind: Literal["species", "check", "schedule"], identity: str, here: str
    ) -> str | None:
        """Return the address of a record's page; None in the book, which has no such pages."""
        if self.target == "book":
            return None
        route = {"species": routes.species, "check": routes.check, "schedule": routes.schedule}[
            kind
        ]
        return routes.relative(route(identity), routes.chapter(here))

    def mill_page(self, name: str, here: str) -> str | None:
        """Return the address of a page made of the mill's own charges; None in the book."""
        if self.target == "book" or name not in MILL_PAGES:
            return None
        return routes.relative(MILL_PAGES[name], routes.chapter(here))

    def link(self, words: str, address: str | None) -> Markup:
        """Return a link, or only its words if there is no address."""
        if address is None:
            return Markup.escape(words)
        return Markup('<a href="{}">{}</a>').format(address, words)

    def citation(self, citation: str, status: str = "") -> Markup:
        """Return a short reference that links to the list of sources.

        Parameters
        ----------
        citation : str
            A publication's id and the place in it, or 'common practice'.
        status : str
            Status of the value; printed unless it is "read".
        """
        identity = publication_of(citation)
        if identity == COMMON_PRACTICE or status == COMMON_PRACTICE:
            return status_words(COMMON_PRACTICE)
        publication = self.publications.get(identity)
        words = publication.short if publication else identity
        where = citation.partition(",")[2].strip()
        reference = Markup('<span class="cite">(<a href="#source-{}">{}</a>)</span>').format(
            identity, ", ".join(filter(None, (words, where)))
        )
        return reference if status in ("", "read") else reference + " " + status_words(status)


def status_words(word: str) -> Markup:
    """Return the status of a value, in the handbook's words."""
    words = FROM_MEMORY if word == "memory" else STATUS_WORDS[word]
    return Markup('<span class="status-{}" title="{}">{}</span>').format(
        word.replace(" ", "-"), STATUS_MEANING[word], words
    )


def unknown(place: Place, kind: str, name: str, known: Mapping[str, object]) -> Problem:
    """Return a problem for a name that does not exist."""
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.5)
    return Problem(
        place,
        f"{kind} '{name}'",
        f"there is no {kind} of this name",
        f"Did you mean '{near[0]}'?" if near else "",
    )
