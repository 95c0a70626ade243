"""The type in which a lot's record is set: what fits the page is found with as few layouts as may be."""

import functools

import pytest
from tests.site.site import packs, small_mill, with_words

from kilnfolio.paper import archival, lot_pdf, printing
from kilnfolio.paper.codes import with_code, without_code
from kilnfolio.paper.lot_pdf import lot_html, lot_sheet, print_sheet
from kilnfolio.paper.printing import pdf_of
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


def test_what_saves_time_changes_no_byte(made, monkeypatch):
    """The code put in afterwards, XML instead of HTML, objects written once: as WeasyPrint alone does it."""
    env, view = made
    sheet = lot_sheet(env, view)
    quick = print_sheet(sheet)
    monkeypatch.setattr(printing, "_parsed", printing._parsed_as_html)
    monkeypatch.setattr(archival, "_Written", lambda made: made)
    assert pdf_of(lot_html(env, view), "record.css", attached=sheet.attached) == quick


def test_a_record_has_no_element_for_scripts(made):
    """Attributes that scripts know a fact by, and spans that say nothing else, are for the page only."""
    env, view = made
    view = with_words(view, product='Boards <span data-words>, data-words data-record="x"')
    html = lot_html(env, view)
    assert "<span>" not in html
    assert html.count("data-words") == html.count("data-record") + 1 == 2
    assert "&lt;span data-words&gt;, data-words data-record=&#34;x&#34;" in html


def test_a_code_without_its_place_is_an_error(made):
    with pytest.raises(ValueError, match="no QR code"):
        without_code("<p>M4 4.5</p>")
    html, path = without_code(lot_html(*made))
    assert path not in html
    with pytest.raises(ValueError, match="no place"):
        pdf_of(
            "<html lang='en'><head><title>x</title></head><body></body></html>",
            finisher=with_code(path),
        )
