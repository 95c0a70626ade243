"""Charts in a browser: values are read out by pointer, touch and keys; labels do not overlap."""

import re

import pytest
from playwright.sync_api import expect
from tests.browser.kinds import MILL_PAGES, addresses
from tests.conftest import some_of
from tests.rows import each_of

CHARTS = ["charge", "schedule", "kiln", "lot"]


def first_chart(page):
    figure = page.locator("figure.chart:has(svg[data-readout])").first
    return figure, figure.locator(".readout"), figure.locator("[tabindex]")


@each_of(CHARTS)
def test_arrow_keys_read_out_values_and_shift_nothing(kind, page, demo_site):
    page.goto(addresses(demo_site)[kind])
    _, readout, holder = first_chart(page)
    height = "document.documentElement.scrollHeight"
    before = page.evaluate(height)
    expect(readout).to_have_attribute("role", "status")  # announced to a screen reader
    invitation = readout.inner_text()
    holder.focus()
    page.keyboard.press("Home")
    assert page.evaluate(height) == before
    first = readout.inner_text()
    page.keyboard.press("ArrowRight")
    second = readout.inner_text()
    page.keyboard.press("ArrowLeft")
    expect(readout).to_have_text(first, use_inner_text=True)
    page.keyboard.press("End")
    assert len({invitation, first, second, readout.inner_text()}) == 4
    assert re.search(r"\d", first)
    page.keyboard.press("Escape")
    expect(readout).to_have_text(invitation, use_inner_text=True)


def test_values_read_out_of_a_charges_chart_are_those_of_its_table(page, demo_site):
    page.goto(addresses(demo_site)["charge"])
    _, readout, holder = first_chart(page)
    holder.focus()
    page.keyboard.press("Home")
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    row = page.locator("table[data-behind=charge-chart]").first.locator("tbody tr").nth(20)
    cells = [" ".join(text.split()) for text in row.locator("th, td").all_text_contents()]
    said = " ".join(readout.text_content().split())
    assert said.startswith(cells[0])
    for words, cell in zip(("dry bulb", "wet bulb", "RH", "EMC"), cells[1:], strict=True):
        assert f"{words} {cell}" in said


@pytest.mark.parametrize(
    ("kind", "drawing"), [("charge-heat-treated", "core-chart"), ("chapter", "chart-emc")]
)
def test_core_temperatures_and_emc_are_read_out_from_their_table(page, demo_site, kind, drawing):
    page.goto(addresses(demo_site)[kind])
    figure = page.locator(f"figure.chart:has(#{drawing}-title)")
    figure.locator("[tabindex]:has(> svg)").focus()
    page.keyboard.press("End")
    said = figure.locator(".readout").inner_text()
    table = page.locator(f"figure:has(#{drawing}-title) table, [data-behind={drawing}]").first
    last = table.locator("tbody tr").last.locator("th, td").all_text_contents()
    assert len(last) > 3
    for cell in last:
        assert " ".join(cell.split()) in " ".join(said.split())
    figure.locator("svg").scroll_into_view_if_needed()
    box = figure.locator("svg").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 3, box["y"] + box["height"] / 2)
    assert figure.locator(".readout").inner_text() != said


def test_no_value_of_a_folded_table_is_hidden_on_a_phone(browser, demo_site):
    page = browser.new_page(viewport={"width": 360, "height": 900})
    for kind in ("species", "charge", "records", "audit-charge", "audit-check"):
        page.goto(addresses(demo_site)[kind])
        hidden = page.evaluate("""() => [...document.querySelectorAll('table.fold tr')]
          .flatMap(row => [...row.cells].filter(cell => cell.checkVisibility())
            .map(cell => cell.getBoundingClientRect()).flatMap((box, place, all) =>
              (box.right > row.getBoundingClientRect().right + 1 ? [row.innerText] : []).concat(
              all.slice(0, place).some(other => other.right > box.left + 1
                && box.right > other.left + 1 && other.bottom > box.top + 1
                && box.bottom > other.top + 1) ? [row.innerText] : [])))""")
        assert hidden == [], kind
    page.close()


@pytest.mark.parametrize("touch", [False, True])
def test_pointer_and_touch_read_out_the_nearest_time(browser, demo_site, touch):
    context = browser.new_context(has_touch=touch, viewport={"width": 1200, "height": 900})
    page = context.new_page()
    page.goto(addresses(demo_site)["charge"])
    figure, readout, _ = first_chart(page)
    drawing = figure.locator("svg")
    drawing.scroll_into_view_if_needed()
    box = drawing.bounding_box()
    said = []
    for share in (0.3, 0.6):
        x, y = box["x"] + share * box["width"], box["y"] + box["height"] / 2
        if touch:
            page.touchscreen.tap(x, y)
        else:
            page.mouse.move(x, y)
        said.append(readout.inner_text())
    days = [float(when[8:10]) + 31 * float(when[5:7]) + float(when[11:13]) / 24 for when in said]
    view, width = (
        float(drawing.evaluate(f"svg => svg.{part}"))
        for part in ("viewBox.baseVal.width", "dataset.width")
    )
    length = float(drawing.get_attribute("data-days"))
    # the two times are as far apart as the distance moved on the chart
    assert days[1] - days[0] == pytest.approx(0.3 * view / width * length, abs=0.5)
    context.close()


OVERLAPS = """() => [...document.querySelectorAll('figure.chart svg')].flatMap(svg => {
  const words = [...svg.querySelectorAll('text')].filter(text => text.textContent.trim());
  const boxes = words.map(text => text.getBoundingClientRect());
  const edge = svg.getBoundingClientRect(), found = [];
  words.forEach((word, place) => {
    const a = boxes[place];
    if (a.left < edge.left - 1 || a.right > edge.right + 1) {
      found.push(word.textContent + ' is cut');
    }
    for (let other = 0; other < place; other += 1) {
      const b = boxes[other];
      // two lines of type may share the room of their ascenders, not of their letters
      if (a.left < b.right - 1 && b.left < a.right - 1
          && a.top < b.bottom - 4 && b.top < a.bottom - 4) {
        found.push(words[other].textContent + ' on ' + word.textContent);
      }
    }
  });
  return found;
})"""


@pytest.mark.parametrize("folder", ["charges", "schedules", "kilns", "lots"])
def test_no_labels_of_a_chart_overlap(page, demo_site, folder):
    for path in some_of(sorted((demo_site / "mill" / folder).glob("*.html")), 12):
        page.goto(path.as_uri())
        assert page.evaluate(OVERLAPS) == [], path.name


def test_overlapping_labels_would_be_noticed(page, demo_site):
    page.goto(addresses(demo_site)["charge"])
    page.evaluate(
        "document.querySelector('figure.chart svg').append("
        "document.querySelector('figure.chart svg text').cloneNode(true))"
    )
    assert page.evaluate(OVERLAPS)


def test_charts_are_text_and_lines_in_the_page(demo_site):
    html = (demo_site / "mill" / MILL_PAGES["charge"]).read_text("utf-8")
    assert "<text" in html
    assert "<img" not in html
