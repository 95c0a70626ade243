"""Nothing shifts while a page loads, neither when fonts arrive nor when a script adds its parts.

The measure is the browser's own layout-shift score (https://wicg.github.io/layout-instability/),
summed over the whole load, expected or not.
"""

import http.server
import threading
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import BinaryIO

import pytest
from tests.browser.kinds import addresses
from tests.conftest import WHOLE

#: A hundredth of what the measure's authors call good (0.1, https://web.dev/articles/cls).
MOST = 0.001

WATCH = """() => {
  window.shifts = [];
  new PerformanceObserver(list => {
    for (const entry of list.getEntries()) {
      window.shifts.push([entry.value, entry.sources.map(source => source.node
        ? (source.node.outerHTML || source.node.textContent).slice(0, 80) : 'gone')]);
    }
  }).observe({type: 'layout-shift', buffered: true});
}"""

#: Resolves once every font and script has arrived, the page was drawn, and their changes too.
SETTLED = """async () => {
  const frame = () => new Promise(done => requestAnimationFrame(() => setTimeout(done, 10)));
  if (document.readyState !== 'complete') {
    await new Promise(done => window.addEventListener('load', done));
  }
  await document.fonts.ready;
  while (!performance.getEntriesByType('paint').length) { await frame(); }
  await frame();
  await frame();
  return [document.fonts.size, window.shifts];
}"""

#: How long files are delayed [ms]. Fonts arrive one by one, some before the page is drawn and some
#: long after it; scripts arrive after it.
JOURNEYS = {
    "literata-400.woff2": 0,
    "folio-sans-400.woff2": 100,
    "literata-600.woff2": 50,
    "folio-sans-600.woff2": 25,
    "literata-400-italic.woff2": 150,
    "fonts.js": 0,
    ".js": 120,
}
#: Bytes sent at a time where the start of a page comes in small pieces, and the pause after each.
DROP, FIRST_PART, PAUSE_S = 400, 12_000, 0.03
#: Pages whose first screen has a table; the width of its columns depends on rows still to come.
TABLES = ("check", "audit-check", "records")
#: Pages checked for their typefaces, among them one that is fetched by phone.
READ = ("chapter", "charge", "glossary", "lot", "customer")


class _Slow(http.server.SimpleHTTPRequestHandler):
    """A server that delays files and forbids caching.

    A page requested with ``?drops`` comes a piece at a time, as on a busy machine.
    """

    def copyfile(self, source: BinaryIO, outputfile: BinaryIO) -> None:
        """Send what was requested, in pieces or at once."""
        if self.path.endswith("?drops"):
            for _ in range(0, FIRST_PART, DROP):
                outputfile.write(source.read(DROP))
                outputfile.flush()
                time.sleep(PAUSE_S)
        super().copyfile(source, outputfile)

    def do_GET(self) -> None:
        """Answer after the file's delay."""
        path = self.path.partition("?")[0]
        time.sleep(next((ms for end, ms in JOURNEYS.items() if path.endswith(end)), 0) / 1000)
        super().do_GET()

    def end_headers(self) -> None:
        """Make every visit a first visit."""
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def log_message(self, *_: object) -> None:
        """Do not log requests."""


@pytest.fixture
def server(demo_site: Path) -> Iterator[str]:
    """Return the address of a server of the demonstration site."""
    serving = http.server.ThreadingHTTPServer(
        ("127.0.0.1", 0), partial(_Slow, directory=str(demo_site))
    )
    threading.Thread(target=serving.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{serving.server_port}"
    serving.shutdown()
    serving.server_close()


def typefaces(page) -> set[str]:
    """Return which typefaces the heading and text of a page are drawn in."""
    session = page.context.new_cdp_session(page)
    for domain in ("DOM.enable", "CSS.enable"):
        session.send(domain)
    root = session.send("DOM.getDocument")["root"]["nodeId"]
    found = set()
    for part in ("h1", "p"):
        node = session.send("DOM.querySelector", {"nodeId": root, "selector": part})["nodeId"]
        fonts = session.send("CSS.getPlatformFontsForNode", {"nodeId": node})["fonts"]
        found |= {font["familyName"] for font in fonts}
    session.detach()
    return found


@pytest.mark.parametrize(("way", "width"), [("folder", 1440), ("server", 360)])
def test_nothing_shifts_while_a_page_loads(browser, demo_site, server, way, width):
    context = browser.new_context(viewport={"width": width, "height": 800})
    page = context.new_page()
    page.add_init_script(f"({WATCH})()")
    moved, ours = [], 0
    for place, (kind, address) in enumerate(addresses(demo_site).items()):
        if not (WHOLE or kind in READ or place % 3 == 0):
            continue
        page.goto(
            address if way == "folder" else address.replace(demo_site.as_uri(), server),
            wait_until="commit",
        )
        letters, found = page.evaluate(SETTLED)
        assert letters > 5, f"{kind}: our letters are not named"
        if sum(value for value, _ in found) > MOST:
            moved.append(f"{kind}: {found}")
        if kind in READ:
            ours += any(name.startswith("Literata") for name in typefaces(page))
    context.close()
    assert not moved, "\n".join(moved)
    if way == "folder":
        assert ours == len(READ), "a page opened from a folder was not drawn in our letters"


def test_a_table_does_not_shift_while_its_rows_arrive(browser, demo_site, server):
    context = browser.new_context(viewport={"width": 1440, "height": 800})
    page = context.new_page()
    page.add_init_script(f"({WATCH})()")
    moved = []
    for kind in TABLES:
        address = addresses(demo_site)[kind].replace(demo_site.as_uri(), server)
        page.goto(f"{address}?drops", wait_until="commit")
        _, found = page.evaluate(SETTLED)
        if sum(value for value, _ in found) > MOST:
            moved.append(f"{kind}: {found}")
    context.close()
    assert not moved, "\n".join(moved)


def test_a_planted_shift_would_be_noticed(browser, tmp_path):
    page = tmp_path / "page.html"
    page.write_text(
        "<p id=late></p><h1>Words</h1><script>setTimeout(() => "
        "{ late.style.height = '30px' }, 50)</script>"
    )
    context = browser.new_context()
    tab = context.new_page()
    tab.add_init_script(f"({WATCH})()")
    tab.goto(page.as_uri())
    tab.wait_for_function("window.shifts.length > 0")
    assert sum(value for value, _ in tab.evaluate("window.shifts")) > MOST
    context.close()
