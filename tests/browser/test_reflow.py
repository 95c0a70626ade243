"""Every kind of page on the narrowest phone, all folds open and the text spaced out.

Sources: WCAG 2.2, 1.4.10 Reflow (320 CSS pixels) and 1.4.12 Text Spacing (its four figures). Tables,
drawings and code may scroll in a box of their own, which 1.4.10 allows; the page may not.
"""

import pytest
from playwright.sync_api import expect
from tests.browser.kinds import AUDITOR_PAGES, MILL_PAGES, addresses
from tests.conftest import WHOLE

WIDTH = 320
SPACED = """* { line-height: 1.5 !important; letter-spacing: 0.12em !important;
  word-spacing: 0.16em !important; } p { margin-bottom: 2em !important; }"""
#: How far the page can be pushed aside, and what reaches past its edge without a box that scrolls.
WIDER = """width => {
  document.querySelectorAll('details').forEach(fold => { fold.open = true; });
  const root = document.scrollingElement;
  const boxed = part => {
    for (let up = part.parentElement; up && up !== document.body; up = up.parentElement)
      if (getComputedStyle(up).overflowX !== 'visible') return true;
    return false;
  };
  if (root.scrollWidth <= width) return [];
  const names = [...document.body.querySelectorAll('*')]
    .filter(part => part.getBoundingClientRect().right > width + 1 && !boxed(part))
    .map(part => `${part.tagName.toLowerCase()}.${part.getAttribute('class')}: ` +
      part.textContent.trim().slice(0, 50));
  return [`${root.scrollWidth} px wide`, ...names.slice(0, 5)];
}"""


@pytest.fixture(scope="module")
def phone(browser):
    page = browser.new_page(viewport={"width": WIDTH, "height": 640})
    yield page
    page.close()


@pytest.mark.parametrize("kind", [*MILL_PAGES, *AUDITOR_PAGES, "customer"])
def test_no_page_moves_sideways(phone, demo_site, kind):
    phone.goto(addresses(demo_site)[kind])
    assert phone.evaluate(WIDER, WIDTH) == [], "folds open"
    phone.add_style_tag(content=SPACED)
    assert phone.evaluate(WIDER, WIDTH) == [], "folds open, text spaced"


def test_the_contents_of_a_page_stay_in_sight_and_mark_the_section(phone, demo_site):
    phone.goto(addresses(demo_site)["chapter"])
    wanted = phone.locator(".onpage a").nth(3)
    phone.goto(phone.url + wanted.get_attribute("href"))
    expect(wanted).to_have_attribute("aria-current", "location")
    expect(wanted).to_be_in_viewport(ratio=0.9)
    strip = phone.locator(".onpage").bounding_box()
    heading = phone.locator(wanted.get_attribute("href")).bounding_box()
    assert strip["y"] == 0
    assert heading["y"] >= strip["height"] - 1


def test_a_word_too_long_is_told(phone, demo_site):
    phone.goto(addresses(demo_site)["home"])
    wide = "<i style=white-space:pre>" + "m" * 90
    phone.evaluate("wide => { document.querySelector('main p').innerHTML = wide; }", wide)
    assert phone.evaluate(WIDER, WIDTH) != []


def test_the_number_of_a_pack_stands_on_one_line(browser, demo_site):
    page = browser.new_page(viewport={"width": 360, "height": 640})
    for path in sorted((demo_site / "customer").glob("*/index.html"))[:: 1 if WHOLE else 6]:
        page.goto(path.as_uri())
        heights = page.locator("table.packs tbody th").evaluate_all(
            "cells => cells.map(cell => { const range = document.createRange();"
            " range.selectNodeContents(cell); return range.getClientRects().length; })"
        )
        assert set(heights) == {1}, path.parent.name
    page.close()
