"""The customer's own room: what the page's script says, against Python, in a real browser."""

import numpy as np
import pytest
from playwright.sync_api import expect
from tests.conftest import WHOLE
from tests.site.site import shared_mill
from tests.site_assets import copy_assets

from kilnfolio.site.pages.indoors import (
    HUMIDITY_PCT,
    ROOMS,
    TEMPERATURE_C,
    WORDS,
    Timber,
    chooser,
    room_words,
)

SEED, INPUTS = 20261125, 10_000 if WHOLE else 1_000
#: Two doubles relatively closer than this may round to different digits.
CLOSE = 1e-9


@pytest.fixture(scope="module")
def lot_page(tmp_path_factory):
    """Return the address of a customer's page, opened from a file."""
    site = tmp_path_factory.mktemp("customer")
    page = next(iter(shared_mill().customer()))
    copy_assets(site, "customer")
    (site / page.path).parent.mkdir()
    (site / page.path).write_text(page.html, "utf-8")
    return (site / page.path).as_uri()


@pytest.fixture
def opened(page, lot_page):
    """Return the page with the chooser open; a script error fails the test."""
    faults = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(lot_page)
    assert page.evaluate("typeof window.kilnfolio") == "undefined"  # fetched when needed
    page.locator(".chooser summary").click()
    page.wait_for_function("!!(window.kilnfolio && window.kilnfolio.makeIndoors)")
    yield page
    assert faults == []


def random_rooms(rng):
    for _ in range(INPUTS):
        cuts = tuple(
            (cut, round(rng.uniform(0.5, 15.0), 1))
            for cut in ("flat-sawn", "quarter-sawn")[: rng.integers(0, 3)]
        )
        timber = Timber(round(rng.uniform(3.0, 40.0), 2), cuts)
        yield timber, round(rng.uniform(*TEMPERATURE_C), 1), round(rng.uniform(*HUMIDITY_PCT), 1)


def test_script_and_python_agree_on_random_rooms(opened):
    rooms = list(random_rooms(np.random.default_rng(SEED)))
    asked = [[timber.mc_pct, timber.cuts, temp, humidity] for timber, temp, humidity in rooms]
    answers = opened.evaluate(
        """([data, rooms]) => rooms.map(([mc_pct, cuts, temp, humidity]) =>
             window.kilnfolio.makeIndoors({...data, mc_pct, cuts})(temp, humidity))""",
        [chooser(rooms[0][0]), asked],
    )
    different = [
        (room, answer)
        for room, answer in zip(rooms, answers, strict=True)
        if answer != room_words(*room) and not on_an_edge(room, answer)
    ]
    assert different == []


def on_an_edge(room, answer):
    """Return whether inputs a hair apart would make Python give the script's answer."""
    timber, temp, humidity = room
    return any(
        answer == room_words(timber, temp * factor, humidity * factor)
        for factor in (1 - CLOSE, 1 + CLOSE)
    )


def test_a_reader_can_choose_a_room_or_describe_one(opened):
    said, form = opened.locator("#indoors output"), opened.locator("#indoors")
    form.locator("[name=unit]").select_option("°C")
    form.locator("select[name=room]").select_option(ROOMS[0][0])
    expect(form.locator("[name=temperature]")).to_have_value(f"{ROOMS[0][1]:g}")
    expect(said).to_contain_text(f"{ROOMS[0][2]:g}\xa0% humidity", use_inner_text=True)
    form.locator("[name=unit]").select_option("°F")
    assert float(form.locator("[name=temperature]").input_value()) == pytest.approx(
        ROOMS[0][1] * 1.8 + 32, abs=0.5
    )
    form.locator("[name=temperature]").fill("64")
    form.locator("[name=humidity]").fill("42")
    expect(form.locator("[name=room]")).to_have_value("")
    # (64 - 32)/1.8 = 17.8
    expect(said).to_contain_text("64\xa0°F (18\xa0°C), 42\xa0% humidity", use_inner_text=True)


@pytest.mark.parametrize("words", ["", "warm", "900", "-40"])
def test_an_impossible_room_is_refused_with_a_message(opened, words):
    opened.locator("#indoors [name=temperature]").fill(words)
    expect(opened.locator("#indoors output")).to_have_text(WORDS["refused"], use_inner_text=True)


def test_the_pages_rooms_are_listed_without_script(browser, lot_page):
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto(lot_page)
    text = page.locator("main").inner_text()
    assert all(room in text for room, *_ in ROOMS)
    expect(page.locator(".chooser")).to_be_hidden()
    page.context.close()
