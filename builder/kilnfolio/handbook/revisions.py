"""Differences between two revisions, block by block, with changed words marked."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Sequence

from markupsafe import Markup, escape

from kilnfolio.runtime.values import dataclass

#: Blocks more alike than this count as reworded; others as one removed and one added.
_ALIKE = 0.4

_REMOVED = Markup(
    '<del><span class="visually-hidden">[removed: </span>{}'
    '<span class="visually-hidden">] </span></del>'
)
_ADDED = Markup(
    '<ins><span class="visually-hidden">[added: </span>{}'
    '<span class="visually-hidden">] </span></ins>'
)

_UNREAD = re.compile(r"<svg\b.*?</svg>|<a class=\"headerlink\".*?</a>", re.DOTALL)
_ENDS = re.compile(r"</(h[2-6]|p|li|tr|caption|figcaption|dt|dd|summary|pre)>")


@dataclass(frozen=True)
class Block:
    """A paragraph, heading, item or row of a text."""

    words: str
    heading: str
    """The heading above it; for a heading, its own words."""


@dataclass(frozen=True)
class Changed:
    """A changed block."""

    what: str
    """``added``, ``removed`` or ``reworded``."""
    heading: str
    html: Markup


def blocks_of(html: str) -> list[Block]:
    """Return the blocks of a rendered text, without drawings."""
    found, heading = [], ""
    pieces = _ENDS.split(_UNREAD.sub("", str(html)))
    for piece, tag in zip(pieces[::2], [*pieces[1::2], ""], strict=True):
        words = Markup(piece.replace("</td>", " · </td>").replace("</th>", " · </th>")).striptags()
        words = words.strip(" ·")
        if tag.startswith("h") and words:
            heading = words
        if words:
            found.append(Block(words, heading))
    return found


def compare(old: Sequence[Block], new: Sequence[Block]) -> Iterator[Changed]:
    """Yield the changed blocks, in the order of the newer text."""
    matcher = difflib.SequenceMatcher(
        None, [block.words for block in old], [block.words for block in new], autojunk=False
    )
    for tag, first, last, begin, end in matcher.get_opcodes():
        if tag != "equal":
            yield from _replaced(old[first:last], new[begin:end])


def _replaced(old: Sequence[Block], new: Sequence[Block]) -> Iterator[Changed]:
    left = list(old)
    for block in new:
        like = max(left, key=lambda other: _likeness(other.words, block.words), default=None)
        if like is not None and _likeness(like.words, block.words) > _ALIKE:
            left.remove(like)
            yield Changed("reworded", block.heading, reworded(like.words, block.words))
        else:
            yield Changed("added", block.heading, _ADDED.format(block.words))
    for block in left:
        yield Changed("removed", block.heading, _REMOVED.format(block.words))


def _likeness(old: str, new: str) -> float:
    return difflib.SequenceMatcher(None, old.split(), new.split(), autojunk=False).ratio()


def reworded(old: str, new: str) -> Markup:
    """Return a text with removed and added words marked."""
    before, after = old.split(), new.split()
    made: list[Markup] = []
    matcher = difflib.SequenceMatcher(None, before, after, autojunk=False)
    for tag, first, last, begin, end in matcher.get_opcodes():
        if tag == "equal":
            made.append(escape(" ".join(after[begin:end])))
            continue
        if last > first:
            made.append(_REMOVED.format(" ".join(before[first:last])))
        if end > begin:
            made.append(_ADDED.format(" ".join(after[begin:end])))
    return Markup(" ").join(made)
