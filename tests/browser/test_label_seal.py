"""The customer's page compares itself with the label, in a real Chromium, from file:// and http://."""

import functools
import http.server
import re
import shutil
import threading
from pathlib import Path

import pytest
from playwright.sync_api import expect
from tests.conftest import PROJECT
from tests.rows import each_of
from tests.trust.conftest import built  # noqa: F401  the fixture

from kilnfolio.archive.canonical import sha256
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.entries import LotEntry
from kilnfolio.archive.tokens import lot_token, read_token_key

#: FIPS 180-4 examples and NIST's SHA-256 short message vectors (from memory), and the length
#: at which padding takes another block.
VECTORS = {
    "": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    "a" * 1_000_000: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
}


@pytest.fixture
def site(built, tmp_path) -> Path:  # noqa: F811
    """Return a copy of the lot's page with what it needs."""
    shutil.copytree(built.site / "customer/assets", tmp_path / "assets")
    shutil.copytree(built.lot, tmp_path / "lot")
    return tmp_path


@pytest.fixture
def served(site):
    handler = functools.partial(http.server.SimpleHTTPRequestHandler, directory=str(site))
    handler.log_message = lambda *_: None
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/lot/index.html"
    server.shutdown()
    server.server_close()


def said(page, address: str, fragment: str = "") -> str:
    page.goto("about:blank")
    page.goto(address + ("#" + fragment if fragment else ""))
    return page.locator("#seal-check .outcome").inner_text().strip().lower()


def address(site) -> str:
    return (site / "lot/index.html").as_uri()


def seals(built) -> tuple[str, str]:  # noqa: F811
    first, last = built.ledger.of_lot("L1")
    return first.seal, last.seal


def test_the_pages_own_digest_gives_the_published_values(page, site):
    page.goto(address(site))
    digests = {text: page.evaluate("kilnfolioLabel.sha256", text) for text in VECTORS}
    assert digests == VECTORS


def test_padding_agrees_with_the_browsers_own_digest(page, served):
    page.goto(served)  # SubtleCrypto is available on 127.0.0.1
    agrees = """async length => {
        const text = "é".repeat(length >> 1) + "x".repeat(length & 1);
        const bytes = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(text));
        const hex = [...new Uint8Array(bytes)].map(b => b.toString(16).padStart(2, "0")).join("");
        return hex === kilnfolioLabel.sha256(text);
    }"""
    for length in (55, 56, 57, 63, 64, 65, 119, 120):
        assert page.evaluate(agrees, length), f"{length} bytes"


def test_the_label_matches_from_a_file_and_from_a_server(page, site, served, built):  # noqa: F811
    for where in (address(site), served):
        assert said(page, where, seals(built)[1]) == "matches the label"


def test_an_older_label_is_reported_as_amended_since(page, site, built):  # noqa: F811
    assert said(page, address(site), seals(built)[0]) == "amended after this label was printed"


def test_another_seal_does_not_match(page, site, built):  # noqa: F811
    last = seals(built)[1]
    other = ("0" if last[0] != "0" else "1") + last[1:]
    assert said(page, address(site), other) == "does not match the label"
    expect(page.locator("h1:visible")).to_have_text(
        "This page does not match its label", use_inner_text=True
    )
    expect(page.locator("#verdict-void")).to_contain_text(
        "Do not rely on this page", use_inner_text=True
    )
    expect(page.locator('[data-record="statement"]')).to_be_hidden()  # it is the verdict in words


@each_of(["main", "x" * 32, "0" * 16, "0" * 64, "readings", ""])
def test_a_fragment_that_is_not_a_seal_is_not_a_mismatch(fragment, page, site):
    assert said(page, address(site), fragment) == "not checked against its label"


def test_a_label_carries_128_bits(built):  # noqa: F811
    assert {len(seal) for seal in seals(built)} == {32}


