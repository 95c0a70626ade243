"""The customer's page in a browser, served with the guide's headers: all of it works."""

import pytest
from playwright.sync_api import expect
from tests.site.server import serving

from kilnfolio.site.serving import HEADERS, compare

#: Collects what the policy refused, from before the page's first byte is read.
WATCH = """window.refused = [];
document.addEventListener("securitypolicyviolation",
  (event) => window.refused.push(event.violatedDirective + " " + event.blockedURI));"""


@pytest.fixture
def page(browser):
    context = browser.new_context()
    opened = context.new_page()
    opened.add_init_script(WATCH)
    yield opened
    context.close()


def test_a_lots_page_works_under_its_headers(built, page):
    seal = built.ledger.of_lot("L1")[-1].seal
    said = []
    page.on("console", lambda message: said.append((message.location["url"], message.text)))
    asked = []
    page.on("request", lambda request: asked.append(request))
    with serving(built.site / "customer") as address:
        page.goto(f"{address}/{built.token}/#{seal}")
        page.wait_for_function("document.fonts.status === 'loaded'")
        expect(page.locator("#seal-check .outcome")).to_have_text(
            "matches the label", use_inner_text=True
        )
        assert page.evaluate("document.fonts.check('1em Literata')")
        assert (
            page.evaluate("getComputedStyle(document.querySelector('.skip')).position")
            == "absolute"
        )
        expect(page.locator("figure.chart svg")).to_have_count(1)
        assert page.evaluate("window.refused") == []
        page.click("text=as data")
        page.wait_for_load_state()
        assert "L1" in page.content()
    # no Referer is sent, and no other server was contacted
    assert not any(request.headers.get("referer") for request in asked)
    assert {request.url.split("/")[2] for request in asked} == {address.split("/")[2]}
    # a browser asks for an icon by itself
    assert [text for url, text in said if not url.endswith("/favicon.ico")] == []


def test_the_policy_blocks_code_injected_into_the_page(built, page):
    def written(_, answer):
        status, headers, body = answer
        evil = b"<script>document.title = 'changed'</script><img src='https://elsewhere.example/a'>"
        return status, headers, body.replace(b"</main>", evil + b"</main>")

    with serving(built.site / "customer", written) as address:
        page.goto(f"{address}/{built.token}/")
        assert page.title() != "changed"
        refused = " ".join(page.evaluate("window.refused"))
    assert "script-src-elem inline" in refused
    assert "img-src https://elsewhere.example/a" in refused


def test_the_server_serves_the_edition_as_built(built):
    with serving(built.site / "customer") as address:
        found = compare(address, built.site / "customer")
    assert found.files > 10
    assert found.differences == ()


def test_the_policy_allows_nothing_by_default():
    policy = dict(part.split(" ", 1) for part in HEADERS["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert "unsafe" not in HEADERS["Content-Security-Policy"]
    assert set(policy.values()) == {"'none'", "'self'"}
