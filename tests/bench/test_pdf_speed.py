"""PDFs against the bare call of WeasyPrint that makes the same bytes, and side by side."""

import time

import pytest
import weasyprint
from tests.bench.mills import make_mill
from tests.reviewed import reviewed_mill
from tests.test_cluster import running
from weasyprint.text.fonts import FontConfiguration

from kilnfolio.charts.paper import paper_sheet
from kilnfolio.handbook.compiled import compile_handbook
from kilnfolio.paper import printing
from kilnfolio.paper.archival import VARIANT, finished
from kilnfolio.paper.book import CSS, book_html, write_book
from kilnfolio.paper.lot_pdf import lot_html, lot_pdf
from kilnfolio.paper.printing import pdf_of
from kilnfolio.rendering.templating import environment
from kilnfolio.runtime.cluster import cluster
from kilnfolio.runtime.cluster_address import Cluster
from kilnfolio.runtime.workers import Workers
from kilnfolio.site.sealed import lot_view

BASE = printing.ASSETS.as_uri() + "/"


class Bare:
    """WeasyPrint called on HTML and nothing else, with its fonts and style sheets read once.

    A record with an attachment is finished for archives, as ours is.
    """

    def __init__(self, *css):
        self.fonts, text = FontConfiguration(), "\n".join(map(paper_sheet, css))
        self.sheet = weasyprint.CSS(string=text, base_url=BASE, font_config=self.fonts)

    def __call__(self, html, attached=()):
        return weasyprint.HTML(string=html, base_url=BASE).write_pdf(
            stylesheets=[self.sheet],
            font_config=self.fonts,
            pdf_tags=True,
            pdf_variant=VARIANT if attached else None,
            finisher=finished(None) if attached else None,
            attachments=[printing._attachment(item) for item in attached] or None,
        )


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    return reviewed_mill(make_mill(tmp_path_factory.mktemp("pdf") / "mill", charges=2))


@pytest.fixture(scope="module")
def views(mill):
    return [lot_view(mill.folder.graph, lot).view for lot in list(mill.lots)[:10]]


@pytest.fixture(scope="module")
def pages(mill, views):
    env = environment(mill.folder.mill.record, menu=())
    return [lot_html(env, view) for view in views]


def test_lot_records(book, mill, views, pages):
    from kilnfolio.paper.lot_pdf import _attached

    bare, env = Bare("record.css"), environment(mill.folder.mill.record, menu=())
    attached = [_attached(view) for view in views]
    assert [bare(*one) for one in zip(pages[:2], attached[:2], strict=True)] == [
        lot_pdf(env, view)[0] for view in views[:2]
    ]
    book.against(
        "10 lot PDFs",
        lambda: [lot_pdf(env, view) for view in views],
        "bare WeasyPrint, shared fonts and styles",
        lambda: [bare(*one) for one in zip(pages, attached, strict=True)],
        1.1,
    )


def test_handbook(book, mill, tmp_path):
    html = book_html(compile_handbook(mill.folder, "book"), environment(mill.folder.mill.record))
    bare = Bare(*CSS)
    book.against(
        "handbook PDF",
        lambda: write_book(html, tmp_path / "book.pdf"),
        "bare WeasyPrint on its HTML",
        lambda: bare(html),
        1.1,
        times=1,
        warm=False,
    )


def spread(executor, pages):
    return [
        task.result() for task in [executor.submit(pdf_of, page, "record.css") for page in pages]
    ]


def test_side_by_side(book, pages):
    with Workers(1) as one, Workers(2) as two:
        book.against(
            "40 lot PDFs in two processes",
            lambda: spread(two, pages * 4),
            "one process",
            lambda: spread(one, pages * 4),
            1.8,
            times=3,
            clock=time.perf_counter,
            more=True,
        )


def test_cluster(book, pages, tmp_path):
    with (
        running(tmp_path / "cluster") as address,
        cluster(Cluster(address)) as there,
        Workers(2) as here,
    ):
        book.against(
            "40 lot PDFs on a cluster of two",
            lambda: spread(there, pages * 4),
            "our own two processes",
            lambda: spread(here, pages * 4),
            0.8,
            times=3,
            clock=time.perf_counter,
            more=True,
        )
