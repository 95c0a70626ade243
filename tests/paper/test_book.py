"""The handbook as PDF: made from the real chapters, read back by an independent library."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest
from tests.conftest import is_printed
from tests.handbook.chapters import DRAWING, handbook
from tests.pdf_reading import read_pages
from tests.reviewed import demo_mill

from kilnfolio.charts import paper
from kilnfolio.handbook.chapter import read_manuscript
from kilnfolio.handbook.compiled import compile_handbook
from kilnfolio.paper import book, printing
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.rendering.templating import environment

PROJECT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def mill() -> MillFolder:
    """Return the demonstration mill."""
    return demo_mill()


@pytest.fixture(scope="module")
def pdf(demo_site: Path) -> pypdf.PdfReader:
    """Return the demonstration mill's handbook, as its site was built."""
    return pypdf.PdfReader(demo_site / "mill/handbook.pdf")


def print_book(folder: MillFolder, out: Path) -> list[str]:
    """Make a book of a folder's chapters; return WeasyPrint's warnings."""
    env = environment(folder.mill.record)
    return book.write_book(book.book_html(compile_handbook(folder, "book"), env), out)


@pytest.fixture(scope="module")
def texts(demo_site: Path) -> list[str]:
    """Return the words of every page."""
    pages = read_pages(demo_site / "mill/handbook.pdf")
    return [re.sub(r"\s+", " ", page.text) for page in pages]


@pytest.fixture(scope="module")
def outline(pdf: pypdf.PdfReader) -> list[tuple[str, int]]:
    """Return the chapters among the bookmarks, each with the number of the page it opens."""
    return [
        (item.title, pdf.get_destination_page_number(item) + 1)
        for item in pdf.outline
        if not isinstance(item, list)
    ]


def test_every_chapter_is_computed_and_every_link_has_a_target(mill):
    contents = compile_handbook(mill, "site")
    assert not contents.problems, "\n".join(map(str, contents.problems))
    numbers = [chapter.record.number for chapter in contents.manuscript.chapters]
    assert numbers == [*range(1, len(numbers)), None]  # the glossary has none
    assert len(numbers) > 16
    assert sum(len(body.answers) for body in contents.bodies.values()) >= 12


def test_every_chapter_is_in_the_book_once_and_in_order(mill, outline):
    every = read_manuscript(mill.root)[0].chapters
    parts = [chapter.record.part for chapter in every if chapter.record.part]
    assert len(parts) == len(set(parts)) >= 5
    printed = [chapter.record for chapter in every if is_printed(chapter)]
    parts = [record.part for record in printed if record.part]
    chapters = [record.title for record in printed if record.number]
    assert len(parts) > 1
    last = ["Answers to the problems", "Glossary", "Sources", "Index"]
    titles = [title for title, _ in outline]
    assert titles[:3] == ["Contents", "Tables", "Figures"]
    assert [title for title in titles[3:] if title not in parts] == [*chapters, *last]
    assert [title for title in titles if title in parts] == parts
    numbers = [page for _, page in outline]
    assert numbers == sorted(numbers)


def pages_between(outline: list[tuple[str, int]], texts: list[str], first: str, then: str) -> str:
    """Return the words from one bookmark to another."""
    begins = dict(outline)
    return " ".join(texts[begins[first] - 1 : begins[then] - 1])


def test_the_contents_give_the_page_on_which_each_chapter_begins(outline, texts):
    contents = pages_between(outline, texts, "Contents", "Tables")
    for title, page in outline[3:]:
        # a section of another chapter may have the same title
        printed = re.findall(r"(?:\. |^|\d )" + re.escape(title) + r"[ .]* (\d+)", contents)
        assert str(page) in printed, title


def test_the_lists_give_every_table_and_figure_the_page_it_is_on(mill, pdf, outline, texts):
    lists = pages_between(outline, texts, "Tables", outline[3][0])
    contents = compile_handbook(mill, "book")
    listed = [
        one
        for chapter in contents.manuscript.chapters
        if is_printed(chapter)
        for one in contents.bodies[chapter.slug].listed
    ]
    assert {one.kind for one in listed} == {"table", "figure"}
    for one in listed:
        printed = re.search(
            re.escape(f"{one.number} {one.title}") + r"[ .]* (\d+)", lists.replace("\xa0", " ")
        )
        page = int(printed[1]) if printed else pytest.fail(f"{one} is not listed")
        target = pdf.named_destinations[one.anchor]
        assert pdf.get_destination_page_number(target) + 1 == page, one
        assert f"{one.kind.title()} {one.number}." in texts[page - 1], one


