"""PDFs read back by an independent library, each once in a run."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path

import pypdf


@dataclass(frozen=True)
class PdfPage:
    """What a page says."""

    text: str
    outside: tuple[str, ...]
    """Words that begin outside its box."""


@functools.cache
def read_pages(path: Path) -> tuple[PdfPage, ...]:
    """Return the pages of a PDF."""
    return tuple(map(_read, pypdf.PdfReader(path).pages))


def _read(page: pypdf.PageObject) -> PdfPage:
    width, height = float(page.mediabox.width), float(page.mediabox.height)
    outside: list[str] = []

    def see(text, cm, tm, _font, _size):
        across = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
        up = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
        if text.strip() and not (0 <= across <= width and 0 <= up <= height):
            outside.append(text)

    return PdfPage(page.extract_text(visitor_text=see), tuple(outside))
