"""Typed answers: right ones in any unit, wrong ones explained by their mistake, progress kept on
the device.

The sums of the mistakes are done here by hand, from the definitions of MC and of the controlling
boards, not by the program.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect


@pytest.fixture(scope="module")
def practice_page(demo_site: Path) -> str:
    return (demo_site / "mill/practice.html").as_uri()


def masses(page, kind: str) -> list[float]:
    asked = (
        page.locator(f"#{kind} .asked").inner_text().replace("\u00a0", " ").replace("\u202f", "")
    )
    return [float(found) for found in re.findall(r"([\d.]+) g\b", asked)]


def answer(page, kind: str, *typed: str) -> list[str]:
    form = page.locator(f"#{kind} form.typed")
    for place, words in enumerate(typed):
        form.locator("input").nth(place).fill(words)
    form.get_by_role("button", name="Check my answer").click()
    return form.locator(".said").all_inner_texts()


def test_the_right_answer_is_right_with_and_without_its_unit(page, practice_page):
    page.goto(practice_page)
    green, dry = masses(page, "section-mc")[:2]
    right = 100.0 * (green - dry) / dry
    for words in (f"{right:.1f}", f"{right:.1f} %", f"{right:.2f}".replace(".", ",")):
        assert answer(page, "section-mc", words) == ["Right."]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda green, dry: 100.0 * (green - dry) / green, "wet basis"),
        (lambda green, dry: 100.0 * green / dry, "Take the dry mass off first"),
        (lambda green, dry: (green - dry) / dry, "hundred times too small"),
    ],
)
def test_a_wrong_answer_is_explained_by_its_mistake(page, practice_page, wrong, said):
    page.goto(practice_page)
    green, dry = masses(page, "section-mc")[:2]
    (words,) = answer(page, "section-mc", f"{wrong(green, dry):.3f}")
    assert said in words


def test_the_plain_mean_is_recognised_as_a_mistake_for_the_controlling_mc(page, practice_page):
    page.goto(practice_page)
    asked = page.locator("#wettest-half .asked").inner_text().replace("\u00a0", " ")
    boards = [float(found) for found in re.findall(r"\d+\.\d", asked)]
    half = sorted(boards, reverse=True)[: (len(boards) + 1) // 2]
    (words,) = answer(page, "wettest-half", f"{sum(boards) / len(boards):.2f}")
    assert "plain mean" in words
    assert answer(page, "wettest-half", f"{sum(half) / len(half):.1f}") == ["Right."]


def test_other_units_are_accepted_and_unsuitable_ones_refused(page, practice_page):
    page.goto(practice_page)
    asked = (
        page.locator("#board-oven-dry .asked")
        .inner_text()
        .replace("\u00a0", " ")
        .replace("\u202f", "")
        .replace(" ", " ")
    )
    mass = float(re.search(r"weighs ([\d ]+) g", asked)[1].replace(" ", ""))
    mc = float(re.search(r"of ([\d.]+) %", asked)[1])
    dry = mass / (1.0 + mc / 100.0)
    assert answer(page, "board-oven-dry", f"{dry / 1000.0:.3f} kg") == ["Right."]
    assert "multiplied" in answer(page, "board-oven-dry", f"{mass * (1 + mc / 100):.0f} g")[0]
    assert "unit does not fit" in answer(page, "board-oven-dry", f"{dry:.0f} °C")[0]
    assert answer(page, "board-oven-dry", "about two kilos") == ["Type a number, as in 12.5 g."]


def test_new_numbers_clear_the_form(page, practice_page):
    page.goto(practice_page)
    answer(page, "section-mc", "12")
    page.locator("#section-mc").get_by_role("button", name="New numbers").click()
    expect(page.locator("#section-mc form.typed input")).to_have_value("")
    expect(page.locator("#section-mc .said")).to_have_text("", use_inner_text=True)


def test_progress_stays_on_the_device_and_can_be_saved(page, practice_page, tmp_path):
    page.goto(practice_page)
    green, dry = masses(page, "section-mc")[:2]
    answer(page, "section-mc", "1")
    answer(page, "section-mc", f"{100.0 * (green - dry) / dry:.1f}")
    page.reload()
    page.get_by_text("My progress").click()
    row = page.locator("#progress tbody tr").first.inner_text()
    assert "Moisture content" in row
    assert "1 of" in row
    page.locator("#progress input").fill("A. Trainee")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save the record").click()
    waiting.value.save_as(tmp_path / "record.json")
    record = json.loads(Path(tmp_path / "record.json").read_text("utf-8"))
    assert record["trainee"] == "A. Trainee"
    assert record["problems"]["section-mc"]["tries"] == 2
    assert record["problems"]["section-mc"]["right"] == 1
    assert record["signed"] == {"trainer": "", "on": ""}


def test_without_script_there_is_no_form(browser, practice_page):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(practice_page)
    expect(page.locator("form.typed input")).to_have_count(0)
    expect(page.get_by_role("button", name="Check my answer")).to_have_count(0)
    expect(page.get_by_text("My progress")).to_have_count(0)
    context.close()


def test_the_keyboard_alone_is_enough(page, practice_page):
    page.goto(practice_page)
    green, dry = masses(page, "section-mc")[:2]
    page.locator("#section-mc form.typed input").focus()
    page.keyboard.type(f"{100.0 * (green - dry) / dry:.1f}")
    page.keyboard.press("Enter")
    expect(page.locator("#section-mc .said")).to_have_text("Right.", use_inner_text=True)


def test_the_worked_answer_is_hidden_until_one_is_typed_or_the_trainer_releases_it(
    page, practice_page
):
    page.goto(practice_page)
    worked = page.locator("#section-mc details", has_text="Answer")
    expect(worked).to_be_hidden()
    answer(page, "section-mc", "1")
    expect(worked).to_be_visible()
    page.locator("#section-mc button.new-numbers").click()
    expect(worked).to_be_hidden()
    page.goto(f"{practice_page}?answers=open")
    expect(worked).to_be_visible()
