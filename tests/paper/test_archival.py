"""Every PDF declares PDF/A and PDF/UA, and its structure agrees."""

from __future__ import annotations

import datetime as dt

import pikepdf
import pytest
from pdfua.validator import validate
from tests.pdf_reading import breaches
from tests.reviewed import demo_mill

from kilnfolio.paper.lot_pdf import lot_pdf
from kilnfolio.paper.printing import Attached, pdf_of
from kilnfolio.paper.sheet import kiln_sheet, write_sheet
from kilnfolio.rendering.templating import environment
from kilnfolio.site.sealed import lot_view

PAGE = """<html lang="en"><head><title>A record</title></head><body><h1>A record</h1>
<p>A paragraph with <a href="https://mill.example/">a link</a>.</p>
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9" role="img"><title>A line</title>
<path d="M0 0L9 9" stroke="black"/></svg>
<table><caption>Boards</caption><thead><tr><th>Board</th><th>MC</th></tr></thead>
<tbody><tr><th>S1</th><td>8.1 %</td></tr><tr><th>S2</th><td>8.3 %</td></tr></tbody></table>
<ol><li>one</li><li><a href="https://mill.example/"><b>two</b> and <i>more</i></a><ul><li>in it</li></ul>
</li></ol><dl><dt>term</dt><dd>meaning</dd></dl><dl><div><dt>MC</dt><dd>8 %</dd></div></dl></body></html>"""


@pytest.fixture(scope="module")
def pdfs(tmp_path_factory) -> dict:
    root = tmp_path_factory.mktemp("pdfs")
    (root / "page.pdf").write_bytes(pdf_of(PAGE, "record.css")[0])
    (root / "attached.pdf").write_bytes(_with_data())
    folder = demo_mill()
    write_sheet(
        kiln_sheet(folder, "HB-26-040"), environment(folder.mill.record), root / "sheet.pdf"
    )
    lot = next(name for name in folder.lots if folder.lots[name].record.heat_treatment_stated)
    (root / "lot.pdf").write_bytes(
        lot_pdf(environment(folder.mill.record, menu=()), lot_view(folder.graph, lot).view)[0]
    )
    return {path.stem: path for path in root.glob("*.pdf")}


def _with_data() -> bytes:
    at = dt.datetime(2026, 6, 7, tzinfo=dt.UTC)
    return pdf_of(PAGE, "record.css", attached=[Attached("d.json", b"{}", "data", at)])[0]


@pytest.mark.parametrize("name", ["page", "attached", "sheet", "lot"])
def test_both_conformances_are_stated(pdfs, name):
    """Identification of ISO 19005-3, 6.6.4, and ISO 14289-1, 5, read back with pikepdf."""
    with pikepdf.open(pdfs[name]) as pdf, pdf.open_metadata() as metadata:
        assert metadata.pdfa_status == "3B"
        assert metadata["{http://www.aiim.org/pdfua/ns/id/}part"] == "1"
        assert metadata["dc:title"]
        # one RDF, whose extension schema describes what PDF/A does not know (6.6.2.3)
        raw = pdf.Root.Metadata.read_bytes()
        assert raw.count(b"<rdf:RDF") == 1
        assert b"pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/<" in raw


@pytest.mark.parametrize("name", ["page", "attached", "sheet", "lot"])
def test_independent_checkers_find_nothing(pdfs, name):
    """pdfua: twelve checks of the machine-checkable rules of PDF/UA-1 (ISO 14289-1); breaches."""
    report = validate(str(pdfs[name]))
    assert [str(finding) for finding in report.findings] == []
    assert breaches(pdfs[name]) == []


def test_the_second_checker_finds_nothing_in_any_pdf_of_the_demonstration(demo_site):
    paths = [path for path in demo_site.rglob("*.pdf") if ".staging" not in path.parts]
    found = {path.relative_to(demo_site): breaches(path) for path in paths}
    assert len(found) > 10
    assert {path: faults for path, faults in found.items() if faults} == {}


def test_the_second_checker_finds_planted_faults(pdfs, tmp_path):
    """One against each standard: ISO 14289-1, 7.3, a figure's text; ISO 19005-3, 6.5.1, a script."""
    with pikepdf.open(pdfs["page"]) as pdf:
        figure = next(
            one
            for one in pdf.objects
            if isinstance(one, pikepdf.Dictionary) and one.get("/S") == "/Figure"
        )
        del figure.Alt
        pdf.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")
        pdf.save(tmp_path / "faulty.pdf")
    found = " ".join(breaches(tmp_path / "faulty.pdf"))
    assert "PDFUA1-FIGURE-ALTERNATIVE-TEXT" in found
    assert "PDFA3B-ACTION" in found


def test_a_link_is_met_once(pdfs):
    """What stands inside a link is no link again; ISO 14289-1, 7.18.5, from memory."""
    with pikepdf.open(pdfs["page"]) as pdf:
        found = [str(note.A.URI) for page in pdf.pages for note in page.get("/Annots", [])]
    assert found == ["https://mill.example/"] * 2


def test_every_table_header_states_its_scope(pdfs):
    """ISO 14289-1, 7.5: a header of a column or of a row."""
    with pikepdf.open(pdfs["page"]) as pdf:
        scopes = [
            str(one.A.Scope)
            for one in pdf.objects
            if isinstance(one, pikepdf.Dictionary) and one.get("/S") == "/TH"
        ]
    assert sorted(scopes) == ["/Column", "/Column", "/Row", "/Row"]
