"""The type in which a lot's record is set: what fits the page is found with as few layouts as may be."""

import functools

import pytest
from tests.site.site import packs, small_mill, with_words

from kilnfolio.paper import lot_pdf
from kilnfolio.paper.lot_pdf import lot_sheet, print_sheet
from kilnfolio.rendering.templating import environment
from kilnfolio.site.pages.customer import customer_lot


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    mill = small_mill(tmp_path_factory.mktemp("lot"))
    view = customer_lot(mill.folder, "L1", mill.dossiers, mill.lots["L1"], mill.tokens["L1"])
    return environment(mill.folder.mill.record, menu=()), view


@pytest.mark.parametrize("words", [0, 60, 120])
def test_the_type_is_that_which_trying_both_would_choose(made, words, monkeypatch):
    """From records far too short for it to ones that are too long, in steps of a few rows."""
    env, view = made
    grown = [
        with_words(view, packs=packs(n), product="Red oak boards. " * (1 + words))
        for n in range(0, 40, 4)
    ]
    sheets = [lot_sheet(env, one) for one in grown]
    # the same document is laid out in the same way, so once is enough
    tried, laid_out = [], functools.cache(lot_pdf.laid_out)
    monkeypatch.setattr(
        lot_pdf, "laid_out", lambda html, css: tried.append(html) or laid_out(html, css)
    )
    quick = [print_sheet(sheet) for sheet in sheets]
    saved = -len(tried)
    monkeypatch.setattr(lot_pdf, "_LONG", 10**9)
    tried.clear()
    assert [print_sheet(sheet) for sheet in sheets] == quick
    saved += len(tried)
    assert saved > 0
