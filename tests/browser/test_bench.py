"""The bench in a browser: a good operator is rated above a careless one; the keyboard is enough."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect
from tests.conftest import PROJECT

ASSETS = PROJECT / "builder/kilnfolio/site/assets"


@pytest.fixture(scope="module")
def bench_page(demo_site: Path) -> str:
    return (demo_site / "mill/bench.html").as_uri()


def set_air(page, dry: float, depression: float) -> None:
    """Set the air, given in °C and K, in the demonstration's own °F."""
    page.fill("#charge-dry", str(dry * 1.8 + 32))
    page.fill("#charge-depression", str(depression * 1.8))
    page.click("#charge-set")


def finish(page) -> dict[str, str]:
    if page.locator("#charge-finish").is_enabled():
        page.click("#charge-finish")
    rows = page.locator("#charge-result tbody tr").all_inner_texts()
    return {row.split("\t")[0]: row.split("\t")[1] for row in rows}


def sheet(page, name: str) -> list[list[str]]:
    rows = page.locator(f"#scenario-{name} tbody tr").all_text_contents()
    return [row.split() for row in rows]


def number(words: str) -> float:
    return float(words.split()[0].replace("\u00a0", "").split("%")[0].replace("\u2212", "-"))


def good_operator(page) -> dict[str, str]:
    """Follow the sheet by the daily weighing, change the wick every other day, equalize."""
    steps = page.evaluate(
        "JSON.parse(document.getElementById('bench-data').textContent)"
        ".scenarios['white-maple-27mm'].steps"
    )
    set_air(page, steps[0]["dry_bulb"], steps[0]["depression"])
    place = 0
    for day in range(40):
        page.click("[data-wait='24']")
        if day % 2:
            page.click("#charge-wick")
        page.click("#charge-weigh")
        controlling = number(page.inner_text("#charge-controlling"))
        now = place
        while steps[now]["until_mc"] is not None and controlling <= steps[now]["until_mc"]:
            now += 1
        if now != place:
            place = now
            set_air(page, steps[place]["dry_bulb"], steps[place]["depression"])
        if controlling <= 8.0:
            break
    set_air(page, 71, 19)  # EMC near 6 %: equalizing
    for _ in range(3):
        page.click("[data-wait='24']")
        page.click("#charge-wick")
    return finish(page)


def careless_operator(page) -> dict[str, str]:
    """Open the last step on the second day and never look at the wick."""
    set_air(page, 54.5, 4.4)
    page.click("[data-wait='24']")
    set_air(page, 71, 28)
    for _ in range(9):
        page.click("[data-wait='24']")
    return finish(page)


def test_a_good_operator_is_rated_above_a_careless_one(page, bench_page):
    ratings = {}
    for operator in (good_operator, careless_operator):
        page.goto(bench_page)
        page.select_option("#charge-scenario", "white-maple-27mm")
        page.fill("#charge-seed", "7")
        page.click("#charge-start")
        ratings[operator] = operator(page)
    # the careless run goes from the first step of the sheet to the last
    review = page.locator("#charge-result")
    expect(review.get_by_role("listitem").filter(has_text="was skipped")).to_contain_text(
        "Question"
    )
    expect(review).to_contain_text(
        "Run kilnfolio practice practice-charge.json", use_inner_text=True
    )
    good, careless = ratings.values()
    assert number(good["Rating, of 100"]) > number(careless["Rating, of 100"]) + 20
    assert number(good["Boards counted as checked"]) < number(careless["Boards counted as checked"])
    assert number(good["Days"]) > number(careless["Days"])


def test_equal_seeds_give_equal_boards_and_another_seed_others(page, bench_page):
    logs = []
    for seed in ("5", "5", "6"):
        page.goto(bench_page)
        page.fill("#charge-seed", seed)
        page.click("#charge-start")
        page.click("[data-wait='24']")
        page.click("#charge-weigh")
        logs.append(page.inner_text("#charge-log"))
    assert logs[0] == logs[1] != logs[2]


def test_the_air_figure_says_what_the_handbook_table_says(page, bench_page):
    """Table of a kiln handbook (from memory): 110 °F with 4 °F depression is 17.7 %."""
    page.goto(bench_page)
    page.locator("#air-dry").fill("110")
    page.locator("#air-depression").fill("4")
    page.locator("#air-error").fill("1")
    assert abs(number(page.inner_text("#air-emc")) - 17.7) <= 0.3
    low, high = page.inner_text("#air-emc-range").removesuffix(" %").split(" to ")
    # the same table at 5 and at 3 °F depression: 16.2 and 19.4 %
    assert abs(float(low) - 16.5) <= 0.3
    assert abs(float(high) - 19.2) <= 0.4


