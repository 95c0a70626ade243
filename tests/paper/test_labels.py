"""Labels for packs: words, sheets, codes."""

import re
import secrets
import subprocess
from dataclasses import replace
from itertools import combinations

import pypdfium2
import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from kilnfolio.paper.label_sheets import SHEETS, Label, write_sheets
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.rendering.seal_words import grouped, word_list, words_of
from kilnfolio.site.qr import labelled, lot_address, qr_svg

#: ISO 216 and ANSI/ASME Y14.1: the papers [mm].
PAPER = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
DIGITS = "00ff10203040abcd"
ADDRESS = labelled(lot_address("https://records.mill.example", "a" * 32), DIGITS)


def test_every_byte_has_its_own_word():
    words = word_list()
    assert len(words) == len(set(words)) == 256
    assert all(re.fullmatch(r"[a-z]{3,11}", word) for word in words)
    # alphabetical, so that an added or removed word is noticed
    assert list(words) == sorted(words)


def test_words_and_digits_encode_the_same():
    digits = secrets.token_hex(8)
    words = words_of(digits)
    assert len(words) == 8
    assert bytes(word_list().index(word) for word in words).hex() == digits
    assert words_of("00ff") == (word_list()[0], word_list()[255])
    with pytest.raises(ValueError, match="hex"):
        words_of("xy")


def test_digits_are_read_out_in_fours():
    assert grouped(DIGITS) == "00ff 1020 3040 abcd"


@pytest.mark.parametrize("name", SHEETS)
def test_labels_are_on_the_paper_and_do_not_overlap(name):
    sheet = SHEETS[name]
    wide, high = PAPER[sheet.paper]
    places = [sheet.place(number) for number in range(sheet.size)]
    assert all(left >= 0 and left + sheet.width <= wide + 0.5 for left, _ in places)
    assert all(top >= 0 and top + sheet.height <= high + 0.5 for _, top in places)
    assert sheet.across >= sheet.width
    assert sheet.down >= sheet.height
    stated = re.fullmatch(r"(?:a4|letter)-(\d+)x(\d+)", name)
    # the name gives the label's size to a millimetre
    assert abs(int(stated[1]) - sheet.width) < 1
    assert abs(int(stated[2]) - sheet.height) < 1


def label(pack: str, lot: str = "L1") -> Label:
    return Label(
        "Minimal Mill",
        True,
        lot,
        pack,
        "Northern red oak",
        "25 mm (4/4) thick",
        "Mean MC 8.1 %, 7 June 2026",
        words_of(DIGITS),
        grouped(DIGITS),
        qr_svg(ADDRESS, "A code"),
    )


def words(path) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]


@pytest.mark.parametrize("name", SHEETS)
def test_each_code_is_read_back_with_what_is_printed_beside_it(tmp_path, name):
    """Drawn by poppler and read by ZXing, neither of which made it."""
    sheet, out = SHEETS[name], tmp_path / "labels.pdf"
    labels = [label(f"P{n}") for n in range(sheet.size - 1)]
    assert write_sheets(labels, name, out, skip=1) == []
    text = words(out)
    assert len(text) == 2
    assert "P0" in text[0]
    assert " ".join(words_of(DIGITS)[:2]) in text[0]
    assert SAFETY in text[1]
    subprocess.run(
        ["pdftoppm", "-r", "200", "-gray", "-png", "-f", "1", "-l", "1", out, tmp_path / "sheet"],
        check=True,
    )
    picture = Image.open(next(tmp_path.glob("sheet*.png"))).convert("L")
    codes = zxingcpp.read_barcodes(picture)
    assert [code.text for code in codes] == [ADDRESS] * len(labels)
    _quiet_zone(picture, codes)
    dots = 200 / 25.4
    left, top = sheet.place(0)
    used = (left * dots, top * dots, (left + sheet.width) * dots, (top + sheet.height) * dots)
    assert all(
        not (
            used[0] < code.position.top_left.x < used[2]
            and used[1] < code.position.top_left.y < used[3]
        )
        for code in codes
    )


def _quiet_zone(picture, codes):
    """ISO/IEC 18004, 9.1: four light modules around the code."""
    for code in codes:
        place = code.position
        side = place.top_right.x - place.top_left.x
        zone = 3.5 * side / 53  # version 9 has 53 modules; a smaller version has larger ones
        box = (
            place.top_left.x - zone,
            place.top_left.y - zone,
            place.top_left.x - 3,
            place.bottom_left.y + zone,
        )
        assert picture.crop(tuple(round(edge) for edge in box)).getextrema()[0] > 200


@pytest.mark.parametrize("name", SHEETS)
def test_no_line_is_printed_over_another(tmp_path, name):
    """The lines that pdfium finds on a label whose facts are as long as the demonstration's."""
    out = tmp_path / "labels.pdf"
    full = replace(
        label("HB-25-043-01", "HBL-25-103"),
        mill="Heron Bend Hardwoods",
        size="4/4 (25 mm) thick, random widths, 2.4 m to 4.9 m",
        measured="Mean MC 8.3 %, 8 November 2025",
        words=tuple(sorted(word_list(), key=len)[190:206]),  # longer than three of four
        digits=grouped("a" * 32),
    )
    write_sheets([full], name, out)
    text = pypdfium2.PdfDocument(out)[0].get_textpage()
    lines = [text.get_rect(place) for place in range(text.count_rects())]
    assert len(lines) > 6
    for (left, low, right, high), (left2, low2, right2, high2) in combinations(lines, 2):
        across = min(right, right2) - max(left, left2)
        up = min(high, high2) - max(low, low2)
        assert across <= 0 or up < 0.4 * min(high - low, high2 - low2)
    bottom = SHEETS[name].top + SHEETS[name].height
    assert min(low for _, low, _, _ in lines) > (PAPER[SHEETS[name].paper][1] - bottom) * 72 / 25.4


def test_labels_that_do_not_fit_on_a_sheet_go_on_the_next(tmp_path):
    out = tmp_path / "labels.pdf"
    write_sheets([label(f"PACK-{n}-END") for n in range(9)], "a4-99x67", out)
    text = words(out)
    assert len(text) == 3
    assert "PACK-8-END" in text[1]


def test_long_and_hostile_text_stays_text_and_on_its_label(tmp_path):
    out = tmp_path / "labels.pdf"
    name = "<script>alert(1)</script>{{ 7*7 }}"
    assert write_sheets([label(name, "L" * 60)], "a4-63x38", out) == []
    text = words(out)[0]
    assert "{{ 7*7 }}" in text
    assert "49" not in text
