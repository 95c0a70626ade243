"""Every kind of page for people who cannot see it, use no pointer, or want no movement."""

from pathlib import Path

import pytest
from playwright.sync_api import expect
from tests.browser.kinds import AUDITOR_PAGES, MILL_PAGES, addresses
from tests.conftest import WHOLE
from tests.rows import each_of

AXE = Path(__file__).parent / "checkers/node_modules/axe-core/axe.min.js"
KINDS = (*MILL_PAGES, *AUDITOR_PAGES, "customer")
#: The axe-core rules that depend on colour or width; the others give the same result in every
#: scheme and width.
BY_LOOKS = ["color-contrast", "link-in-text-block", "target-size", "scrollable-region-focusable"]


#: Removes parts built like three earlier siblings: the hundredth row of a table costs the checker
#: as much as the first and shows nothing new. Returns how many parts are left.
PRUNE = """() => {
  const build = part => part.outerHTML.replace(/>[^<]*/g, '>').replace(
    /( (?!class|role|type|scope|hidden|tabindex)[a-z:-]+)="[^"]*"/gi, '$1');
  const prune = part => {
    const seen = new Map();
    for (const child of [...part.children]) {
      const kind = build(child), known = seen.get(kind) || 0;
      seen.set(kind, known + 1);
      if (known < 3) { prune(child); } else { child.remove(); }
    }
  };
  prune(document.getElementById('main'));
  return document.querySelectorAll('*').length;
}"""


