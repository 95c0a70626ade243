"""The registers of charges and lots: filtered, sorted, shared, downloaded, read without script."""

import csv
import datetime as dt
import io
from pathlib import Path
from urllib.parse import unquote, urlsplit

import lxml.html
import pytest
from playwright.sync_api import expect
from tests.browser.kinds import addresses
from tests.browser.registers import charge_rows, lot_rows, newest_first, write_registers
from tests.rows import each_of

CHARGES = charge_rows(600, years=2.5)
LOTS = lot_rows(CHARGES, 2)


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("register")
    write_registers(out, CHARGES, LOTS)
    return out


@pytest.fixture
def charges(page, site):
    page.goto((site / "charges/index.html").as_uri())
    return page


def settled(page) -> None:
    page.wait_for_function("!document.querySelector('[data-register][aria-busy]')")


def told(page) -> int:
    """Return how many rows the register says this filter finds."""
    settled(page)
    return int(page.locator(".filter-count").inner_text().split(" ")[0])


def numbers(page) -> list[str]:
    settled(page)
    return page.locator("#register tbody th").all_inner_texts()


def heading(page, words: str):
    return page.locator("#register th", has_text=words)


def test_every_filter_finds_what_python_finds(charges):
    wanted = [
        row.number
        for row in newest_first(CHARGES)
        if row.species == "acer-saccharum"
        and row.thickness == ("8/4",)
        and row.outcome in ("question",)
        and dt.date(2015, 3, 1) <= row.day <= dt.date(2017, 6, 30)
    ]
    charges.get_by_label("Species").select_option("acer-saccharum")
    charges.get_by_label("Thickness").select_option("8/4")
    charges.get_by_label("Checks").select_option("question")
    charges.get_by_label("Started from").fill("2015-03-01")
    charges.get_by_label("until").fill("2017-06-30")
    assert 5 < len(wanted) < 50
    assert told(charges) == len(wanted)
    assert numbers(charges) == wanted


@pytest.mark.parametrize(
    ("column", "key"),
    [
        ("Final MC", lambda row: (row.final_mc is None, float(f"{row.final_mc or 0:.1f}"))),
        ("Kiln", lambda row: int(row.kiln.split()[1])),
        ("Started", lambda row: row.day),
    ],
)
def test_a_column_is_sorted_in_natural_order(charges, column, key):
    heading(charges, column).locator("button").click()
    assert numbers(charges) == [row.number for row in sorted(newest_first(CHARGES), key=key)][:50]


def test_blank_cells_come_last_in_either_order(charges):
    for _ in range(2):
        heading(charges, "Final MC").locator("button").click()
        settled(charges)
        assert "–" not in charges.locator("#register tbody td:nth-child(8)").all_inner_texts()


def test_rows_drawn_by_script_agree_with_the_static_page(charges):
    before = charges.locator("#register tbody").inner_html().replace("\n", "")
    charges.get_by_label("Started from").fill("2000-01-01")
    settled(charges)
    lines = charges.locator("#register tbody tr")
    after = lines.evaluate_all("lines => lines.slice(0, 50).map(line => line.outerHTML).join('')")
    assert after.replace('href="../charges/', 'href="') == before


def test_some_rows_are_drawn_and_more_on_demand(charges):
    assert len(numbers(charges)) == 50
    expect(charges.locator(".filter-count")).to_have_text(
        "600 of 600, the first 50 shown", use_inner_text=True
    )
    charges.get_by_role("button", name="Show more").click()
    settled(charges)
    assert len(numbers(charges)) == 100
    assert numbers(charges) == [row.number for row in newest_first(CHARGES)][:100]


def test_the_address_of_a_filter_shows_the_same_rows_to_somebody_else(charges, browser):
    charges.get_by_label("Kiln").select_option("kiln-1")
    heading(charges, "Final MC").locator("button").click()
    heading(charges, "Final MC").locator("button").click()
    seen = numbers(charges)
    other = browser.new_page()
    other.goto(charges.url)
    assert numbers(other) == seen
    expect(other.get_by_label("Kiln")).to_have_value("kiln-1")
    expect(heading(other, "Final MC")).to_have_attribute("aria-sort", "descending")
    other.close()


def test_a_link_within_the_page_does_not_undo_a_filter(charges):
    charges.get_by_label("Kiln").select_option("kiln-1")
    before = told(charges)
    charges.evaluate("location.hash = 'main'")
    charges.wait_for_timeout(50)
    assert told(charges) == before < 600


@each_of(["kiln 12 maple", "15-0004", "honeycomb", "SUGAR question"])
def test_any_words_of_a_row_find_it(words, charges):
    wanted = [
        row.number
        for row in newest_first(CHARGES)
        if all(
            any(word in text.lower() for text in (row.stock, row.kiln, row.outcome, row.found))
            or word.replace("-", "") in row.number.lower().replace("-", "")
            for word in words.lower().split()
        )
    ]
    charges.get_by_label("Number or word").fill(words)
    assert 0 < told(charges) == len(wanted)
    assert numbers(charges) == wanted[:50]