#: A change of each fact on the page, as somebody who serves it could make.
FORGERIES = {
    "species": (r'(data-record="species"[^>]*>)[^<]+', r"\g<1>Teak (Tectona grandis)"),
    "product": (r'(data-record="product"[^>]*>)[^<]+', r"\g<1>Oak flooring"),
    "size": (r'(data-record="shown.size">)[^<]+', r"\g<1>50 mm thick"),
    "packs": (r'(data-record="packs.0.number"[^>]*>)[^<]+', r"\g<1>P7"),
    "a pack put in": (
        r'(<tbody>\s*)(?=<tr><th scope="row" data-record="packs)',
        r"\g<1><tr><th>P8</th><td>9</td><td>1 m³</td></tr>",
    ),
    "measured": (r'(data-record="shown.measured">)[^<]+', r"\g<1>1 January 2027"),
    "issued": (r'(data-record="shown.issued">)[^<]+', r"\g<1>Version 9, issued 1 January 2027"),
    "order": (r'(data-record="ordered">)[^<]+', r"\g<1>any board at all"),
    "a claim put in": (
        r'(<dl class="lot-facts">)',
        r"\g<1><div><dt>Certificate claim</dt><dd>FSC 100%</dd></div>",
    ),
    "a claim put in as a heading": (r'(<section class="lot-hero[^>]*>)', r"\g<1><p>FSC 100%</p>"),
    "a fact taken out": (r'<dd data-record="ordered">.*?</dd>', r"<dd></dd>"),
    "verdict": (r'(id="verdict-words"[^>]*>).*?</h1>', r"\g<1>graded A</h1>"),
}


@each_of(FORGERIES)
def test_every_fact_the_page_shows_is_checked(what, page, site, built):  # noqa: F811
    path = site / "lot/index.html"
    whole = (built.lot / "index.html").read_text("utf-8")
    forged, count = re.subn(*FORGERIES[what], whole, count=1, flags=re.DOTALL)
    assert count == 1
    path.write_text(forged, "utf-8")
    assert said(page, address(site), seals(built)[1]) == "does not match the label"
    expect(page.locator("h1:visible")).to_have_text(
        "This page does not match its label", use_inner_text=True
    )


def test_without_a_label_nothing_is_claimed(page, site):
    assert said(page, address(site)) == "not checked against its label"
    assert said(page, address(site), "main") == "not checked against its label"


def test_a_jump_within_the_page_does_not_forget_the_label(page, site, built):  # noqa: F811
    said(page, address(site), seals(built)[1])
    page.evaluate("location.hash = '#main'")
    page.wait_for_timeout(100)
    expect(page.locator("#seal-check .outcome")).to_have_text(
        "matches the label", use_inner_text=True
    )
    expect(page.locator("#seal-top")).to_have_text("matches the label", use_inner_text=True)


def test_any_byte_of_the_served_record_flipped_does_not_match(page, site, built):  # noqa: F811
    path = site / "lot/index.html"
    whole = path.read_bytes()
    start = whole.index(b'<pre id="lot-record" hidden>') + len(b'<pre id="lot-record" hidden>')
    end = whole.index(b"</pre>", start)
    for place in range(start, end, max(1, (end - start) // 12)):
        flipped = bytearray(whole)
        flipped[place] ^= 0x01
        path.write_bytes(bytes(flipped))
        assert said(page, address(site), seals(built)[1]) == "does not match the label", place


def test_a_page_that_differs_from_its_record_does_not_match(page, site, built):  # noqa: F811
    path = site / "lot/index.html"
    text = path.read_text("utf-8")
    shown = re.search(r'data-record="mean">([^<]+)<', text)
    path.write_text(text.replace(shown[0], shown[0].replace(shown[1], "8.0 %"), 1), "utf-8")
    assert said(page, address(site), seals(built)[1]) == "does not match the label"


def test_without_script_the_digits_and_words_are_there_to_compare(browser, site, built):  # noqa: F811
    from kilnfolio.rendering.seal_words import words_of

    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address(site))
    text = page.locator("main").inner_text()
    assert " ".join(words_of(seals(built)[1])) in text
    assert "Compare the words or the digits" in text
    expect(page.locator("#lot-record")).to_be_hidden()
    context.close()


def test_the_demonstrations_amended_lot_agrees_with_its_labels(page, demo_site):
    """The committed ledger, the page and the label's fragment agree."""
    [lot] = [
        lot
        for lot in {
            entry.lot for entry in read_ledger(PROJECT).entries if isinstance(entry, LotEntry)
        }
        if len(read_ledger(PROJECT).of_lot(lot)) > 1
    ]
    first, last = read_ledger(PROJECT).of_lot(lot)
    token = lot_token(lot, read_token_key(PROJECT, invented=True))
    where = (demo_site / "customer" / token / "index.html").as_uri()
    assert said(page, where, last.seal) == "matches the label"
    expect(page.locator("#seal-check")).to_contain_text(
        "demonstration key, which proves nothing", use_inner_text=True
    )
    assert said(page, where, first.seal) == "amended after this label was printed"
    assert said(page, where, "0" * 32) == "does not match the label"
    served = demo_site / "customer" / token / "record.json"
    assert sha256(served.read_bytes()) == last.record
