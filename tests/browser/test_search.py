"""Search in a browser: what practitioners ask finds the page they mean, at once, from little."""

import functools
import gzip
import http.server
import threading

import pytest
import yaml
from tests.conftest import PROJECT

QUERIES = yaml.safe_load((PROJECT / "tests/data/search-queries.yaml").read_text("utf-8"))
#: The first three answers as they stand on the page, group by group.
FIRST = """async question => {
  const groups = await kilnfolioSearch.answer(question);
  const own = groups.flatMap(group => group.entries).map(([entry]) => entry[2]);
  const text = kilnfolioSearch.find(question).map(one => KILNFOLIO_SEARCH.entries[one.id][2]);
  const numbered = groups.length && ['charge', 'lot'].includes(groups[0].kind);
  return (numbered ? own : text).slice(0, 3);
}"""


@pytest.fixture(scope="module")
def search_page(browser, demo_site):
    page = browser.new_page()
    page.goto((demo_site / "mill/search.html").as_uri())
    yield page
    page.close()


def test_there_are_sixty_queries_and_their_pages_exist(demo_site):
    assert len({entry["query"] for entry in QUERIES}) >= 60
    for entry in QUERIES:
        for address in filter(None, (entry["page"], entry.get("or"))):
            path, _, anchor = address.partition("#")
            html = (demo_site / "mill" / path).read_text("utf-8")
            assert not anchor or f'id="{anchor}"' in html, address


@pytest.mark.parametrize("entry", QUERIES, ids=lambda entry: entry["query"])
def test_the_page_meant_is_among_the_first_three(search_page, entry):
    found = search_page.evaluate(FIRST, entry["query"])
    assert {entry["page"], entry.get("or")} & set(found), found


def test_the_index_of_the_whole_site_is_light(demo_site):
    assert len(list((demo_site / "mill").rglob("*.html"))) >= 300
    index = (demo_site / "mill/assets/search-index.js").read_bytes()
    assert len(gzip.compress(index, 9, mtime=0)) < 200_000


def test_search_answers_from_a_server_as_from_a_file(browser, demo_site):
    handler = functools.partial(http.server.SimpleHTTPRequestHandler, directory=demo_site / "mill")
    handler.log_message = lambda *_: None
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{server.server_port}/handbook/safety.html")
        page.get_by_role("searchbox").fill("honeycomb")
        page.locator(".search-box .hit a").first.click()
        page.wait_for_load_state()
        assert "honeycomb" in page.locator("main").inner_text().lower()
        page.close()
        server.shutdown()
