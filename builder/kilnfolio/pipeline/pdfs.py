"""The PDFs of the site, each printed by a job of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from kilnfolio.archive.places import dossier_path
from kilnfolio.archive.sealed_mill import entries_of_charge, is_sealed, ledger, sealed_folder
from kilnfolio.graph.derived import Job, derived
from kilnfolio.graph.graph import Graph
from kilnfolio.pipeline.pages import (
    charge_pdf_name,
    drills_of,
    lot_pdf_name,
    withdrawn_folders,
)
from kilnfolio.records import reading
from kilnfolio.rendering.routes import customer_folder
from kilnfolio.runtime.files import read_file
from kilnfolio.site.context import context_of, mill_context, printed
from kilnfolio.site.pages.audit import record_path
from kilnfolio.site.sealed import lot_view, published_addresses, warnings

#: PDFs that are not about one charge or lot.
BOOKS = ("handbook", "pocket", "practice", "practice-key")
#: The notice that replaces records at withdrawn addresses.
WITHDRAWN = "withdrawn"


def _keys(graph: Graph) -> Iterator[str]:
    yield from BOOKS
    languages = reading.mill(graph).record.customer_languages
    yield from (
        lot_pdf_name(number, tag, languages) for number in reading.lots(graph) for tag in languages
    )
    yield from (
        charge_pdf_name(number)
        for number in reading.charges(graph)
        if is_sealed(graph, "charge", number)
    )
    if _withdrawn(graph):
        yield WITHDRAWN


def _withdrawn(graph: Graph) -> tuple[str, ...]:
    """Return the folders of every address that was withdrawn."""
    return tuple(
        folder for number in reading.lots(graph) for folder in withdrawn_folders(graph, number)
    )


@derived(
    "pdf", keys=_keys, fills=(printed, warnings), option="pdfs", batch=1, label="PDFs", jobs=True
)
def pdf(graph: Graph, name: str) -> Job:
    """Return the job that prints a PDF."""
    noun, _, number = name.partition(":")
    if noun == "lot":
        parts = _lot(graph, number)
    elif noun == "charge":
        parts = _charge(graph, number)
    elif noun == WITHDRAWN:
        parts = _notice(graph)
    else:
        graph.option("epoch")  # books print their date
        parts = _book(graph, noun)
    return Job(*parts, warnings=warnings, joins=((printed, name, name),))


_Parts = tuple[Callable[..., tuple[bytes, list[str]]], tuple[Any, ...], tuple[str, ...]]


def _lot(graph: Graph, name: str) -> _Parts:
    from kilnfolio.paper.lot_pdf import lot_sheet, print_sheet

    number, _, tag = name.partition(":")
    languages = reading.mill(graph).record.customer_languages
    tag = tag or languages[0]
    env = context_of(graph, "customer").env_in(tag)
    sheet = lot_sheet(env, lot_view(graph, number).view)
    paths = tuple(
        f"customer/{customer_folder(address, tag, languages)}/record.pdf"
        for address in published_addresses(graph, number)
    )
    return print_sheet, (sheet,), paths


def _notice(graph: Graph) -> _Parts:
    """Return the job that prints the notice for withdrawn addresses."""
    from kilnfolio.paper.printing import pdf_of
    from kilnfolio.site.pages.withdrawn import render_withdrawn

    html = render_withdrawn(context_of(graph, "customer").env, "withdrawn", paper=True).html
    return pdf_of, (html,), tuple(f"customer/{folder}/record.pdf" for folder in _withdrawn(graph))


def _charge(graph: Graph, number: str) -> _Parts:
    from kilnfolio.paper.charge_pdf import charge_pdf, charge_record

    entries = entries_of_charge(graph, number)
    sealed = graph.file(dossier_path(number, len(entries)).as_posix())
    folder = sealed_folder(graph, number)
    assert folder is not None  # it is sealed
    record = charge_record(
        folder, read_file(sealed), entries, ledger.entry(graph, "demo keys", frozenset())
    )
    return charge_pdf, (record,), (f"auditor/{record_path(number)}",)


def _book(graph: Graph, name: str) -> _Parts:
    from kilnfolio.handbook.compiled import compile_handbook
    from kilnfolio.paper import book, pocket
    from kilnfolio.paper.booklet import booklets
    from kilnfolio.paper.printing import pdf_of

    context = mill_context(graph)
    if name in ("practice", "practice-key"):
        html = booklets(context.folder, context.env, drills_of(graph))[f"{name}.pdf"]
        return pdf_of, (html,), (f"mill/{name}.pdf",)
    contents = compile_handbook(context.folder, "book")
    if name == "handbook":
        html = book.book_html(contents, context.env)
        return book.book_pdf, (html, book.CSS), (f"mill/{book.PATH}",)
    html = pocket.pocket_html(contents, context.env)
    return book.book_pdf, (html, pocket.CSS), (f"mill/{pocket.PATH}",)
