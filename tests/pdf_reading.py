"""PDFs read back by an independent library, each once in a run.

PDFium reads the handbook in under a second; pypdf took two minutes for the same text.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import page as checker
import pikepdf
import pypdfium2
import pypdfium2.raw as pdfium


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


@dataclass(frozen=True)
class Piece:
    """A run of marked content: what stands in the text of a document, not in its margins."""

    page: int
    """Counted from 1."""
    mark: int
    tags: tuple[str, ...]
    """Of the elements it stands in, the outermost first."""

    @property
    def in_heading(self) -> bool:
        """Whether it is part of a heading."""
        return any(tag[0] == "H" and tag[1:].isdigit() for tag in self.tags)


def pieces(path: Path) -> list[Piece]:
    """Return the text of a document in the order its structure gives it."""
    with pikepdf.open(path) as pdf:
        numbers = {page.objgen: number for number, page in enumerate(pdf.pages, 1)}
        return list(_walk(pdf.Root.StructTreeRoot.K[0], (), numbers))


def _walk(
    element: pikepdf.Object, above: tuple[str, ...], numbers: dict[tuple[int, int], int]
) -> Iterator[Piece]:
    tags = (*above, str(element.S).removeprefix("/"))
    kids = element.get("/K", [])
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if not isinstance(kid, pikepdf.Dictionary):
            yield Piece(numbers[element.Pg.objgen], int(kid), tags)
        elif "/S" in kid:
            yield from _walk(kid, tags, numbers)


def reaches(path: Path, found: list[Piece]) -> dict[int, float]:
    """Return how far down each page with text its text reaches, as a share of its height."""
    marks: dict[int, set[int]] = {}
    for piece in found:
        marks.setdefault(piece.page, set()).add(piece.mark)
    with pypdfium2.PdfDocument(path) as document:
        return {number: _reach(document[number - 1], marks[number]) for number in marks}


def _reach(page: pypdfium2.PdfPage, marks: set[int]) -> float:
    lowest = (
        part.get_bounds()[1]
        for part in page.get_objects(max_depth=1)
        if pdfium.FPDFPageObj_GetMarkedContentID(part) in marks
    )
    return 1.0 - min(lowest) / page.get_height()


def breaches(path: Path) -> list[str]:
    """Return what an independent checker, page-validation, holds against a PDF.

    It knows 146 rules of PDF/A-3b (ISO 19005-3) and 104 of PDF/UA-1 (ISO 14289-1). It takes a stream
    whose data end in a carriage return for one byte shorter than it is; that alone is not believed.
    """
    return [
        f"{failure.rule_id}: {failure.message}"
        for profile in ("3b", "ua1")
        for failure in checker.validate_pdf(path, profile=profile).failures
        if failure.rule_id != "PDFA3B-STREAM-LENGTH-001" or not _ends_in_return(path)
    ]


@functools.cache
def _ends_in_return(path: Path) -> bool:
    with pikepdf.open(path) as pdf:
        streams = (item for item in pdf.objects if isinstance(item, pikepdf.Stream))
        return any(stream.read_raw_bytes().endswith(b"\r") for stream in streams)