def test_the_units_chosen_on_the_page_of_calculators_count_here(page, bench_page):
    """The demonstration's region is North American; by definition, °F = 1.8 °C + 32."""
    page.goto(bench_page)
    assert page.inner_text("#air-dry-out") == "110\u00a0°F"
    page.click("#charge-start")
    fields = [page.locator(f"#charge-{name}") for name in ("dry", "depression")]
    customary = [float(field.input_value()) for field in fields]
    page.goto(bench_page.replace("bench.html", "calculators.html"))
    page.get_by_label("metric").check()
    page.goto(bench_page)
    assert page.inner_text("#air-dry-out").endswith("°C")
    assert page.get_by_label("metric").is_checked()
    page.click("#charge-start")
    metric = [float(field.input_value()) for field in fields]
    assert abs(metric[0] * 1.8 + 32 - customary[0]) <= 0.6
    assert abs(metric[1] * 1.8 - customary[1]) <= 0.6


#: Units of a length, a speed, a flow or a mass in either system; %, points and kWh are in both.
METRIC, US = r"\d (?:mm|m|m/s|m³/s|kg|kg/day|°C|K)\b", r"\d (?:in|ft|ft/min|ft³/min|lb|lb/day|°F)\b"


def amounts(page, pattern: str) -> list[str]:
    """Return every amount in a unit of the pattern, apart from those printed in both systems."""
    shown = page.evaluate(
        """() => [...document.querySelectorAll(':is(.bench, .scenario) :is(output, dd, p, td, text)')]
            .filter(one => one.checkVisibility()).map(one => one.innerText ?? one.textContent)"""
    )
    words = " \n ".join(shown).replace("\u00a0", " ")
    return re.findall(pattern, re.sub(r"\S+ \S+ \([^)]*\)", "", words))


def test_every_amount_of_the_bench_is_in_the_chosen_units(page, bench_page):
    """Also after a switch, which keeps what the sliders are set to."""
    page.goto(bench_page)
    page.click("#charge-start")
    page.click("#charge-finish")
    assert amounts(page, METRIC) == []
    assert len(amounts(page, US)) > 20
    page.locator("#board-thickness").fill("1.5")
    page.locator("#cut-width").fill("8")
    before = {name: page.inner_text(name) for name in ("#board-core", "#cut-cup", "#stack-drop")}
    page.get_by_label("metric").check()
    # an inch is 25.4 mm: 1.5 in and 8 in
    assert page.inner_text("#board-thickness-out") == "38\u00a0mm"
    assert page.inner_text("#cut-width-out") == "203\u00a0mm"
    assert page.inner_text("#board-core") == before["#board-core"]
    assert number(page.inner_text("#cut-cup")) / 25.4 == pytest.approx(
        number(before["#cut-cup"]), abs=0.006
    )
    page.locator("#charge-log").evaluate("log => log.replaceChildren()")  # keeps what it said
    assert amounts(page, US) == []
    assert len(amounts(page, METRIC)) > 20
    steps = "#scenario-white-maple-27mm :is(th, td)"
    assert "Dry bulb, °C" in page.locator(steps).all_text_contents()
    assert "54.5" in page.locator(steps).all_text_contents()
    page.get_by_label("US customary").check()
    assert "Dry bulb, °F" in page.locator(steps).all_text_contents()
    assert "130" in page.locator(steps).all_text_contents()
    assert {name: page.inner_text(name) for name in before} == before
    assert page.inner_text("#board-thickness-out") == "1.5\u00a0in"


def test_the_survey_figure_says_what_the_binomial_table_says(page, bench_page):
    """With no failure among n the share is 0.05 to the power 1/n: 93.6 % for 45, 90.5 % for 30."""
    page.goto(bench_page)
    for readings, share in (("45", "93.6"), ("30", "90.5")):
        page.locator("#survey-readings").fill(readings)
        page.locator("#survey-failures").fill("0")
        assert f"claim {share} %" in page.inner_text("#survey-says").replace("\u00a0", " ")


def test_a_thicker_board_is_wetter_and_a_later_day_is_drier(page, bench_page):
    page.goto(bench_page)
    first = number(page.inner_text("#board-core"))
    page.locator("#board-thickness").fill("2.125")
    thick = number(page.inner_text("#board-core"))
    page.locator("#board-day").fill("40")
    later = number(page.inner_text("#board-core"))
    assert thick > first
    assert later < thick


def test_the_keyboard_moves_every_figure(page, bench_page):
    page.goto(bench_page)
    for knob, out in (
        ("air-dry", "air-wet"),
        ("board-emc", "board-mean"),
        ("survey-readings", "survey-says"),
    ):
        before = page.inner_text(f"#{out}")
        page.focus(f"#{knob}")
        for _ in range(8):
            page.keyboard.press("ArrowRight")
        assert page.inner_text(f"#{out}") != before, knob
    page.focus("#charge-start")
    page.keyboard.press("Enter")
    expect(page.locator("#charge-log")).to_contain_text("loaded", use_inner_text=True)
    page.focus("[data-wait='24']")
    page.keyboard.press("Space")
    expect(page.locator("#charge-day")).to_have_text("1.0", use_inner_text=True)


