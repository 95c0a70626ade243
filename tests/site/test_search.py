"""The search index: what can be found, and that the file is a harmless script."""

import json

import pytest
from tests.site.site import shared_mill

from kilnfolio.rendering.page import Page
from kilnfolio.site.search import INDEX_PATH, entries_of, search_index


@pytest.fixture(scope="module")
def mill():
    return shared_mill(library=True)


@pytest.fixture(scope="module")
def index(mill):
    script = (mill.site / "mill" / INDEX_PATH).read_text("utf-8")
    name, _, text = script.partition("=")
    assert name == "window.KILNFOLIO_SEARCH"
    return json.loads(text.rstrip().rstrip(";"))


def test_every_kind_can_be_found_here_or_in_the_registers(index):
    assert {entry[1] for entry in index["entries"]} == set(index["headings"]) - {"charge", "lot"}


def test_chapters_are_found_by_section(index):
    sections = {entry[2]: entry for entry in index["entries"] if entry[1] == "chapter"}
    honeycomb = sections["handbook/defect-atlas.html#honeycomb"]
    assert (honeycomb[0], honeycomb[3]) == ("Honeycomb", "Defect atlas")
    assert "Permanent link" not in honeycomb[5]
    assert "¶" not in honeycomb[0] + honeycomb[5]


def test_each_term_of_the_glossary_is_found_with_its_other_names(mill, index):
    found = {entry[2]: entry for entry in index["entries"] if entry[1] == "term"}
    for term in mill.manuscript.terms.values():
        entry = found[f"handbook/glossary.html#{term.anchor}"]
        assert entry[0] == term.term
        if term.also:
            assert entry[4] == ", ".join(term.also)


def test_synonyms_find_our_terms(index):
    assert "sticker" in index["synonyms"]["fillet"]
    assert "timber" in index["synonyms"]["lumber"]
    assert "northern red oak" in index["synonyms"]["roteiche"]


def test_pages_without_words_are_not_found():
    assert not list(entries_of(Page("x.html", "<main>secret</main>", "Lot", "lot record", "")))


def test_the_file_cannot_end_a_script():
    page = Page("x.html", "", "T", "species", "</script><script>alert(1)</script>")
    assert "</script" not in search_index([page])
