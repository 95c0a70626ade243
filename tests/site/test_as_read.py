"""Small promises to readers, kept on every page of the demonstration: cautions, formulas, names, status."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest
from tests.conftest import some_of

#: Charges, lots and packs of the demonstration, as a careless template would write them.
LOWERED = re.compile(r"\b(?:hb|hbl|Hb|Hbl)-\d\d-\d{3}\b")
#: The name of a value given twice: ``RH = RH = 100 × …``.
TWICE = re.compile(r"(\S+) = \1 = ")


def words(html: str) -> str:
    """Return the visible words of a page; quicker than a reader of HTML, for hundreds of pages."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", html)).split())


@pytest.fixture(scope="module")
def pages(demo_site) -> dict[Path, str]:
    """Every chapter, kiln and lot, and some of all other pages, as HTML without scripts and data."""
    mill = demo_site / "mill"
    paths = {*mill.glob("handbook/*.html"), *mill.glob("kilns/*.html"), *mill.glob("lots/*.html")}
    paths |= {*some_of(sorted(demo_site.rglob("*.html")), 150)}
    paths |= {*some_of(sorted(mill.glob("species/*.html")), 20)}
    hidden = r"<(script|style)\b.*?</\1>"
    return {
        path: re.sub(hidden, " ", path.read_text("utf-8"), flags=re.DOTALL)
        for path in sorted(paths)
    }


def test_a_chapter_names_its_hazards_in_one_line_that_opens(pages, demo_site):
    chapters = {
        path: re.findall(r"<(\w+) class=\"caution cautions\"([^>]*)>", html)
        for path, html in pages.items()
        if path.parent == demo_site / "mill/handbook"
    }
    lines = {path: found for path, found in chapters.items() if found}
    assert len(lines) > 20
    for path, found in lines.items():
        ((tag, attributes),) = found
        assert tag == ("section" if path.name == "safety.html" else "details"), path
        assert not re.search(r"\bopen\b", attributes), path
        if tag == "details":
            summary = re.search(r"caution cautions\">\s*<summary[^>]*>([^<]+)<", pages[path])
            assert summary, path
            assert summary[1].strip(), path


def test_the_full_box_stands_where_the_hazard_is_met(pages, demo_site):
    boxes = r'<div class="(?:admonition )?caution">\s*<p class="admonition-title">'
    where = ["handbook/running-a-charge.html", "handbook/kiln-and-air.html", "kilns/kiln-1.html"]
    where += ["handbook/sampling.html", "handbook/equalizing-and-conditioning.html"]
    for path in where:
        html = pages[demo_site / "mill" / path]
        assert re.search(boxes, html), path
        # it stands open in the text, not in a fold
        before = html[: re.search(boxes, html).start()]
        assert before.count("<details") == before.count("</details>"), path


def test_a_formula_is_printed_once(pages):
    workings = 0
    for path, html in pages.items():
        said = words(html)
        workings += "RH = 100 ×" in said
        assert not TWICE.search(said), (path, TWICE.search(said))
    assert TWICE.search("RH = RH = 100 × e ÷ es")
    assert workings > 3


def test_identifiers_keep_their_case(pages):
    named = 0
    for path, html in pages.items():
        said = words(html)
        named += bool(re.search(r"\bHBL?-\d\d-\d{3}\b", said))
        assert not LOWERED.search(said), (path, LOWERED.search(said))
    assert LOWERED.search("Charge hb-26-040")
    assert named > 20


def test_a_status_that_all_rows_share_is_said_once_with_the_way_to_sign_it_off(pages):
    said = 0
    for path, html in pages.items():
        for found in re.finditer(r"<table class=\"[^\"]*\bfacts\b.*?</table>", html, re.DOTALL):
            rows = re.findall(r"<tr>.*?</tr>", found[0], re.DOTALL)[1:]
            marked = [row for row in rows if "from memory, unconfirmed" in row]
            if len(rows) > 2:
                assert len(marked) < len(rows), path
            follows = words(html[found.end() : found.end() + 900])
            if re.match(r"\s*All values in this table: from memory", follows):
                assert "signed_off:" in follows, path
                said += 1
    assert said > 5
