"""Nothing moves while a page loads: not when our letters come, not when a script makes its parts.

The measure is the browser's own layout-shift score (https://wicg.github.io/layout-instability/),
summed over the whole load, expected or not.
"""

import http.server
import threading
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from tests.browser.kinds import addresses

#: A fifth of what the measure's authors call good (0.1, https://web.dev/articles/cls). What is left
#: is one line here and there that breaks a word sooner in the stand-in face than in ours: a line
#: high on a telephone moves all below it, which counts 0.019. Two would be
#: too much.
MOST = 0.02

WATCH = """() => {
  window.shifts = [];
  new PerformanceObserver(list => {
    for (const entry of list.getEntries()) {
      window.shifts.push([entry.value, entry.sources.map(source => source.node
        ? (source.node.outerHTML || source.node.textContent).slice(0, 80) : 'gone')]);
    }
  }).observe({type: 'layout-shift', buffered: true});
}"""


#: Keeps the page from drawing until every letter is there.
BUSY = "() => { setTimeout(() => { for (const end = Date.now() + 250; Date.now() < end;); }, 0) }"


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        """Say nothing of each request."""


@pytest.fixture(scope="module")
def server(demo_site: Path) -> Iterator[str]:
    """Return the address of a server of the demonstration site."""
    serving = http.server.ThreadingHTTPServer(
        ("127.0.0.1", 0), partial(_Quiet, directory=str(demo_site))
    )
    threading.Thread(target=serving.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{serving.server_port}"
    serving.shutdown()
    serving.server_close()


def shifts(browser, address: str, width: int) -> list:
    """Return every shift of a first visit, with what moved."""
    context = browser.new_context(viewport={"width": width, "height": 800})
    page = context.new_page()
    page.add_init_script(f"({WATCH})()")
    # our letters are held back until the page has been painted without them, then come together;
    # one after another, as on a slow line, they may move a line and move it back
    held, painted = [], []
    page.route("**/*.woff2", lambda font: font.continue_() if painted else held.append(font))
    page.goto(address, wait_until="domcontentloaded")
    page.evaluate("new Promise(painted => requestAnimationFrame(() => setTimeout(painted, 60)))")
    assert held, "no letters of ours were asked for"
    painted.append(True)
    page.evaluate(BUSY)
    for font in held:
        font.continue_()
    page.evaluate("document.fonts.ready.then(() => new Promise(done => setTimeout(done, 100)))")
    used = page.evaluate("[...document.fonts].filter(face => face.status === 'loaded').length")
    assert used >= 3, "our letters never came"
    found = page.evaluate("window.shifts")
    context.close()
    return found


@pytest.mark.parametrize(("way", "width"), [("file", 1440), ("http", 360)])
def test_nothing_moves_while_a_page_loads(browser, demo_site, server, way, width):
    moved = []
    for kind, address in addresses(demo_site).items():
        if way == "http":
            address = address.replace(demo_site.as_uri(), server)
        found = shifts(browser, address, width)
        if sum(value for value, _ in found) > MOST:
            moved.append(f"{kind}: {found}")
    assert not moved, "\n".join(moved)


def test_a_planted_shift_would_be_seen(browser, tmp_path):
    page = tmp_path / "page.html"
    page.write_text(
        "<p id=late></p><h1>Words</h1><script>setTimeout(() => "
        "{ late.style.height = '300px' }, 50)</script>"
    )
    context = browser.new_context()
    tab = context.new_page()
    tab.add_init_script(f"({WATCH})()")
    tab.goto(page.as_uri())
    tab.wait_for_function("window.shifts.length > 0")
    assert sum(value for value, _ in tab.evaluate("window.shifts")) > MOST
    context.close()