def test_what_cannot_be_set_is_said_and_changes_nothing(page, bench_page):
    page.goto(bench_page)
    page.click("#charge-start")
    set_air(page, 500, 2)
    expect(page.locator("#charge-log")).to_contain_text("takes a dry bulb of", use_inner_text=True)
    page.click("[data-wait='2']")
    assert number(page.inner_text("#charge-reads-dry")) < 77  # °F


def test_without_script_the_figures_stand_and_no_knob_does_nothing(browser, bench_page):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(bench_page)
    expect(page.locator("#bench-board svg path.controlling")).to_have_count(1)
    expect(page.locator("#air-dry")).to_be_hidden()
    expect(page.locator("#charge-start")).to_be_hidden()
    expect(page.get_by_text("pencil")).to_be_visible()
    context.close()


def test_the_figures_answer_the_arrow_keys_and_say_what_they_show(page, bench_page):
    """Every knob is a labelled range, every drawing has a name, every answer is announced."""
    page.goto(bench_page)
    for knob, reading, said in (
        ("#cut-y", "#cut-cup", "#cut-says"),
        ("#stack-flow", "#stack-drop", "#stack-says"),
        ("#survey-readings", "#survey-says", "#survey-says"),
    ):
        before = page.inner_text(reading)
        page.focus(knob)
        for _ in range(6):
            page.keyboard.press("ArrowLeft")
        assert page.inner_text(reading) != before, knob
        assert page.locator(said).get_attribute("role") == "status"
        label = page.locator(f"label[for={knob[1:]}]")
        expect(label).to_have_count(1)
    figures = ("#bench-air", "#bench-board", "#bench-cut", "#bench-stack", "#bench-survey")
    for box in (*figures, "#bench-charge"):
        drawing = page.locator(f"{box} svg")
        expect(drawing).to_have_attribute("role", "img")
        assert drawing.get_attribute("aria-label") or drawing.get_attribute("aria-labelledby")
        assert page.locator(f"{box} :is([role=status], [aria-live=polite])").count(), box
    fields = page.locator(".bench :is(input, select)")
    assert fields.count() > 20
    for field in fields.all():
        assert field.evaluate("one => one.labels.length") == 1, field.get_attribute("id")


def test_every_figure_is_drawn_where_there_is_no_script(browser, bench_page):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(bench_page)
    for box in ("#bench-air", "#bench-board", "#bench-cut", "#bench-stack", "#bench-survey"):
        expect(page.locator(f"{box} svg")).to_be_visible()
    context.close()


def test_the_scripts_of_the_bench_are_small():
    """Under 60 kB compressed, with what they rest on."""
    names = [
        "wood.js",
        "air.js",
        "calculators.js",
        "charge-run.js",
        "charge-review.js",
        "bench-figures.js",
        "bench.js",
    ]
    assert len(gzip.compress(b"".join((ASSETS / name).read_bytes() for name in names))) < 60_000


def test_the_page_fits_a_phone(page, bench_page):
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(bench_page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert Path(ASSETS / "bench.js").is_file()


def test_the_board_says_on_which_day_checks_threaten(page, bench_page):
    """Harsh air threatens within the first days; the mildest air never does."""
    page.goto(bench_page)
    page.locator("#board-day").fill("20")
    page.locator("#board-emc").fill("5")
    said = page.inner_text("#board-says")
    assert said.startswith("On day ")
    assert 0 < number(said.removeprefix("On day ").replace(",", "")) < 10
    page.locator("#board-emc").fill("20")
    assert "stayed under 3" in page.inner_text("#board-says")


def test_moist_weather_holds_the_kiln_back_and_the_page_says_so(page, bench_page):
    page.goto(bench_page)
    expect(page.locator("#charge-outdoors")).to_be_hidden()
    page.select_option("#charge-scenario", "maple-humid-july")
    page.click("#charge-start")
    expect(page.locator("#charge-outdoors")).to_be_visible()
    set_air(page, 32, 12)
    for _ in range(3):
        page.click("[data-wait='24']")
    assert "vents" in page.inner_text("#charge-held")
    expect(page.locator("#charge-log")).to_contain_text("moister than set", use_inner_text=True)
    dry, wet = (number(page.inner_text(f"#charge-reads-{name}")) for name in ("dry", "wet"))
    assert (dry - wet) / 1.8 < 9.0  # °F; 12 K were asked for
    page.click("#charge-finish")
    assert "Energy" in page.inner_text("#charge-result")
