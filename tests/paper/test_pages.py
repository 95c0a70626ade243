"""Where the pages of every PDF of the demonstration end: the rules that bookmakers keep.

Common practice, no source: no heading stands alone at the foot of a page, no problem or working is
cut in two, no page that has text is nearly empty.
"""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from tests.pdf_reading import Piece, pieces, reaches, read_pages

from kilnfolio.paper.printing import pdf_of

#: The text of a page ends at least so far down: a fifth of its height holds some eight lines.
LEAST = 0.2


@pytest.fixture(scope="module")
def printed(demo_site: Path) -> dict[Path, list[Piece]]:
    """The text of each PDF in its order, those of an edition once."""
    paths = [path for path in sorted(demo_site.rglob("*.pdf")) if ".staging" not in path.parts]
    assert {"handbook.pdf", "handbook-a5.pdf", "practice.pdf", "practice-key.pdf"} <= {
        path.name for path in paths
    }
    assert {path.relative_to(demo_site).parts[0] for path in paths} == {
        "mill",
        "customer",
        "auditor",
    }
    return {path: pieces(path) for path in paths}


def headings_alone(found: list[Piece]) -> list[int]:
    """Return the pages that end with a heading."""
    return [
        one.page
        for one, after in pairwise(found)
        if one.in_heading and not after.in_heading and after.page != one.page
    ]


def test_no_heading_stands_alone_at_the_foot_of_a_page(printed):
    assert sum(one.in_heading for found in printed.values() for one in found) > 300
    alone = {path.name: headings_alone(found) for path, found in printed.items()}
    assert {name: pages for name, pages in alone.items() if pages} == {}


def test_no_page_is_nearly_empty(printed):
    empty = {
        (path.name, page): round(reach, 2)
        for path, found in printed.items()
        for page, reach in reaches(path, found).items()
        if reach < LEAST
    }
    assert empty == {}


def test_a_page_without_text_is_the_back_of_one_that_opens_the_book_or_a_part(printed):
    for path, found in printed.items():
        pages = read_pages(path)
        for number in set(range(1, len(pages) + 1)) - {one.page for one in found}:
            assert number % 2 == 0, path
            assert number == 2 or re.match(r"\s*(Part [IVX]+|Contents)", pages[number].text), (
                path,
                number,
            )


def test_a_problem_stands_on_one_page_with_its_hint(demo_site):
    """Each problem of the book names the page of its answer, as its last words."""
    pages = read_pages(demo_site / "mill/handbook.pdf")
    asked = [len(re.findall(r"(?m)^Problem \d+\.\d+\s*$", page.text)) for page in pages]
    ended = [len(re.findall(r"Answer\s+on\s+page", page.text)) for page in pages]
    assert sum(ended) >= 30
    last = max(number for number, count in enumerate(ended) if count) + 1
    assert asked[:last] == ended[:last]


def test_faults_are_told(tmp_path):
    """A document of pages that are nearly empty, the second of them with nothing but a heading."""
    page = (
        '<html lang="en"><head><title>x</title><style>@page { size: A5 } h1 { break-before: page; '
        "break-after: auto !important; margin-top: 16cm }</style></head><body><p>a</p><h1>b</h1>"
        '<p style="break-before: page">c</p></body></html>'
    )
    path = tmp_path / "x.pdf"
    path.write_bytes(pdf_of(page, "record.css")[0])
    found = pieces(path)
    assert headings_alone(found) == [2]
    assert [number for number, reach in reaches(path, found).items() if reach < LEAST] == [1, 2, 3]