@pytest.fixture(scope="module")
def index_entries(texts: list[str], outline: list[tuple[str, int]]) -> dict[str, list[range]]:
    """Return the pages of some terms of the printed index."""
    text, found = " ".join(texts[dict(outline)["Index"] - 1 :]), {}
    for term in ("equalizing", "conditioning", "hysteresis", "bolsters", "heat treatment"):
        printed = re.search(rf"(?<!reverse ){term}((?:, \d+(?:–\d+)?)+)", text)
        assert printed, term
        runs = [run.split("–") for run in re.findall(r"[\d–]+", printed[1])]
        found[term] = [range(int(run[0]), int(run[-1]) + 1) for run in runs]
    return found


def test_the_index_leads_to_pages_that_use_the_term(texts, index_entries):
    for term, runs in index_entries.items():
        for page in (page for run in runs for page in run):
            said = re.sub(r"\u2010\s*", "", texts[page - 1].casefold())
            assert re.sub("s$", "", term) in said, (term, page)


def test_consecutive_pages_in_the_index_are_printed_as_a_range(index_entries):
    assert max(len(run) for run in index_entries["conditioning"]) > 3
    for runs in index_entries.values():
        ends = [run[-1] for run in runs]
        assert all(run[0] > end + 1 for end, run in zip(ends, runs[1:], strict=False))


def test_runs_of_pages():
    pages = {9: (False, "i"), 3: (False, "c"), 4: (False, "d"), 5: (True, "e"), 7: (True, "g")}
    runs = [(str(run), run.main, run.anchor) for run in book.page_runs(pages)]
    assert runs == [("3–4", False, "c"), ("5", True, "e"), ("7", True, "g"), ("9", False, "i")]


def test_pages_of_the_index_have_their_own_numbers_and_heads(texts, outline):
    opening = dict(outline)["Index"] - 1  # this page has its title as its head
    for number in range(opening, len(texts)):
        assert re.search(rf"(^|\D){number + 1}(\D|$)", texts[number]), number
        head = "Drying handbook" if number % 2 else "Index"
        assert number == opening or head in texts[number]


def test_a_wide_table_is_turned_and_its_head_is_repeated(pdf, texts):
    turned = [n for n, page in enumerate(pdf.pages) if page.mediabox.width > page.mediabox.height]
    assert turned
    assert all("Species Scientific name Kind" in texts[number] for number in turned)
    assert "What the sheets hold" in texts[turned[0]]  # the heading stays with its table


def test_the_book_has_every_chapter_and_not_too_many_pages(texts):
    text = " ".join(texts)
    printed = [*filter(is_printed, read_manuscript(PROJECT)[0].chapters)]
    assert len(printed) >= 8
    for chapter in printed:
        assert chapter.record.title in text
    assert 8 * len(printed) < len(texts) < 300


def test_every_page_has_the_safety_wording_and_says_it_is_invented(texts):
    wording = re.sub(r"\s+", " ", SAFETY)
    without = [
        number + 1 for number, text in enumerate(texts) if wording not in text and text.strip()
    ]
    assert not without
    assert "Demonstration" in texts[10]


def test_answers_are_at_the_back_and_not_beside_the_question(texts):
    asked = next(
        number for number, text in enumerate(texts) if "A joiner brings back an offcut" in text
    )
    answered = next(number for number, text in enumerate(texts) if "That lies inside 15" in text)
    assert answered > asked + 20
    # 253 g wet over 218 g dry, by hand.
    assert "16.1" in texts[answered]


def test_metadata_name_the_book(pdf):
    assert pdf.metadata.title == "Drying handbook, Heron Bend Hardwoods"
    assert pdf.metadata.author == "Heron Bend Hardwoods"
    assert SAFETY in pdf.metadata.subject


