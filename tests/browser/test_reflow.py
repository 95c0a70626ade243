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


#: Dates and identifiers of which a line's end lies within.
BROKEN = r"""() => {
  const broken = [];
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const text = texts.currentNode;
    if (text.parentElement.closest('code, pre, script, style, svg')) continue;
    for (const found of text.data.matchAll(/\b(?:\d{4}-\d\d-\d\d|[A-Z][A-Z\d]*(?:-\d+)+)\b(?![\w/])/g)) {
      if (text.data[found.index - 1] === '/') continue;
      const range = document.createRange();
      range.setStart(text, found.index);
      range.setEnd(text, found.index + found[0].length);
      const lines = [...range.getClientRects()].filter(box => box.width).map(box => Math.round(box.top));
      if (new Set(lines).size > 1) broken.push(text.data.slice(found.index - 15, found.index + 20));
    }
  }
  return broken;
}"""
#: Words of drawings and their height on the screen, as far as it is under a limit [px].
SMALL = """limit => [...document.querySelectorAll('main svg text')].flatMap(text => {
  const box = text.getBoundingClientRect();
  const height = parseFloat(getComputedStyle(text).fontSize) *
    Math.hypot(text.getScreenCTM().a, text.getScreenCTM().b);
  return box.width && text.checkVisibility() && height < limit
    ? [`${height.toFixed(1)} px: ${text.textContent}`] : [];
})"""
#: Least height of a drawing's words on a phone 360 px wide, our own.
LEGIBLE = 9.0


@pytest.fixture(scope="module", params=[*MILL_PAGES, *AUDITOR_PAGES, "customer"])
def seen(request, phone, demo_site):
    """What is wrong with a kind of page on a phone; it is opened once for all questions."""
    phone.set_viewport_size({"width": 360, "height": 640})
    phone.goto(addresses(demo_site)[request.param])
    phone.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    small = phone.evaluate(SMALL, LEGIBLE)
    phone.set_viewport_size({"width": WIDTH, "height": 640})
    wider, broken = phone.evaluate(WIDER, WIDTH), phone.evaluate(BROKEN)
    phone.add_style_tag(content=SPACED)
    return {
        "small": small,
        "wider": wider,
        "broken": broken,
        "wider when spaced": phone.evaluate(WIDER, WIDTH),
    }


def test_no_page_moves_sideways(seen):
    assert seen["wider"] == [], "folds open"
    assert seen["wider when spaced"] == [], "folds open, text spaced"


def test_no_date_or_identifier_breaks_at_the_end_of_a_line(seen):
    assert seen["broken"] == []


def test_the_words_of_every_drawing_can_be_read_on_a_phone(seen):
    assert seen["small"] == []


def test_what_is_broken_or_too_small_is_told(phone, demo_site):
    phone.goto(addresses(demo_site)["home"])
    words = "<svg viewBox='0 0 900 20'><text font-size=16>words</text></svg>" + "a 2026-03-08 " * 40
    phone.evaluate("words => { document.querySelector('main').innerHTML = words; }", words)
    assert "2026-03-08" in "".join(phone.evaluate(BROKEN))
    assert phone.evaluate(SMALL, LEGIBLE) != []


@pytest.mark.parametrize("width", [1280, 1920])
def test_the_widest_tables_are_whole_on_a_desk(phone, demo_site, width):
    """The auditor's register, the lists of charges and lots, and the table of every species."""
    phone.set_viewport_size({"width": width, "height": 900})
    pages = {kind: addresses(demo_site)[kind] for kind in ("audit-index", "charges-index")}
    pages["species"] = (demo_site / "mill/handbook/species.html").as_uri()
    for kind, address in pages.items():
        phone.goto(address)
        cut = phone.locator(".scroll-x:has(> table)").evaluate_all(
            "boxes => boxes.filter(box => box.scrollWidth > box.clientWidth + 1).length"
        )
        assert cut == 0, kind
    phone.set_viewport_size({"width": WIDTH, "height": 640})


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
            " range.selectNodeContents(cell);"
            " return new Set([...range.getClientRects()].map(box => box.bottom)).size; })"
        )
        assert set(heights) == {1}, path.parent.name
    page.close()
