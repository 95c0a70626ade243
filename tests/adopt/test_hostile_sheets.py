"""Spreadsheets made to break a reader: each is refused with a message, within seconds and in little
memory.

The shapes are those of public collections of hostile office files: far cells, one merge over the
whole sheet, packed zeros, entities that unfold, rows out of order, formulas without end.
"""

import datetime as dt
import io
import json
import subprocess
import sys
import time
import zipfile

import openpyxl
import pytest
from tests.conftest import PROJECT, WHOLE
from tests.minimal import minimal_mill

from kilnfolio.adopt.tables import read_sheets
from kilnfolio.cli import main
from kilnfolio.records.problems import RecordProblems

MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
FIRST = (
    '<row r="1"><c r="A1" t="inlineStr"><is><t>Date</t></is></c>'
    '<c r="B1" t="inlineStr"><is><t>S1 (g)</t></is></c></row>'
)
#: Limits for reading one sheet, however it ends: processor seconds, and bytes beyond what libraries
#: use.
SECONDS, MEMORY = 30.0, 1024**3


def parts():
    """Return the parts of a small, sound workbook."""
    book = openpyxl.Workbook()
    book.active.append(["Date", "S1 (g)"])
    book.active.append([dt.datetime.fromisoformat("2026-06-02T07:10"), 2380])
    packed = io.BytesIO()
    book.save(packed)
    with zipfile.ZipFile(packed) as whole:
        return {name: whole.read(name) for name in whole.namelist()}


