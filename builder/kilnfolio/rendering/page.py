"""A finished page: what is written, and what search needs to know of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Page:
    """One HTML page of an edition, or a script file that its pages load."""

    path: str
    """Path within the edition, with ``/`` between folders."""
    html: str
    """The whole document."""
    title: str
    """Its title, without the mill's name."""
    kind: str
    """What it is, in the word search prints beside it: chapter, glossary, species, schedule …"""
    text: str
    """Its words without markup, for search; empty where it must not be found."""
    summary: str = ""
    """One sentence for lists and search results."""
