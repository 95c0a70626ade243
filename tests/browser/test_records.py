"""Search, tables and the customer's page in a real browser, from the file system as at a kiln."""

from __future__ import annotations

import io
import re

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import expect
from tests.rows import each_of
from tests.site.site import Mill, shared_mill


@pytest.fixture(scope="module")
def mill() -> Mill:
    return shared_mill(library=True)


@pytest.fixture(scope="module")
def site(mill):
    """Return the folder of both editions, as written by a build."""
    return mill.site


@pytest.fixture(scope="module")
def home(browser, site):
    """Return the page of contents, opened once for the tests that only ask its search."""
    page = browser.new_page()
    page.goto((site / "mill/index.html").as_uri())
    yield page
    page.close()


def found(page, question: str) -> list[tuple[str, str]]:
    """Return kind and title of what a query finds, best first."""
    return [
        tuple(pair)
        for pair in page.evaluate(
            "async q => { await kilnfolioSearch.ready(); "
            "return kilnfolioSearch.find(q).map(one => KILNFOLIO_SEARCH.entries[one.id])"
            ".map(entry => [entry[1], entry[0]]) }",
            question,
        )
    ]


@pytest.mark.parametrize(
    ("question", "best"),
    [
        ("honeycomb", ("chapter", "Honeycomb")),
        ("honeycmb", ("chapter", "Honeycomb")),  # a slip of the pen
        ("fillet", ("term", "Sticker")),  # the British word for it
        ("lumber", ("term", "Timber")),
        ("Roteiche", ("species", "Northern red oak")),
        ("chene rouge", ("species", "Northern red oak")),  # without its accent
        ("quercus rubra", ("species", "Northern red oak")),
        ("T4-D2", ("schedule", "Upland red oak, 4/4 to 6/4, green")),
        ("t4d2", ("schedule", "Upland red oak, 4/4 to 6/4, green")),
        ("wet bulb above dry bulb", ("check", "Wet bulb above dry bulb")),
        ("kiln 1", ("kiln", "Kiln 1")),
    ],
)
def test_search_finds_first(home, question, best):
    assert found(home, question)[0] == best


def test_a_thickness_is_found_however_it_is_written(home):
    page = home
    answers = [
        found(page, f"{size} white ash") for size in ("4/4", "1 inch", "25 mm", "1 in", '1"')
    ]
    assert ("schedule", "White ash, 4/4 to 6/4, green") in answers[0]
    assert all(answer == answers[0] for answer in answers)
    assert ("schedule", "White ash, 8/4, green") not in answers[0]
    assert ("schedule", "White ash, 8/4, green") in found(page, "2 inch white ash")


def test_results_are_grouped_and_show_the_matching_sentence(page, site):
    page.goto((site / "mill/search.html").as_uri() + "?q=collapse+cavities")
    hit = page.locator(".search-results .hit").first
    hit.wait_for()
    assert page.locator(".search-results h2").count() >= 1
    assert (
        "cavit" in hit.locator("mark").all_inner_texts()[0].lower()
        or "collapse" in " ".join(hit.locator("mark").all_inner_texts()).lower()
    )
    expect(page.locator("#everything")).to_be_hidden()


def test_results_link_to_their_place_and_escape_closes_them(page, site):
    page.goto((site / "mill/charges/index.html").as_uri())
    page.fill("#q", "honeycomb")
    link = page.locator(".search-results .hit a", has_text="Honeycomb").first
    link.wait_for()
    page.keyboard.press("Escape")
    expect(page.locator(".search-results .hit")).to_have_count(0)
    page.fill("#q", "honeycom")
    page.locator(".search-results .hit a", has_text="Honeycomb").first.click()
    expect(page).to_have_url(re.compile("honeycomb"))


def test_without_script_search_lists_what_exists(browser, site):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((site / "mill/search.html").as_uri())
    page.get_by_role("link", name="Northern red oak", exact=True).first.click()
    expect(page).to_have_url(re.compile(r"species/quercus-rubra\.html$"))
    page.goto((site / "mill/species/index.html").as_uri())
    expect(page.locator(".filter-bar")).to_be_hidden()
    assert page.locator("#species-table tbody tr").count() > 40
    context.close()


def test_species_are_filtered_and_sorted(page, site):
    page.goto((site / "mill/species/index.html").as_uri())
    page.fill("[data-filter-text]", "Roteiche")
    rows = page.locator("#species-table tbody tr:visible")
    assert [
        text.split("\t")[0].split("refractory")[0].strip() for text in rows.all_inner_texts()
    ] == ["Northern red oak"]
    page.fill("[data-filter-text]", "")
    heading = page.locator("#species-table th", has_text="Basic density")
    for order in ("ascending", "descending"):
        heading.locator("button").click()
        expect(heading).to_have_attribute("aria-sort", order)
        cells = [
            text
            for text in page.locator("#species-table tbody td:nth-child(5)").all_inner_texts()
            if text.strip() not in ("", "–")
        ]
        numbers = [float(text) for text in cells]
        assert numbers == sorted(numbers, reverse=order == "descending")


@each_of(
    [
        "mill/index.html",
        "mill/charges/C1.html",
        "mill/charges/index.html",
        "mill/lots/L1.html",
        "mill/species/quercus-rubra.html",
        "mill/schedules/quercus-rubra-4-4.html",
        "mill/kilns/k1.html",
        "mill/checks/index.html",
        "mill/sources.html",
        "mill/records.html",
    ]
)
def test_no_page_is_wider_than_the_screen(path, page, site):
    page.goto((site / path).as_uri())
    for width in (360, 768):
        page.set_viewport_size({"width": width, "height": 740})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_answer_is_on_the_first_screen_of_a_phone(page, site, mill):
    page.set_viewport_size({"width": 360, "height": 640})
    page.goto((site / "customer" / mill.tokens["L1"] / "index.html").as_uri())
    for words in (
        "Lot L1",
        "meets the order",
        "Northern red oak",
        "mean moisture content",
        "boards measured",
        "What to do:",
    ):
        box = page.get_by_text(words).first.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 640, words
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_the_code_on_the_screen_leads_to_the_lot(page, site, mill):
    """Drawn by Chromium and read by ZXing, in a dark room."""
    page.emulate_media(color_scheme="dark")
    page.set_viewport_size({"width": 1000, "height": 800})
    page.goto((site / "mill/lots/L1.html").as_uri())
    image = Image.open(io.BytesIO(page.locator(".qr").screenshot(scale="css")))
    image = image.resize((image.width * 3, image.height * 3), Image.Resampling.NEAREST)
    assert [code.text for code in zxingcpp.read_barcodes(image)] == [
        f"https://mill.example/records/{mill.tokens['L1']}/"
    ]
