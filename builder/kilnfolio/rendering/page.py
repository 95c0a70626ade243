"""A finished page, with its text for search."""

from __future__ import annotations

from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True, slots=True)
class Page:
    """An HTML page of an edition, or a script file that its pages load."""

    path: str
    """Path within the edition, with ``/`` between folders."""
    html: str
    """The whole document."""
    title: str
    """Its title, without the mill's name."""
    kind: str
    """Its kind, as printed by search: chapter, glossary, species, schedule …"""
    text: str
    """Its text without markup, for search; empty if it must not be found."""
    summary: str = ""
    """A sentence for lists and search results."""