def test_only_bundled_fonts_are_embedded(pdf):
    fonts = set()
    for page in pdf.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            fonts.add(font.get_object()["/BaseFont"].partition("+")[2])
    assert fonts
    assert {name for name in fonts if not name.startswith(("Literata", "Folio"))} == set()


def test_text_in_drawings_stays_text(texts):
    assert any("fibre saturation" in text and "cavity: free water" in text for text in texts)


def test_nothing_runs_off_the_page(demo_site):
    pages = read_pages(demo_site / "mill/handbook.pdf")
    assert not {number: page.outside for number, page in enumerate(pages, 1) if page.outside}


# --- what WeasyPrint may read and say ------------------------------------------------------


@pytest.mark.parametrize(
    "address",
    [
        "file:///etc/passwd",
        "https://example.org/x.css",
        "http://127.0.0.1/",
        "data:text/css,p{}",
        printing.ASSETS.as_uri() + "/../safety.py",
        printing.ASSETS.as_uri() + "/%2e%2e/safety.py",
        "//host/share/x.css",
        "ftp://example.org/x",
    ],
)
def test_only_the_assets_are_read(address):
    with pytest.raises(printing.RefusedAddressError):
        printing.AssetsOnly().fetch(address)


def test_an_asset_can_be_read():
    assert printing.AssetsOnly().fetch(printing.ASSETS.as_uri() + "/tokens.css")


def test_a_document_that_asks_for_another_file_is_reported(tmp_path):
    secret = tmp_path / "secret.css"
    secret.write_text("p { color: red }")
    _, warnings = printing.pdf_of(f'<link rel="stylesheet" href="{secret.as_uri()}"><p>x')
    assert any("secret.css" in warning for warning in warnings)


def test_warnings_of_weasyprint_are_returned(tmp_path):
    handbook(tmp_path, "Text.\n")
    folder = checked_mill(tmp_path)
    html = book.book_html(compile_handbook(folder, "book"), environment(folder.mill.record))
    html = html.replace("<p>Text.", '<p style="colour: red">Text.')
    warnings = book.write_book(html, tmp_path / "x.pdf")
    assert any("colour" in warning for warning in warnings)


def test_the_same_chapters_give_the_same_bytes_in_another_process(tmp_path, monkeypatch):
    handbook(
        tmp_path,
        "## A {#a}\n\nText {index: x} {cite: wood-handbook}.\n\n::: figure\nname: f\n"
        "caption: c\nalt: d\n:::\n\n::: chart\nkind: emc\ncaption: c\nalt: d\n:::\n",
        **{"figures/f.svg": DRAWING},
    )
    ours, theirs = tmp_path / "ours.pdf", tmp_path / "theirs.pdf"
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1768200000")
    assert not print_book(checked_mill(tmp_path), ours)
    script = (
        "import sys; from pathlib import Path; from tests.paper.test_book import print_book;"
        "from kilnfolio.records.checking import checked_mill;"
        "assert not print_book(checked_mill(Path(sys.argv[1])), Path(sys.argv[2]))"
    )
    # Python orders sets by a seed, which is not ours there
    seed = "1" if os.environ.get("PYTHONHASHSEED") != "1" else "99"
    path = f"{PROJECT / 'builder'}:{PROJECT}"
    subprocess.run(
        [sys.executable, "-c", script, str(tmp_path), str(theirs)],
        env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": path},
        check=True,
        cwd=tmp_path,
    )
    assert ours.read_bytes() == theirs.read_bytes()
    assert pypdf.PdfReader(ours).metadata.creation_date.year == 2026


def test_a_drawing_on_paper_has_its_colours_written_in():
    html = paper.for_paper('<p><svg viewBox="0 0 1 1"><path class="ink"/></svg></p>')
    assert re.search(r"<svg[^>]*><style>.*\.ink\{stroke: #[0-9a-f]{6}", html)
    assert "var(" not in html


def test_a_drawing_on_paper_carries_only_the_rules_it_uses():
    inner = '<svg><g class="board-1"/></svg>'
    html = paper.for_paper(f'<svg class="a"><text class="label">x</text>{inner}</svg><svg></svg>')
    outer, other = re.findall("<style>(.*?)</style>", html)
    assert ".label{" in outer
    assert ".board-1{" in outer
    assert ".board-2{" not in outer
    assert "." not in re.sub(r"\{.*?\}", "", other)
