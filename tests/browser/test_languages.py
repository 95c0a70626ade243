"""A customer's page in another language: the same record, checked against its label as in English."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from playwright.sync_api import expect
from tests.browser.nu import JAR, check_html
from tests.browser.test_lot_states import _seal
from tests.site.site import shared_mill
from tests.site_assets import copy_assets

from kilnfolio.archive.canonical import canonical
from kilnfolio.rendering.languages import language
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.rendering.templating import environment
from kilnfolio.site.lot_words import lot_record
from kilnfolio.site.pages.customer import Served, customer_lot, render_lot
from kilnfolio.site.pages.indoors import ROOMS, WORDS
from kilnfolio.site.seals import SealView

LANGUAGES = ("en", "fr", "de")
MATCHES = {"fr": "correspond à l’étiquette", "de": "stimmt mit dem Etikett überein"}
FAILS = {"fr": "ne correspond pas à", "de": "stimmt nicht mit"}
OTHERS = tuple(MATCHES)


@pytest.fixture(scope="module")
def lot(tmp_path_factory) -> tuple[Path, str]:
    """A sealed lot's pages in three languages, and the digits of its label."""
    mill = shared_mill()
    root = tmp_path_factory.mktemp("site")
    copy_assets(root, "customer")
    about = (mill.folder, "L1", mill.dossiers, mill.lots["L1"])
    text = canonical(lot_record(*about)).decode()
    view = customer_lot(*about, "t", Served(text, SealView((_seal(text),))))
    for tag in LANGUAGES:
        env = environment(mill.folder.mill.record, menu=(), tag=tag)
        page = render_lot(env, view, "t", tag, LANGUAGES)
        (root / page.path).parent.mkdir(parents=True, exist_ok=True)
        (root / page.path).write_text(page.html, "utf-8")
    return root, hashlib.sha256(text.encode()).hexdigest()[:32]


@pytest.mark.parametrize("tag", OTHERS)
def test_a_translated_page_matches_its_label(page, lot, tag):
    root, digits = lot
    page.goto((root / "t" / tag / "index.html").as_uri() + f"#{digits}")
    expect(page.locator("#seal-top")).to_have_text(MATCHES[tag], use_inner_text=True)
    expect(page.locator("#verdict")).to_be_visible()
    expect(page.locator("html")).to_have_attribute("lang", tag)


@pytest.mark.parametrize("tag", OTHERS)
def test_a_translated_page_takes_a_room_and_answers_in_its_language(page, lot, tag):
    """The script says of every example room what the page itself says, and refuses in words too."""
    root, _ = lot
    page.goto((root / "t" / tag / "index.html").as_uri())
    page.locator(".chooser summary").click()
    page.wait_for_function("!!(window.kilnfolio && window.kilnfolio.makeIndoors)")
    form, told = page.locator("#indoors"), page.locator("#indoors output")
    rooms = page.locator("li:has(> b)").all_inner_texts()
    for place, (room, _, _) in enumerate(ROOMS):
        form.locator("[name=room]").select_option(room)
        said = told.inner_text()
        assert rooms[place].endswith(said)
        assert language(tag).translate(room) in rooms[place]
        assert "humidity" not in said
    form.locator("[name=temperature]").fill("900")
    expect(told).to_have_text(language(tag).translate(WORDS["refused"]), use_inner_text=True)
    assert language(tag).knows(WORDS["refused"])


@pytest.mark.parametrize("tag", OTHERS)
def test_a_changed_figure_on_a_translated_page_is_noticed(page, lot, tag):
    root, digits = lot
    html = (root / "t" / tag / "index.html").read_text("utf-8")
    mean = html.partition('data-record="mean">')[2].partition("<")[0]
    forged = root / "t" / tag / "forged.html"
    forged.write_text(html.replace(f">{mean}<", f">7,7{mean[-2:]}<"), "utf-8")
    page.goto(forged.as_uri() + f"#{digits}")
    expect(page.locator("#verdict")).to_be_hidden()
    expect(page.locator("#verdict-void h1")).to_contain_text(
        FAILS[tag], use_inner_text=True, ignore_case=True
    )


def test_switching_the_language_keeps_the_label(page, lot):
    root, digits = lot
    page.set_viewport_size({"width": 320, "height": 640})
    page.goto((root / "t/index.html").as_uri() + f"#{digits}")
    page.get_by_role("link", name="Français").click()
    expect(page).to_have_url((root / "t/fr/index.html").as_uri() + f"#{digits}")
    expect(page.locator("#seal-top")).to_have_text(MATCHES["fr"], use_inner_text=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    alternates = page.locator("link[rel=alternate][hreflang]")
    assert alternates.evaluate_all("all => all.map(one => one.hreflang)") == ["en", "de"]


@pytest.mark.parametrize("tag", OTHERS)
def test_unsigned_safety_wording_is_shown_beside_the_english(page, lot, tag):
    page.goto((lot[0] / "t" / tag / "index.html").as_uri())
    foot = " ".join(page.locator("footer").inner_text().split())
    assert SAFETY in foot


@pytest.mark.parametrize("tag", OTHERS)
def test_a_translated_page_is_as_small(lot, tag):
    root = lot[0]
    names = ("site.css", "fonts.js", "opens.js", f"says-{tag}.js", "label.js")
    files = [root / "t" / tag / "index.html", *(root / "assets" / name for name in names)]
    assert sum(path.stat().st_size for path in files) < 60_000


@pytest.mark.skipif(not JAR.is_file(), reason="the HTML checker is not installed")
def test_translated_pages_are_valid(lot):
    assert check_html((lot[0] / "t").rglob("index.html")) == []
