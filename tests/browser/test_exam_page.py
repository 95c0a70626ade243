"""A published exam paper and its released key: no barrier, valid HTML, in reach of the page."""

from __future__ import annotations

import pytest
from tests.browser.nu import check_html
from tests.browser.test_access import BY_LOOKS, breaches
from tests.minimal import minimal_mill
from tests.training.test_exams import FRONT, LESSONS, NAME

from kilnfolio.cli import main


@pytest.fixture(scope="module")
def exams(tmp_path_factory):
    files = {
        NAME: FRONT + "## A section {#section}\n\nWeigh the boards.\n",
        "content/handbook/lessons.yaml": LESSONS,
    }
    mill = minimal_mill(tmp_path_factory.mktemp("exams") / "mill", files=files)
    told = ["exam", "operator-day", str(mill), "--seed", "3"]
    assert main([*told, "--publish"]) == 0
    assert main([*told, "--release", "--by", "A. Trainer"]) == 0
    assert main(["build", str(mill), "--without-pdf", "--quiet"]) == 0
    return mill / "site/mill/exams"


PAGES = ("operator-day-3.html", "operator-day-3-key.html")


def test_axe_core_finds_no_barrier_on_a_paper_and_its_key(browser, exams):
    page = browser.new_page()
    for name in PAGES:
        page.goto((exams / name).as_uri())
        for scheme, width, rules in (("light", 360, None), ("dark", 1280, BY_LOOKS)):
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size({"width": width, "height": 900})
            assert breaches(page, rules) == [], name
            wider = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            assert wider <= 0, name
    page.close()


def test_the_html_checker_finds_nothing_wrong(exams):
    assert check_html([exams / name for name in PAGES]) == []
