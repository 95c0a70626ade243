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
  return [performance.now() - begun, performance.now()];
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
def test_a_register_against_loading_and_setting_the_same(browser, site, kind):
    files = [path.as_uri() for path in sorted((site / "register").glob(f"{kind}-*.js"))]
    size = sum((site / "register" / file.rsplit("/", 1)[1]).stat().st_size for file in files)
    bare, first, whole = [], [], []
    for _ in range(5):
        page = browser.new_page()
        page.goto((site / kind / "by-date/2020.html").as_uri())
        bare.append(page.evaluate(BARE_LOADING, files))
        page.goto((site / kind / "index.html").as_uri())
        answer, since_start = page.evaluate(FIRST_ANSWER)
        first.append(answer)
        whole.append(since_start)
        once = page.evaluate(ANSWERS, DEEDS[kind])
        again = page.evaluate(ANSWERS, DEEDS[kind])
        rows = page.evaluate(BARE_ROWS)
        page.close()
    ratio = statistics.median(first) / statistics.median(bare)
    print(  # noqa: T201
        f"\n{kind}: {len(files)} files, {size:,} bytes; first answer "
        f"{statistics.median(first):.0f} ms, {statistics.median(whole):.0f} ms after the page "
        "began to load; bare loading "
        f"{statistics.median(bare):.0f} ms; ratio {ratio:.1f}\n  each answer "
        f"{[round(ms, 1) for ms in once]} ms, again {[round(ms, 1) for ms in again]} ms; setting "
        f"the rows {rows:.1f} ms; ratio {statistics.median(again) / rows:.1f}"
    )
    assert ratio < FIRST
    assert statistics.median(again) < LATER * rows


def test_a_number_among_a_hundred_thousand(browser, site):
    page = browser.new_page()
    page.goto((site / "charges/index.html").as_uri())
    once = page.evaluate(QUESTIONS, QUESTIONED)
    again = page.evaluate(QUESTIONS, QUESTIONED)
    bare = page.evaluate(BARE_PASS)
    page.close()
    for question, (first, found), (later, _) in zip(QUESTIONED, once, again, strict=True):
        print(f"\n  {question}: {first:.1f} ms, again {later:.1f} ms; {found} groups", end="")  # noqa: T201
    later = statistics.median(ms for ms, _ in again)
    print(f"\n  one pass over every number {bare:.2f} ms; ratio {later / max(bare, 0.1):.1f}")  # noqa: T201
    assert later < PASSES * max(bare, 0.1)
