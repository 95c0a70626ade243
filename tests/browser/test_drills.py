"""Drills that mark answers: by keyboard alone, by pressing a cell, and in the stand-alone file."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect
from tests.conftest import PROJECT

from kilnfolio.cli import main


@pytest.fixture(scope="module")
def alone(tmp_path_factory) -> str:
    out = tmp_path_factory.mktemp("drills") / "drills.html"
    assert main(["drills", str(PROJECT), "--seed", "7", "--count", "10", "--out", str(out)]) == 0
    return out.as_uri()


def form_of(page, fault: str):
    (form,) = (
        one
        for one in page.locator("form.point").all()
        if json.loads(one.get_attribute("data-answer"))["fault"] == fault
    )
    return form


def drill_of(form):
    return form.locator("xpath=..")


def test_a_wrong_answer_is_explained_and_the_key_stays_closed(page, alone):
    page.goto(alone)
    form = form_of(page, "wet-basis")
    key = drill_of(form).locator("details.key")
    expect(key).to_be_hidden()
    board = json.loads(form.get_attribute("data-answer"))["places"][0]["boards"][0]
    form.locator("[name=board]").select_option(board)
    form.locator("[name=fault]").select_option("section-not-dry")
    form.locator("[name=action]").select_option("section-not-dry")
    form.get_by_role("button", name="Mark my answer").press("Enter")
    said = form.get_by_role("status")
    expect(said).to_contain_text("Right: the place. Not what the review says: the fault")
    expect(key).to_be_hidden()
    form.locator("[name=fault]").select_option("wet-basis")
    form.locator("[name=action]").select_option("wet-basis")
    form.get_by_role("button", name="Mark my answer").press("Enter")
    expect(said).to_contain_text("All three as the review has them")
    expect(key).to_be_visible()


def test_pressing_a_cell_chooses_the_place(page, alone):
    page.goto(alone)
    form = form_of(page, "digits-transposed")
    drill = drill_of(form)
    drill.locator("details.record summary").click()
    what = drill.locator("details.key").text_content()
    tag, day = re.search(r"Board (\w+) on (day \d+, \d\d:\d\d)", what).groups()
    row = drill.locator("tbody tr", has=page.get_by_role("rowheader", name=day))
    heads = drill.locator("table", has_text="Weighings: mass").locator("thead th").all_inner_texts()
    row.first.locator("td").nth(heads.index(tag) - 1).click()
    expect(form.locator("[name=board]")).to_have_value(tag)
    form.locator("[name=fault]").select_option("digits-transposed")
    form.locator("[name=action]").select_option("digits-transposed")
    form.get_by_role("button", name="Mark my answer").click()
    expect(form.get_by_role("status")).to_contain_text("All three")


def test_the_chosen_hour_is_marked_in_the_chart(page, alone):
    page.goto(alone)
    form = form_of(page, "wet-bulb-stuck")
    first, last = json.loads(form.get_attribute("data-answer"))["places"][0]["minutes"]
    middle = (first + last) // 2
    form.locator("[name=day]").fill(str(middle // 1440 + 1))
    form.locator("[name=clock]").fill(f"{middle % 1440 // 60:02d}:{middle % 60:02d}")
    expect(drill_of(form).locator("svg .pointed")).to_have_count(1)
    form.locator("[name=fault]").select_option("wet-bulb-stuck")
    form.locator("[name=action]").select_option("wet-bulb-stuck")
    form.get_by_role("button", name="Mark my answer").click()
    expect(form.get_by_role("status")).to_contain_text("All three")


def test_without_script_there_is_no_form_and_the_key_opens(browser, demo_site: Path, alone):
    context = browser.new_context(java_script_enabled=False)
    for address in ((demo_site / "mill/drills.html").as_uri(), alone):
        page = context.new_page()
        page.goto(address)
        expect(page.locator("form.point").first).to_be_hidden()
        expect(page.locator("details.key summary").first).to_be_visible()
        page.locator("details.key summary").first.click()
        expect(page.locator("details.key").first).to_contain_text("What the review says")
    context.close()