def breaches(page, rules: list[str] | None = None) -> list[str]:
    """Return what axe-core finds wrong on a page with every fold open."""
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    if not page.evaluate("'axe' in window"):
        page.add_script_tag(url=AXE.as_uri())
    wish = {"resultTypes": ["violations"]} | ({"runOnly": rules} if rules else {})
    found = page.evaluate("wish => axe.run(document, wish)", wish)
    assert found["passes"], "axe-core looked at nothing"
    return [
        f"{rule['id']}: {node['html'][:120]}: {node['failureSummary']}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]


#: Checked in dark mode too by default: together they contain nearly every part that pages are made
#: of.
DARK = {
    "home",
    "chapter",
    "charge-with-findings",
    "customer",
    "calculators",
    "drills",
    "bench",
    "plan",
    "degrade",
    "audit-charge",
}


#: Checked by default, the light scheme alone; a whole run checks every kind of page in both.
LIGHT = {
    "search",
    "glossary",
    "species",
    "schedule",
    "charges-index",
    "kiln-side",
    "lot",
    "kiln",
    "check",
    "records",
    "guide",
    "practice",
    "lessons",
    "audit-index",
}


@pytest.fixture(scope="module")
def tab(browser):
    """A tab for one page after another: a new one takes as long as half of the pages."""
    page = browser.new_page()
    yield page
    page.close()


@pytest.mark.parametrize("kind", [kind for kind in KINDS if WHOLE or kind in DARK | LIGHT])
def test_axe_core_finds_no_barrier(tab, demo_site, kind):
    tab.emulate_media(color_scheme="light")
    tab.set_viewport_size({"width": 360, "height": 900})
    tab.goto(addresses(demo_site)[kind])
    assert tab.evaluate(PRUNE) > 50
    assert breaches(tab) == []
    if WHOLE or kind in DARK:
        tab.emulate_media(color_scheme="dark")
        tab.set_viewport_size({"width": 1440, "height": 900})
        assert breaches(tab, BY_LOOKS) == []


def test_the_checker_finds_a_planted_fault(page, demo_site):
    page.goto(addresses(demo_site)["home"])
    page.evaluate("document.querySelector('label').remove()")
    page.evaluate("document.body.insertAdjacentHTML('beforeend', '<input><img src=x>')")
    assert {line.partition(":")[0] for line in breaches(page)} >= {"label", "image-alt"}
    page.emulate_media(color_scheme="dark")
    assert breaches(page, BY_LOOKS) == []
    page.add_style_tag(content=".lede { color: #555; }")
    assert {line.partition(":")[0] for line in breaches(page, BY_LOOKS)} == {"color-contrast"}


def test_every_page_names_its_language(demo_site):
    paths = list(demo_site.rglob("*.html"))
    assert len(paths) > 300
    for path in paths:
        assert '<html lang="en">' in path.read_text("utf-8"), path


def focused(page) -> str:
    return page.evaluate(
        "(document.activeElement.getAttribute('aria-label') || document.activeElement"
        ".innerText || document.activeElement.name || '').trim()"
    )


@each_of(["home", "chapter", "charge", "charges-index"])
def test_the_first_tab_stop_skips_to_the_text(kind, page, demo_site):
    page.goto(addresses(demo_site)[kind])
    page.keyboard.press("Tab")
    assert focused(page) == "Skip to the text"
    assert page.evaluate("document.activeElement.getBoundingClientRect().top >= 0")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.getElementById('main').contains(document.activeElement)")


def test_the_keyboard_reaches_everything_once_with_visible_focus(page, demo_site):
    page.goto(addresses(demo_site)["charge"])
    wanted = page.evaluate("""() => {
      const all = document.querySelectorAll(
        'a[href], button, input, select, summary, [tabindex="0"]');
      return [...all].filter(e => e.checkVisibility({visibilityProperty: true})).length;
    }""")
    assert wanted > 30
    marks = set()
    for stop in range(wanted):
        page.keyboard.press("Tab")
        mark, outline = page.evaluate(
            """stop => {
          const e = document.activeElement;
          e.dataset.stop = e.dataset.stop || stop;
          return [e.dataset.stop, getComputedStyle(e).outlineStyle];
        }""",
            str(stop),
        )
        assert outline != "none", page.evaluate("document.activeElement.outerHTML.slice(0, 200)")
        marks.add(mark)
    assert len(marks) == wanted


def test_the_keyboard_goes_through_the_menu_in_reading_order(page, demo_site):
    page.goto(addresses(demo_site)["home"])
    page.keyboard.press("Tab")  # the way past all this
    page.keyboard.press("Tab")  # home
    words = page.locator('nav[aria-label="Site"] a').all_inner_texts()
    for word in words:
        page.keyboard.press("Tab")
        assert focused(page) == word
    page.keyboard.press("Enter")
    page.wait_for_load_state()
    expect(page.locator("h1")).to_have_text(words[-1], use_inner_text=True)


def test_a_calculation_can_be_done_by_keyboard_alone(page, demo_site):
    page.goto(addresses(demo_site)["calculators"])
    page.get_by_label("metric").focus()
    page.keyboard.press("ArrowDown")
    expect(page.get_by_label("US customary")).to_be_checked()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.labels[0].innerText") == "Mass as weighed"
    page.keyboard.press("ControlOrMeta+A")
    page.keyboard.type("180")
    page.keyboard.press("Tab")  # its unit
    page.keyboard.press("Tab")
    page.keyboard.press("ControlOrMeta+A")
    page.keyboard.type("120")
    # EN 13183-1: (180 - 120) / 120
    page.locator(".calculator .keyfacts").first.get_by_text("50.0").wait_for()


def test_search_works_by_keyboard_alone(page, demo_site):
    page.goto(addresses(demo_site)["home"])
    page.get_by_role("searchbox").focus()
    page.keyboard.type("honeycomb")
    page.locator(".search-box .hit").first.wait_for()
    page.keyboard.press("Tab")  # the button
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('.hit') !== null")
    page.keyboard.press("Escape")
    expect(page.locator(".search-box .hit")).to_have_count(0)
    assert page.evaluate("document.activeElement.type") == "search"


def test_hits_still_on_their_way_are_not_drawn_after_escape(page, demo_site):
    page.goto(addresses(demo_site)["home"])
    page.evaluate(
        """async () => {
          await kilnfolioSearch.ready();
          const answers = kilnfolioAnswers;
          const held = new Promise((resolve) => { window.release = resolve; });
          window.asked = [];
          kilnfolioAnswers = (...given) => {
            const answer = held.then(() => answers(...given));
            asked.push(answer);
            return answer;
          };
        }"""
    )
    box = page.get_by_role("searchbox")
    box.fill("honeycomb")
    page.wait_for_function("asked.length === 2")  # results of the handbook, then with the records
    box.press("Tab")  # to the button; in the box itself, Escape also clears the question
    page.keyboard.press("Escape")
    page.evaluate(
        """async () => {
          release();
          await Promise.all(asked);
          await new Promise((resolve) => setTimeout(resolve));
        }"""
    )
    assert page.locator(".search-box .hit").count() == 0
    box.fill("checking")  # a new question is answered as before
    page.locator(".search-box .hit").first.wait_for()


def test_folds_open_by_keyboard(page, demo_site):
    page.goto(addresses(demo_site)["charge"])
    page.locator("details:not([open]) > summary").first.focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.parentElement.open")


def test_the_register_can_be_filtered_by_keyboard(page, demo_site):
    page.goto(addresses(demo_site)["charges-index"])
    rows = page.locator("#register tbody tr").count()
    page.get_by_label("Kiln").focus()
    page.keyboard.press("ArrowDown")
    page.wait_for_function("!document.querySelector('[data-register][aria-busy]')")
    assert 0 < page.locator("#register tbody tr").count() < rows
    expect(page.get_by_role("status").first).to_contain_text("of", use_inner_text=True)


def test_nothing_moves_for_readers_who_prefer_reduced_motion(browser, demo_site):
    for wish, expected in (("reduce", "auto"), ("no-preference", "smooth")):
        page = browser.new_page(reduced_motion=wish)
        page.goto(addresses(demo_site)["chapter"])
        assert (
            page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == expected
        )
        moving = page.evaluate("""() => [...document.querySelectorAll('*')].filter(e => {
          const style = getComputedStyle(e);
          return style.animationName !== 'none' || parseFloat(style.transitionDuration) > 0;
        }).length""")
        assert moving == 0
        page.close()


@each_of(["charge", "schedule", "chapter", "kiln", "lot"])
def test_every_drawing_has_a_title_and_a_description(kind, page, demo_site):
    page.goto(addresses(demo_site)[kind])
    for drawing in page.locator("main figure svg[role=img]").all():
        if drawing.evaluate("svg => svg.closest('.qr') !== null"):
            # A code to scan: its name is description enough.
            expect(drawing.locator("title")).to_have_count(1)
            continue
        named = (drawing.get_attribute("aria-labelledby") or "").split()
        assert len(named) == 2
        for identity in named:
            assert page.locator(f"#{identity}").text_content().strip()
