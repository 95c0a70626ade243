"""The handbook as PDF: set from the real chapters, read back by an independent library."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest
from tests.minimal import minimal_mill
from tests.publish.chapters import DRAWING, handbook

from kilnfolio.publish import book
from kilnfolio.publish.charts import paper
from kilnfolio.publish.handbook.chapter import read_manuscript
from kilnfolio.publish.handbook.pages import compile_handbook
from kilnfolio.publish.safety import SAFETY
from kilnfolio.records.folder import MillFolder, read_mill_folder

PROJECT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def mill(tmp_path_factory: pytest.TempPathFactory) -> MillFolder:
    """Return the minimal mill with the project's chapters and library."""
    root = minimal_mill(tmp_path_factory.mktemp("mill"))
    for name in ("content/handbook", "schedules"):
        shutil.copytree(PROJECT / name, root / name, dirs_exist_ok=True)
    return read_mill_folder(root)


@pytest.fixture(scope="module")
def pdf(mill: MillFolder, tmp_path_factory: pytest.TempPathFactory) -> pypdf.PdfReader:
    """Return the whole handbook, set once."""
    path = tmp_path_factory.mktemp("book") / "handbook.pdf"
    assert book.write_book(mill, path, strict=True) == []
    return pypdf.PdfReader(path)


@pytest.fixture(scope="module")
def pages(pdf: pypdf.PdfReader) -> list[tuple[str, list[str]]]:
    """Return every page's words, and those of them that begin outside the page."""
    read = []
    for page in pdf.pages:
        width, height = float(page.mediabox.width), float(page.mediabox.height)
        outside: list[str] = []

        def see(text, cm, tm, _font, _size, box=(width, height), outside=outside):
            across = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            up = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            if text.strip() and not (0 <= across <= box[0] and 0 <= up <= box[1]):
                outside.append(text)

        words = page.extract_text(visitor_text=see)
        read.append((re.sub(r"\s+", " ", words), outside))
    return read


@pytest.fixture(scope="module")
def texts(pages: list[tuple[str, list[str]]]) -> list[str]:
    """Return the words of every page."""
    return [words for words, _ in pages]


@pytest.fixture(scope="module")
def outline(pdf: pypdf.PdfReader) -> list[tuple[str, int]]:
    """Return the chapters among the bookmarks, each with the number of the page it opens."""
    return [
        (item.title, pdf.get_destination_page_number(item) + 1)
        for item in pdf.outline
        if not isinstance(item, list)
    ]


def test_every_chapter_computes_and_every_link_leads_somewhere(mill):
    contents = compile_handbook(mill, "site")
    assert not contents.problems, "\n".join(map(str, contents.problems))
    numbers = [chapter.record.number for chapter in contents.manuscript.chapters]
    assert numbers == [*range(1, 17), None]
    assert sum(len(body.answers) for body in contents.bodies.values()) >= 12


def test_every_chapter_stands_in_the_book_once_and_in_order(mill, outline):
    chapters = [
        chapter.record.title
        for chapter in read_manuscript(mill.root)[0].chapters
        if chapter.record.number
    ]
    last = ["Answers to the problems", "Glossary", "Sources", "Index"]
    assert [title for title, _ in outline] == ["Contents", *chapters, *last]
    numbers = [page for _, page in outline]
    assert numbers == sorted(numbers)


def test_the_contents_print_the_page_each_chapter_begins_on(outline, texts):
    contents = " ".join(texts[:8])
    for title, page in outline[1:]:
        printed = re.search(r"(?:\. |^|\d )" + re.escape(title) + r"[ .]* (\d+)", contents)
        assert printed, title
        assert int(printed[1]) == page


def test_the_index_leads_to_pages_that_treat_the_term(texts):
    index = " ".join(texts[-8:])
    found = re.search(r"hysteresis, (\d+)", index)
    assert found
    assert "hysteresis" in texts[int(found[1]) - 1].casefold()


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
    assert pdf.metadata.title == "Drying handbook, Minimal Mill"
    assert pdf.metadata.author == "Minimal Mill"
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


