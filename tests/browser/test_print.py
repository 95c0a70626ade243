"""Pages as the browser prints them: no sheet is wasted, and nothing to press is printed."""

import pypdfium2
from tests.browser.kinds import AUDITOR_PAGES, MILL_PAGES, addresses
from tests.conftest import WHOLE
from tests.rows import each_of

#: Characters on every sheet but the last, at least: two lines, or the words of
#: a drawing. Common practice, no source.
LEAST = 100
#: Printed by default; a whole run prints every kind of page.
PRINTED = {"home", "charge", "drills", "calculators", "bench", "audit-index", "customer"}


@each_of([kind for kind in (*MILL_PAGES, *AUDITOR_PAGES, "customer") if WHOLE or kind in PRINTED])
def test_no_sheet_but_the_last_is_nearly_empty(kind, page, demo_site, tmp_path):
    page.goto(addresses(demo_site)[kind])
    page.pdf(path=tmp_path / "page.pdf", prefer_css_page_size=True)
    with pypdfium2.PdfDocument(tmp_path / "page.pdf") as document:
        found = [len(sheet.get_textpage().get_text_range().strip()) for sheet in document]
    assert found
    assert [count for count in found[:-1] if count < LEAST] == []
    assert found[-1] > 0


def test_what_cannot_be_pressed_on_paper_is_not_printed(page, demo_site):
    page.emulate_media(media="print")
    page.goto(addresses(demo_site)["drills"])
    folded = page.locator(".drill > details:not([open])")
    assert folded.count() > 3
    assert all(not fold.is_visible() for fold in folded.all())
    page.locator(".drill > details.record").first.evaluate("fold => { fold.open = true; }")
    assert page.locator(".drill > details.record").first.is_visible()
