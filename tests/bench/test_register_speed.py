"""The registers and the search for numbers in Chromium, at 10,000 charges and 100,000 lots.

Each is a ratio to a floor timed in the same page: for the first answer, loading the same files
with nothing done to them; for a later one, setting the rows it shows as text.

Run by name: sh builder/run test tests/bench -s
"""

import statistics

import pytest
from tests.browser.registers import charge_rows, lot_rows, write_registers

#: The first answer may cost this many bare loadings of the same files.
FIRST = 5.0
#: A later one may cost this many settings of the rows it shows.
LATER = 15.0

#: Looking up a number may cost this many plain passes over all numbers as one text.
PASSES = 10.0

#: From the beginning of the page's loading to the first filter answered and laid out.
FIRST_ANSWER = """async () => {
  const bar = document.querySelector('[data-register]');
  const field = bar.querySelector('select[name=outcome]');
  field.value = 'fail';
  const begun = performance.now();
  field.dispatchEvent(new Event('input', {bubbles: true}));
  while (bar.getAttribute('aria-busy')) { await new Promise(done => setTimeout(done, 1)); }
  document.body.offsetHeight;
  return performance.now() - begun;
}"""

BARE_LOADING = """async files => {
  const begun = performance.now();
  await Promise.all(files.map(file => new Promise(done => {
    const element = document.createElement('script');
    element.src = file;
    element.onload = done;
    document.head.append(element);
  })));
  return performance.now() - begun;
}"""

ANSWERS = """async deeds => {
  const bar = document.querySelector('[data-register]');
  const took = [];
  for (const [name, value] of deeds) {
    const field = name && bar.querySelector(`[name="${name}"]`);
    const heading = !name && [...document.querySelectorAll('#register th')]
      .find(cell => cell.textContent.includes(value)).querySelector('button');
    const begun = performance.now();
    if (field) {
      field.value = value;
      field.dispatchEvent(new Event('input', {bubbles: true}));
    } else { heading.click(); }
    while (bar.getAttribute('aria-busy')) { await null; }
    document.body.offsetHeight;
    took.push(performance.now() - begun);
    if (field) { field.value = ''; }
  }
  return took;
}"""

BARE_ROWS = """() => {
  const body = document.querySelector('#register tbody');
  const rows = body.innerHTML;
  const begun = performance.now();
  body.innerHTML = rows;
  document.body.offsetHeight;
  return performance.now() - begun;
}"""

BARE_PASS = """() => kilnfolioRows.loadAll('lots').then(parts => {
  const text = parts.map(part => part.numbers()).join('');
  const begun = performance.now();
  for (let place = text.indexOf('09'); place >= 0; place = text.indexOf('09', place + 1)) { }
  return performance.now() - begun;
})"""

QUESTIONS = """async questions => {
  await kilnfolioSearch.ready();
  const took = [];
  for (const question of questions) {
    const begun = performance.now();
    const groups = await kilnfolioSearch.answer(question);
    took.push([performance.now() - begun, groups.length]);
  }
  return took;
}"""


#: Filters by their names, and columns to sort by.
DEEDS = {
    "charges": [
        ["outcome", "pass"],
        ["species", "acer-saccharum"],
        ["words", "oak"],
        ["words", "0012"],
        ["", "Final MC"],
        ["", "Charge"],
        ["", "Kiln"],
    ],
    "lots": [
        ["outcome", "pass"],
        ["species", "acer-saccharum"],
        ["words", "oak"],
        ["words", "0012"],
        ["", "Mean"],
        ["", "Lot"],
        ["", "Species"],
    ],
}
QUESTIONED = (
    "L012345",
    "L0123",
    "L05",
    "C-20-0531",
    "20-05310",
    "045678",
    "red oak refused 2018",
    "white ash",
    "stacking",
)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    out = tmp_path_factory.mktemp("registers")
    charges = charge_rows(10_000)
    write_registers(out, charges, lot_rows(charges, 10))
    return out


@pytest.mark.parametrize("kind", ["charges", "lots"])
def test_a_register_against_loading_and_setting_the_same(book, browser, site, kind):
    files = [path.as_uri() for path in sorted((site / "register").glob(f"{kind}-*.js"))]
    first, later = [], []
    for _ in range(5):
        page = browser.new_page()
        page.goto((site / kind / "by-date/2020.html").as_uri())
        bare = page.evaluate(BARE_LOADING, files)
        page.goto((site / kind / "index.html").as_uri())
        first.append((bare / 1000, page.evaluate(FIRST_ANSWER) / 1000))
        page.evaluate(ANSWERS, DEEDS[kind])
        answers, rows = page.evaluate(ANSWERS, DEEDS[kind]), page.evaluate(BARE_ROWS)
        later.append((rows / 1000, statistics.median(answers) / 1000))
        page.close()
    found = (
        book.compare(f"first answer of the register of {kind}", first, "loading its files", FIRST),
        book.compare(f"a later answer, {kind}", later, "setting the rows it shows", LATER),
    )
    assert all(one.met for one in found)


def test_a_number_among_a_hundred_thousand(book, browser, site):
    page = browser.new_page()
    page.goto((site / "charges/index.html").as_uri())
    page.evaluate(QUESTIONS, QUESTIONED)
    again, bare = page.evaluate(QUESTIONS, QUESTIONED), page.evaluate(BARE_PASS)
    page.close()
    pairs = [(max(bare, 0.1) / 1000, milliseconds / 1000) for milliseconds, _ in again]
    found = book.compare("a number among 100,000 lots", pairs, "one pass over every number", PASSES)
    assert found.met
