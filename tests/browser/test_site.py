"""The demonstration mill in a real Chromium, from file://."""

import re

import pytest
from playwright.sync_api import expect
from tests.conftest import PROJECT
from tests.rows import each_of
from tests.test_site import qr_of

from kilnfolio.archive.tokens import lot_token, read_token_key

LOTS = sorted(path.stem for path in (PROJECT / "content/lots").glob("*.yaml"))


@pytest.fixture
def quiet_page(page):
    """Return a page that fails the test if it uses the network or logs an error."""
    asked, errors = [], []
    page.on(
        "request",
        lambda request: (
            None if request.url.startswith(("file:", "data:")) else asked.append(request.url)
        ),
    )
    page.on(
        "console", lambda message: errors.append(message.text) if message.type == "error" else None
    )
    page.on("pageerror", lambda error: errors.append(str(error)))
    yield page
    assert asked == []
    assert errors == []


def test_navigation_leads_through_every_part(quiet_page, demo_site):
    page = quiet_page
    page.goto((demo_site / "mill/index.html").as_uri())
    for word in (
        "Handbook",
        "Species",
        "Schedules",
        "Charges",
        "Lots",
        "Kilns",
        "Checks",
        "Glossary",
        "Calculators",
        "Practice",
    ):
        page.get_by_role("navigation", name="Site").get_by_role("link", name=word).click()
        # a click does not wait for a page whose scripts build parts of it
        expect(page.locator('nav[aria-label="Site"] [aria-current]')).to_have_text(word)
        expect(page.locator("h1")).to_have_count(1)


@each_of(
    [
        ("equalizing", "equaliz"),  # the word itself
        ("equalisng", "equaliz"),  # mistyped, and in the other spelling
        ("fillet", "ticker"),  # what Britain calls a sticker
        ("sugar maple", "maple"),
        ("T4-D2", "T4-D2"),
    ]
)
def test_search_answers_from_a_file(words, quiet_page, demo_site):
    page, (asked, expected) = quiet_page, words
    page.goto((demo_site / "mill/search.html").as_uri())
    page.locator("main input[type=search]").fill(asked)
    page.locator(".search-results .hit").first.wait_for()
    found = page.locator(".search-results .hit").all_inner_texts()[:3]
    assert any(expected.lower() in text.lower() for text in found), found


def test_search_hit_opens_the_page_it_names(quiet_page, demo_site):
    page = quiet_page
    page.goto((demo_site / "mill/search.html").as_uri() + "?q=honeycomb")
    page.locator(".search-results .hit a").first.click()
    page.wait_for_load_state()
    expect(page.locator("main")).to_contain_text("honeycomb", use_inner_text=True, ignore_case=True)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_lot_page_fits_a_phone_and_begins_with_the_answer(browser, demo_site, scheme):
    key = read_token_key(PROJECT, invented=True)
    page = browser.new_page(viewport={"width": 360, "height": 640}, color_scheme=scheme)
    page.goto((demo_site / "customer" / lot_token(LOTS[0], key) / "index.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    answer = page.locator("h1:visible").bounding_box()
    assert answer["y"] + answer["height"] <= 640
    assert re.search(r"order|assessed", page.locator("h1:visible").inner_text())
    page.close()


@each_of(
    [
        "index.html",
        "handbook/wood-and-water.html",
        "species/quercus-rubra.html",
        "schedules/quercus-rubra-4-4.html",
        "charges/index.html",
        "charges/HB-25-041.html",
        "checks/index.html",
        "kilns/kiln-1.html",
    ]
)
def test_no_page_is_wider_than_its_window(path, page, demo_site):
    page.goto((demo_site / "mill" / path).as_uri())
    for width in (360, 768, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_pages_have_the_same_content_without_script(browser, demo_site):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((demo_site / "mill/charges/HB-25-041.html").as_uri())
    assert page.locator("table").count() >= 3
    page.goto((demo_site / "mill/search.html").as_uri())
    assert page.locator("main a").count() > 50  # the list that replaces search
    context.close()


@pytest.mark.parametrize("lot", LOTS[:3])
def test_code_on_the_lot_page_leads_to_the_customers_page(browser, demo_site, tmp_path, lot):
    read = qr_of(browser, demo_site / "mill/lots" / f"{lot}.html", tmp_path)
    token = lot_token(lot, read_token_key(PROJECT, invented=True))
    address, _, seal = read.partition("#")
    assert address == f"https://records.heron-bend.example/{token}/"
    assert re.fullmatch("[0-9a-f]{32}", seal)  # these lots are sealed; 128 bits of the digest
    assert (demo_site / "customer" / token / "index.html").is_file()