def written(path, changed, *, packing=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", packing, compresslevel=9) as packed:
        for name, content in (parts() | changed).items():
            packed.writestr(name, content)
    return path


def with_sheet(path, rows, after="", before=""):
    """Write a workbook with one sheet that contains these rows."""
    return written(
        path,
        {
            "xl/worksheets/sheet1.xml": f'<?xml version="1.0"?>{before}<worksheet {MAIN}><sheetData>{rows}'
            f"</sheetData>{after}</worksheet>".encode()
        },
    )


def cell(name, value="1"):
    row = "".join(filter(str.isdigit, name))
    return f'<row r="{row}"><c r="{name}"><v>{value}</v></c></row>'


def formulas(count, formula, rest):
    """Return rows of formulas below the headings; all but the first by `rest`."""
    return FIRST + "".join(
        f'<row r="{n}"><c r="A{n}">{formula if n == 2 else rest}<v>1</v></c></row>'
        for n in range(2, count + 2)
    )


BOMBS = {
    "a cell in the last row": (
        lambda path: with_sheet(path, FIRST + cell("C1048576")),
        "a sheet is filled as far as C1048576",
    ),
    "a cell in the last corner": (
        lambda path: with_sheet(path, FIRST + cell("XFD1048576")),
        "a sheet is filled as far as XFD1048576",
    ),
    "packed spaces": (
        lambda path: with_sheet(path, " " * 250_000_000),
        "it unpacks to more than a sheet of readings can hold",
    ),
    "a million empty rows": (
        lambda path: with_sheet(path, "<row/>" * 1_500_000),
        "the workbook is too large",
    ),
    "rows in one another": (
        lambda path: with_sheet(path, "<x>" * 200_000),
        "the workbook is too large",
    ),
    "thousands of parts": (
        lambda path: written(path, {f"xl/media/{n}.png": b"" for n in range(5_000)}),
        "the workbook is too large: it has 5,0",
    ),
    "entities that unfold": (
        lambda path: with_sheet(
            path,
            FIRST,
            before='<!DOCTYPE w [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>',
        ),
        "the workbook declares a document type",
    ),
    "an entity that reads a file": (
        lambda path: with_sheet(
            path, FIRST, before='<!DOCTYPE w [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
        ),
        "the workbook declares a document type",
    ),
    "entities in the words of cells": (
        lambda path: written(
            path,
            {
                "xl/sharedStrings.xml": (
                    f'<!DOCTYPE w [<!ENTITY a "ha">]><sst {MAIN}><si><t>&a;</t></si></sst>'
                ).encode()
            },
        ),
        "the workbook declares a document type",
    ),
    "rows out of order": (
        lambda path: with_sheet(path, FIRST + cell("B3") + cell("B2")),
        "row 2 comes after row 3",
    ),
    "one cell twice": (
        lambda path: with_sheet(
            path, '<row r="1"><c r="A1"><v>1</v></c><c r="A1"><v>2</v></c></row>'
        ),
        "cell A1 comes after column 1 in row 1",
    ),
    "a cell of no column": (
        lambda path: with_sheet(path, '<row r="1"><c r="ZZZ1"><v>1</v></c></row>'),
        "'ZZZ1' is not a cell of a sheet",
    ),
    "a row without end": (
        lambda path: with_sheet(path, '<row r="99999999999999999999"/>'),
        "is not a row or column of a sheet",
    ),
    "merges over one another": (
        lambda path: with_sheet(
            path,
            FIRST + cell("B500"),
            "<mergeCells>" + '<mergeCell ref="A1:XFD1048576"/>' * 5_000 + "</mergeCells>",
        ),
        "merged areas overlap",
    ),
    "long formulas without end": (
        lambda path: with_sheet(
            path,
            formulas(
                100_000 if WHOLE else 20_000,
                f'<f t="shared" si="0" ref="A2:A9">{"1+" * 140}1</f>',
                '<f t="shared" si="0"/>',
            ),
        ),
        "it has too many formulas to check",
    ),
    "sums over everything": (
        lambda path: with_sheet(
            path, formulas(2_000, "<f>SUM(B1:B9999)</f>", "<f>SUM(B1:B9999)</f>")
        ),
        "it has too many formulas to check",
    ),
}

#: Reads each file named on standard input in a process of its own, which starts as a copy of one that has
#: imported what reading needs: the libraries are loaded once, and the limits hold for each file alone.
ALONE = """
import json, os, resource, sys, time
from pathlib import Path
from kilnfolio.adopt.tables import read_sheets
from kilnfolio.records.problems import RecordProblems
import kilnfolio.adopt.workbook

def memory():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024

def read(path):
    before, began, told = memory(), time.process_time(), []
    try:
        read_sheets(Path(path))
    except RecordProblems as error:
        told = [str(error.problems[0])]
    print(json.dumps([told, time.process_time() - began, memory() - before]), flush=True)

for line in sys.stdin:
    child = os.fork()
    if child == 0:
        resource.setrlimit(resource.RLIMIT_AS, (BYTES, BYTES))
        code = 1
        try:
            read(line.strip())
            code = 0
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    if status:
        print(json.dumps([[f"ended with {status}"], 0, 0]), flush=True)
""".replace("BYTES", str(4 * MEMORY))


@pytest.fixture(scope="module")
def reader():
    """Return a process that reads files, each in a copy of itself."""
    with subprocess.Popen(
        [sys.executable, "-c", ALONE],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={"PYTHONPATH": str(PROJECT / "builder")},
    ) as process:
        yield process
        process.stdin.close()
    assert process.returncode == 0


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_in_seconds_and_little_memory(tmp_path, name, reader):
    make, said = BOMBS[name]
    path = make(tmp_path / "bomb.xlsx")
    assert path.stat().st_size < 2_000_000
    reader.stdin.write(f"{path}\n")
    reader.stdin.flush()
    told, seconds, memory = json.loads(reader.stdout.readline())
    assert said in " ".join(told)
    assert seconds < SECONDS
    assert memory < MEMORY


@pytest.mark.parametrize(
    ("rows", "after"),
    [
        (FIRST + cell("B3", "2380"), '<mergeCells><mergeCell ref="C1:XFD1048576"/></mergeCells>'),
        (FIRST + cell("B3", "2380") + '<row r="1048576"><c r="XFD1048576" s="0"/></row>', ""),
    ],
    ids=["one huge merge beside the readings", "a format in the last corner"],
)
def test_empty_parts_are_no_reason_to_refuse(tmp_path, rows, after):
    (only,) = read_sheets(with_sheet(tmp_path / "s.xlsx", rows, after))
    assert [[one.text for one in row] for row in only.rows] == [
        ["Date", "S1 (g)"],
        ["", ""],
        ["", "2380"],
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (";" * 2_000_000, "no more are read"),
        ("\n" * 2_000_000, "no more are read"),
        ("a" * 200_000, "field larger than field limit"),
    ],
)
def test_an_endless_text_sheet_is_refused(tmp_path, text, said):
    (tmp_path / "s.csv").write_text(text, "utf-8")
    began = time.process_time()
    with pytest.raises(RecordProblems, match=said):
        read_sheets(tmp_path / "s.csv")
    assert time.process_time() - began < SECONDS


def test_a_heading_full_of_brackets_is_read_in_seconds(tmp_path, capsys):
    """Patterns that look for a unit in brackets took minutes on such a heading."""
    root = minimal_mill(tmp_path / "mill")
    (tmp_path / "s.csv").write_text("Date,Time," + "[ a" * 30_000 + "\n2026-06-02,07:10,1\n")
    began = time.process_time()
    assert main(["import", "weighings", str(tmp_path / "s.csv"), str(root), "--charge", "C1"]) == 2
    assert "no sheet holds weighings" in capsys.readouterr().err
    assert time.process_time() - began < SECONDS


def test_a_hundred_thousand_sound_cells_are_read(tmp_path):
    book = openpyxl.Workbook(write_only=True)
    page = book.create_sheet("Year")
    for row in range(5_000):
        page.append([row * column / 7 for column in range(20)])
    book.save(tmp_path / "s.xlsx")
    began = time.process_time()
    (only,) = read_sheets(tmp_path / "s.xlsx")
    assert (len(only.rows), len(only.rows[0])) == (5_000, 20)
    assert only.rows[8][3].text == "3.428571429"  # 24/7 to ten digits
    assert time.process_time() - began < 2 * SECONDS
