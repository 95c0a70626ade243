"""The register of charges: ten thousand of them filtered, sorted, shared and taken away."""

import csv
import datetime as dt
import io
import random
from pathlib import Path

import pytest
from tests.browser.kinds import addresses
from tests.conftest import PROJECT

from kilnfolio.publish.pages.histories import ChargeRow
from kilnfolio.publish.pages.words import GRAVITY, OUTCOME_MEANING
from kilnfolio.publish.static import copy_assets
from kilnfolio.publish.templating import environment, render
from kilnfolio.records.folder import read_mill_folder

MANY = 10_000
SPECIES = (
    ("Red oak", "quercus-rubra"),
    ("Sugar maple", "acer-saccharum"),
    ("White ash", "fraxinus-americana"),
)
KILNS = (("Kiln 1", "kiln-1"), ("Kiln 2", "kiln-2"))
THICKNESSES = ("4/4", "6/4", "8/4")


def synthetic_rows() -> list[ChargeRow]:
    chance = random.Random(4)
    rows = []
    for place in range(MANY):
        name, species = chance.choice(SPECIES)
        thickness = chance.choice(THICKNESSES)
        kiln, kiln_id = chance.choice(KILNS)
        rows.append(
            ChargeRow(
                number="=1+1" if place == 0 else f"C-{place:05d}",
                target="index.html",
                stock=f"{name} {thickness}",
                species=species,
                thickness=(thickness,),
                kiln=kiln,
                kiln_id=kiln_id,
                schedule="",
                schedule_target="index.html",
                started=dt.datetime(2015, 1, 1, tzinfo=dt.UTC) + dt.timedelta(hours=9 * place),
                length=f"{chance.uniform(5, 40):.1f} d",
                target_mc=8.0,
                start_mc=60.0,
                final_mc=chance.uniform(6, 12),
                final_sd=0.5,
                readings=30,
                outcome=chance.choice(GRAVITY),
                counts=(),
                defects="",
            )
        )
    return rows


@pytest.fixture(scope="module")
def rows():
    return synthetic_rows()


@pytest.fixture(scope="module")
def register(rows, tmp_path_factory) -> str:
    out = tmp_path_factory.mktemp("register")
    copy_assets(out)
    html = render(
        environment(read_mill_folder(PROJECT).mill.record),
        "charges_index.html",
        "charges/index.html",
        title="Charges",
        rows=rows,
        species=SPECIES,
        thicknesses=THICKNESSES,
        kilns=KILNS,
        outcomes=GRAVITY,
        meanings=OUTCOME_MEANING,
    )
    path = out / "charges/index.html"
    path.parent.mkdir()
    path.write_text(html, "utf-8")
    return path.as_uri()


@pytest.fixture
def many(page, register):
    page.goto(register)
    return page


def told(page) -> int:
    """Return how many charges the register says it shows."""
    return int(page.locator(".filter-count").inner_text().split(" ")[0])


def test_every_filter_finds_what_python_finds(many, rows):
    wanted = [
        row
        for row in rows
        if row.species == "acer-saccharum"
        and row.thickness == ("8/4",)
        and row.kiln_id == "kiln-2"
        and row.outcome == "query"
        and dt.date(2017, 3, 1) <= row.started.date() <= dt.date(2021, 6, 30)
    ]
    many.get_by_label("Species").select_option("acer-saccharum")
    many.get_by_label("Thickness").select_option("8/4")
    many.get_by_label("Kiln").select_option("kiln-2")
    many.get_by_label("Checks").select_option("query")
    many.get_by_label("Started from").fill("2017-03-01")
    many.get_by_label("until").fill("2021-06-30")
    assert 5 < len(wanted) < 300
    assert told(many) == len(wanted)
    assert many.locator("#charges tbody th").all_inner_texts() == [row.number for row in wanted]


def test_the_address_of_a_filter_shows_the_same_to_another(many, browser):
    many.get_by_label("Kiln").select_option("kiln-1")
    many.locator("th", has_text="Final MC").locator("button").click()
    many.locator("th", has_text="Final MC").locator("button").click()
    seen = many.locator("#charges tbody th").all_inner_texts()
    other = browser.new_page()
    other.goto(many.url)
    assert other.get_by_label("Kiln").input_value() == "kiln-1"
    assert other.locator("th", has_text="Final MC").get_attribute("aria-sort") == "descending"
    assert other.locator("#charges tbody th").all_inner_texts() == seen
    other.close()


def test_a_place_in_the_page_does_not_undo_a_filter(many):
    many.get_by_label("Kiln").select_option("kiln-1")
    before = told(many)
    many.evaluate("location.hash = 'main'")
    many.wait_for_timeout(50)
    assert told(many) == before


def test_the_csv_holds_every_row_that_passed_in_the_order_seen_and_runs_nothing(many, rows):
    many.get_by_label("Species").select_option(rows[0].species)
    with many.expect_download() as waiting:
        many.get_by_role("button", name="Download as CSV").click()
    text = Path(waiting.value.path()).read_text("utf-8-sig")
    assert waiting.value.suggested_filename == "charges.csv"
    head, *lines = csv.reader(io.StringIO(text))
    passed = [row for row in rows if row.species == rows[0].species]
    assert head[:4] == ["Charge", "Timber", "Kiln", "Started"]
    assert [line[0] for line in lines] == ["'=1+1", *(row.number for row in passed[1:])]
    assert [line[3] for line in lines] == [row.started.date().isoformat() for row in passed]
    assert not any(cell.startswith(("=", "+", "@", "-")) for line in lines for cell in line)


def test_the_demonstration_register_can_be_shared_too(page, demo_site):
    page.goto(addresses(demo_site)["charges-index"] + "#kiln=kiln-3")
    assert 0 < told(page) < 20
    assert set(page.locator("#charges tbody td:nth-child(3)").all_inner_texts()) == {"Kiln 3"}
