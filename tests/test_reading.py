"""What readers ask: the page that answers is within the clicks stated, and says so."""

import re
from collections import Counter
from functools import cache
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
import yaml
from tests.conftest import PROJECT
from tests.site_reading import Reading, read_page

from kilnfolio.archive.tokens import lot_token, read_token_key

QUESTIONS = yaml.load(
    (PROJECT / "tests/data/reader-questions.yaml").read_text("utf-8"), yaml.CSafeLoader
)
#: More links than this nobody follows.
MOST = 3
#: The lot a customer asks about; its readings meet the order.
LOT = "HBL-26-008"


@cache
def read(path: Path) -> Reading:
    return read_page(path)


def places(site: Path, text: str) -> Path:
    token = lot_token(LOT, read_token_key(PROJECT, invented=True))
    return (site / text.format(lot=token)).resolve()


def clicks(start: Path, wanted: Path) -> int | None:
    """Return the fewest links that lead from one page to another; None past the most."""
    seen, ring = {start}, [start]
    for count in range(MOST + 1):
        if wanted in seen:
            return count
        ring = list({target for one in ring for target in linked(one)} - seen)
        seen.update(ring)
    return None


@cache
def linked(page: Path) -> frozenset[Path]:
    found = set()
    for link in read(page).links:
        parts = urlsplit(link)
        if parts.path and not parts.scheme and not parts.netloc:
            target = (page.parent / unquote(parts.path)).resolve()
            if target.suffix == ".html" and target.is_file():
                found.add(target)
    return frozenset(found)


def followed(start: Path, words: list[str]) -> set[Path]:
    """Return where the links with these words lead, one after another.

    Two links may bear the same words, as the chapter on schedules and the schedules do.
    """
    here = {start}
    for said in words:
        here = {
            (page.parent / unquote(urlsplit(address).path)).resolve()
            for page in here
            for found, address in read(page).named
            if found == said
        }
        assert 1 <= len(here) <= 2, f"“{said}” leads to {len(here)} pages"
    return here


def test_each_reader_asks_and_nobody_walks_far():
    asked = Counter(question["who"] for question in QUESTIONS)
    assert set(asked) == {"supervisor", "customer", "auditor"}
    assert sum(asked.values()) >= 10
    assert min(asked.values()) >= 3
    assert max(question["clicks"] for question in QUESTIONS) <= MOST
    assert all(len(question["by"]) == question["clicks"] for question in QUESTIONS)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question["asks"])
def test_the_answer_is_as_near_as_stated_and_stands_there(demo_site, question):
    start, page = places(demo_site, question["opens"]), places(demo_site, question["page"])
    assert clicks(start, page) == question["clicks"]
    assert page in followed(start, question["by"])
    text = " ".join(read(page).text.replace(" ;", ";").split()).replace(" .", ".")
    says = re.escape(question["says"]).replace(re.escape("{seal}"), r"(?:[0-9a-f]{4} ?){4}")
    assert re.search(says, text)


def test_a_page_no_link_leads_to_is_told(tmp_path):
    for name, html in (("a.html", "<a href='b.html'>b</a>"), ("b.html", ""), ("c.html", "")):
        (tmp_path / name).write_text(html)
    assert clicks(tmp_path / "a.html", tmp_path / "b.html") == 1
    assert clicks(tmp_path / "a.html", tmp_path / "c.html") is None
