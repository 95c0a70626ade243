"""PDFs read back by an independent library, each once in a run.

PDFium reads the handbook in under a second; pypdf took two minutes for the same text.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pypdfium2


@dataclass(frozen=True)
class PdfPage:
    """What a page says."""

    text: str
    outside: tuple[str, ...]
    """Runs of text that begin outside its box."""


@functools.cache
def read_pages(path: Path) -> tuple[PdfPage, ...]:
    """Return the pages of a PDF."""
    with pypdfium2.PdfDocument(path) as document:
        return tuple(map(_read, document))


def _read(page: pypdfium2.PdfPage) -> PdfPage:
    text = page.get_textpage()
    # a word divided at the end of a line ends in U+FFFE
    said = text.get_text_range().replace("\r\n", "\n").replace("\ufffe", "-")
    return PdfPage(said, tuple(_outside(page, text)))


def _outside(page: pypdfium2.PdfPage, text: pypdfium2.PdfTextPage) -> Iterator[str]:
    width, height = page.get_size()
    for index in range(text.count_rects()):
        left, bottom, right, top = text.get_rect(index)
        words = text.get_text_bounded(left, bottom, right, top)
        if words.strip() and not (0 <= left <= width and 0 <= bottom <= height):
            yield words
