"""A customer's page in a mill's own house style, in two languages: whatever protects the reader
looks the same."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.browser.test_access import BY_LOOKS, breaches
from tests.browser.test_lot_states import _seal
from tests.own_house import own_house
from tests.site.site import small_mill
from tests.site_assets import copy_assets

from kilnfolio.archive.canonical import canonical
from kilnfolio.rendering.templating import environment
from kilnfolio.site.house import house
from kilnfolio.site.lot_words import lot_record
from kilnfolio.site.pages.customer import Served, customer_lot, render_lot
from kilnfolio.site.seals import SealView

LANGUAGES = ("en", "fr")
#: Whatever protects the reader; its position does not count, nor the accent colour, which the brand
#: may choose.
PROTECTS = (
    ".deferral, .deferral p, .outcome, #seal-check, .label-words, .lot-hero, .seal-why, .invented"
)
LOOKS = """all => all.map(part => {
  const look = getComputedStyle(part);
  return ["display", "visibility", "opacity", "color", "fontSize", "fontWeight", "position",
    "transform", "clipPath", "textTransform", "letterSpacing"].map(name => look[name]).join(" ")
    + " " + part.textContent.trim();
})"""


@pytest.fixture(scope="module")
def roots(tmp_path_factory) -> dict[str, Path]:
    """The same lot's pages, of a mill with a house style of its own and of one without."""
    made = {}
    for name, files in (("plain", {}), ("own", own_house())):
        mill = small_mill(tmp_path_factory.mktemp("mill"), files=files)
        root = made[name] = tmp_path_factory.mktemp(name)
        copy_assets(root, "customer")
        brought = house(mill.folder.graph)
        for path, data in brought.files.items():
            (root / path).parent.mkdir(parents=True, exist_ok=True)
            (root / path).write_bytes(data)
        about = (mill.folder, "L1", mill.dossiers, mill.lots["L1"])
        text = canonical(lot_record(*about)).decode()
        view = customer_lot(*about, "t", Served(text, SealView((_seal(text),))))
        for tag in LANGUAGES:
            own = brought.of("customer", "en") if tag == "fr" else brought.of("customer", tag)
            env = environment(mill.folder.mill.record, menu=(), tag=tag, own=own)
            page = render_lot(env, view, "t", tag, LANGUAGES)
            (root / page.path).parent.mkdir(parents=True, exist_ok=True)
            (root / page.path).write_text(page.html, "utf-8")
    return made


@pytest.mark.parametrize("tag", LANGUAGES)
def test_what_protects_the_reader_looks_the_same_and_axe_core_finds_no_barrier(browser, roots, tag):
    """In both schemes; what does not depend on colour is looked for in one."""
    path = "t/index.html" if tag == "en" else f"t/{tag}/index.html"
    schemes, looks = {"light": None, "dark": BY_LOOKS}, {}
    page = browser.new_page(viewport={"width": 360, "height": 900})
    for name, root in roots.items():
        page.goto((root / path).as_uri())
        for scheme, rules in schemes.items():
            page.emulate_media(color_scheme=scheme)
            looks[name, scheme] = page.locator(PROTECTS).evaluate_all(LOOKS)
            if name == "own":
                assert page.locator(".own-masthead").inner_text() == "Since 1921"
                assert page.locator(".own-closing img").evaluate("one => one.naturalWidth") > 0
                assert page.evaluate("document.documentElement.scrollWidth") <= 360
                # the link's colour is the brand's; on a dark screen it is ours
                assert breaches(page, rules) == []
    page.close()
    for scheme in schemes:
        assert len(looks["own", scheme]) > 8
        assert looks["own", scheme] == looks["plain", scheme]
    assert looks["own", "light"] != looks["own", "dark"]