def test_nothing_runs_off_the_page(pages):
    outside = {number: words for number, (_, words) in enumerate(pages, 1) if words}
    assert not outside


# --- what WeasyPrint may read and say ------------------------------------------------------


@pytest.mark.parametrize(
    "address",
    [
        "file:///etc/passwd",
        "https://example.org/x.css",
        "http://127.0.0.1/",
        "data:text/css,p{}",
        book.ASSETS.as_uri() + "/../safety.py",
        book.ASSETS.as_uri() + "/%2e%2e/safety.py",
        "//host/share/x.css",
        "ftp://example.org/x",
    ],
)
def test_only_the_assets_are_read(address):
    with pytest.raises(book.RefusedAddressError):
        book.AssetsOnly().fetch(address)


def test_an_asset_is_read():
    assert book.AssetsOnly().fetch(book.ASSETS.as_uri() + "/tokens.css")


def test_a_document_that_asks_for_another_file_is_reported(tmp_path):
    secret = tmp_path / "secret.css"
    secret.write_text("p { color: red }")
    _, warnings = book.pdf_of(f'<link rel="stylesheet" href="{secret.as_uri()}"><p>x')
    assert any("secret.css" in warning for warning in warnings)


def test_a_strict_book_fails_on_a_warning(tmp_path):
    handbook(tmp_path, "Text.\n")
    appendix = [("Sheet", '<p style="colour: red">x</p>')]
    folder = read_mill_folder(tmp_path)
    with pytest.raises(book.BookWarningsError, match="colour"):
        book.write_book(folder, tmp_path / "x.pdf", appendices=appendix, checks={}, strict=True)
    assert not (tmp_path / "x.pdf").exists()
    assert book.write_book(folder, tmp_path / "x.pdf", appendices=appendix, checks={})


def test_an_appendix_is_linked_from_the_text(tmp_path):
    handbook(tmp_path, "See [it](species:quercus-rubra).\n")
    folder = read_mill_folder(tmp_path)
    out = tmp_path / "x.pdf"
    sheet = '<section id="species-quercus-rubra"><h2>Northern red oak</h2></section>'
    book.write_book(folder, out, appendices=[("Species", sheet)], checks={}, strict=True)
    reader = pypdf.PdfReader(out)
    assert "species-quercus-rubra" in reader.named_destinations
    assert "Appendix 1" in " ".join(page.extract_text() for page in reader.pages)


def test_the_same_chapters_give_the_same_bytes_in_another_process(tmp_path):
    handbook(
        tmp_path,
        "## A {#a}\n\nText {index: x} {cite: wood-handbook}.\n\n::: figure\nname: f\n"
        "caption: c\nalt: d\n:::\n\n::: chart\nkind: emc\ncaption: c\nalt: d\n:::\n",
        **{"figures/f.svg": DRAWING},
    )
    script = (
        "import sys; from pathlib import Path; from kilnfolio.publish.book import write_book;"
        "from kilnfolio.records.folder import read_mill_folder;"
        "write_book(read_mill_folder(Path(sys.argv[1])), Path(sys.argv[2]), strict=True)"
    )
    made = []
    for seed in ("1", "99"):
        out = tmp_path / f"{seed}.pdf"
        env = {
            **os.environ,
            "PYTHONHASHSEED": seed,
            "SOURCE_DATE_EPOCH": "1768200000",
            "PYTHONPATH": str(PROJECT / "builder"),
        }
        subprocess.run(
            [sys.executable, "-c", script, str(tmp_path), str(out)],
            env=env,
            check=True,
            cwd=tmp_path,
        )
        made.append(out.read_bytes())
    assert made[0] == made[1]
    assert pypdf.PdfReader(tmp_path / "1.pdf").metadata.creation_date.year == 2026


def test_a_drawing_on_paper_has_its_colours_written_in():
    html = paper.for_paper('<p><svg viewBox="0 0 1 1"><path class="ink"/></svg></p>')
    assert re.search(r"<svg[^>]*><style>.*\.ink\{stroke: #[0-9a-f]{6}", html)
    assert "var(" not in html