def test_the_csv_has_every_filtered_row_in_the_order_shown_and_no_formula(charges):
    charges.get_by_label("Species").select_option(CHARGES[0].species)
    settled(charges)
    with charges.expect_download() as waiting:
        charges.get_by_role("button", name="Download as CSV").click()
    text = Path(waiting.value.path()).read_text("utf-8-sig")
    assert waiting.value.suggested_filename == "charges.csv"
    head, *lines = csv.reader(io.StringIO(text))
    passed = [row for row in newest_first(CHARGES) if row.species == CHARGES[0].species]
    assert head[:8] == [
        "Charge",
        "Checks",
        "Lumber",
        "Kiln",
        "Started",
        "Took days",
        "MC at start %",
        "Final MC %",
    ]
    assert [line[0] for line in lines] == [*(row.number for row in passed[:-1]), "'=1+1"]
    assert [line[4] for line in lines] == [row.day.isoformat() for row in passed]
    assert [line[7] for line in lines] == [
        "" if row.final_mc is None else f"{row.final_mc:.1f}" for row in passed
    ]
    assert not any(cell.startswith(("=", "+", "@", "-")) for line in lines for cell in line)


def test_lots_are_filtered_by_their_verdict(page, site):
    page.goto((site / "lots/index.html").as_uri())
    page.get_by_label("Order").select_option("fail")
    assert told(page) == sum(row.outcome == "fail" for row in LOTS)
    assert set(page.locator("#register tbody td:nth-child(2)").all_inner_texts()) == {
        "does not meet the order"
    }


def listed(path: Path) -> tuple[list[Path], list[str]]:
    """Return the periods that a page of a register leads to, and the numbers of its rows."""
    tree = lxml.html.parse(path)
    periods = tree.xpath("//*[contains(@class, 'periods')]//a/@href")
    rows = [
        " ".join(row.text_content().split()) for row in tree.xpath("//*[@id='register']/tbody//th")
    ]
    return [(path.parent / address).resolve() for address in periods], rows


@pytest.mark.parametrize("kind", ["charges", "lots"])
def test_every_row_can_be_reached_without_script_and_no_page_is_long(site, kind):
    found = []
    for year in listed(site / kind / "index.html")[0]:
        for month in listed(year)[0] or [year]:
            rows = listed(month)[1]
            assert 0 < len(rows) <= 150
            found += rows
    assert found == [row.number for row in newest_first(CHARGES if kind == "charges" else LOTS)]


@pytest.mark.parametrize("kind", ["charges", "lots"])
def test_without_script_a_reader_gets_to_the_rows_of_a_month(browser, site, kind):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((site / kind / "index.html").as_uri())
    expect(page.locator(".filter-bar")).to_be_hidden()
    while page.locator(".periods a").count():  # years, then their months
        before = page.url
        page.locator(".periods a").first.click()
        page.wait_for_url(lambda address, before=before: address != before)
    shown = page.locator("#register tbody th").all_inner_texts()
    path = Path(unquote(urlsplit(page.url).path))
    assert shown == listed(path)[1]
    assert shown
    context.close()


@each_of(
    [
        ("C-16-00300", ["Charge C-16-00300"]),
        ("c1600300", ["Charge C-16-00300"]),
        ("16-00300", ["Charge C-16-00300"]),
        ("lot l00012", [f"Lot L00012{digit}" for digit in range(9, 1, -1)]),
        ("L000007", ["Lot L000007"]),
    ]
)
def test_search_finds_a_number_or_its_beginning(row, charges):
    asked, wanted = row
    groups = charges.evaluate("asked => kilnfolioSearch.answer(asked)", asked)
    assert [entry[0][0] for entry in groups[0]["entries"]] == wanted


def test_search_finds_charges_by_what_describes_them(charges):
    groups = charges.evaluate("kilnfolioSearch.answer('red oak 8/4 failed 2016')")
    wanted = [
        row
        for row in newest_first(CHARGES)
        if row.stock == "Northern red oak 8/4" and row.outcome == "fail" and row.day.year == 2016
    ]
    found = next(group for group in groups if group["kind"] == "charge")
    assert found["total"] == len(wanted) > 3
    titles = [entry[0][0] for entry in found["entries"]]
    assert titles == [f"Charge {row.number}" for row in wanted[:8]]


def test_a_question_about_something_else_loads_no_rows(charges):
    asked = []
    charges.on("request", lambda request: asked.append(request.url))
    charges.evaluate("kilnfolioSearch.answer('how to stack boards')")
    assert any(url.endswith("register/manifest.js") for url in asked)
    assert not any("register/charges-" in url or "register/lots-" in url for url in asked)


def test_the_demonstration_register_can_be_shared_too(page, demo_site):
    page.goto(addresses(demo_site)["charges-index"] + "#kiln=kiln-3")
    assert 0 < told(page) < 20
    assert set(page.locator("#register tbody td:nth-child(4)").all_inner_texts()) == {"Kiln 3"}
