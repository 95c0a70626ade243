"""Sheets of weighings, boards and surveys: every layout is read, every doubt is reported."""

import datetime as dt
import re
import zipfile

import openpyxl
import pytest
from tests.adopt.own_files import write_survey, write_workbook
from tests.minimal import minimal_mill

from kilnfolio.adopt.cell_formulas import recalculated
from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill


@pytest.fixture
def mill(tmp_path):
    return minimal_mill(
        tmp_path / "mill", charge=lambda charge: (charge.pop("weighings"), charge.pop("survey"))
    )


def charge_of(mill):
    return checked_mill(mill).charges["C1"].record


def sheet(tmp_path, text, encoding="utf-8"):
    (tmp_path / "sheet.csv").write_bytes(text.encode(encoding))
    return tmp_path / "sheet.csv"


def workbook(tmp_path, *rows, **more):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for name, extra in more.items():
        page = book.create_sheet(name)
        for row in extra:
            page.append(row)
    book.save(tmp_path / "sheet.xlsx")
    return tmp_path / "sheet.xlsx"


def weighings(mill, path, *words):
    return main(["import", "weighings", str(path), str(mill), "--charge", "C1", *words])


WIDE = "Date,Time,S1,S2,S3\n2026-06-02,07:10,2380,2500,2240\n2026-06-03,07:15,2360,,2220\n"


def test_a_sheet_with_a_column_for_each_board_is_read(mill, tmp_path):
    assert weighings(mill, sheet(tmp_path, WIDE), "--unit", "g") == 0
    first, second = charge_of(mill).weighings
    assert first.at.isoformat() == "2026-06-02T07:10:00-04:00"
    assert {tag: mass.value for tag, mass in first.masses.items()} == {
        "S1": 2380.0,
        "S2": 2500.0,
        "S3": 2240.0,
    }
    assert set(second.masses) == {"S1", "S3"}  # an empty cell is not a mass


def test_a_sheet_with_a_row_for_each_mass_is_read(mill, tmp_path):
    text = (
        "Board;Date;Mass (kg);Weighed by\nS1;2.6.2026 07:10;2.380;AB\n"
        "S2;2.6.2026 07:10;2.500;AB\nS1;3.6.2026 07:10;2.360;CD\n"
    )
    assert weighings(mill, sheet(tmp_path, text)) == 0
    first, second = charge_of(mill).weighings
    assert first.masses["S2"].value == 2500.0
    assert (first.by, second.by) == ("AB", "CD")


def test_a_sheet_with_a_row_for_each_board_and_a_column_for_each_day_is_read(mill, tmp_path):
    days = [dt.date(2026, 6, 2), dt.date(2026, 6, 3)]
    path = workbook(
        tmp_path,
        ["KILN 1", None, "June"],
        [],
        ["Sample", "Start wt (lb)", *days],
        ["S1", 5.4, 5.25, 5.2],
        ["S2", 5.6, 5.5, None],
        ["S3", 5.0, 4.9, 4.8],
    )
    assert weighings(mill, path, "--unit", "lb", "--time", "07:10") == 0
    first, second = charge_of(mill).weighings
    assert first.at.isoformat() == "2026-06-02T07:10:00-04:00"
    assert first.masses["S1"].value == pytest.approx(5.25 * 453.59237)
    assert set(second.masses) == {"S1", "S3"}


def test_a_unit_without_brackets_and_a_time_after_the_date_are_read(mill, tmp_path):
    text = (
        "When\tTag\tWeight lbs\tInitials\n13/06/2026 7:10 PM\tS1\t5.25\tAB\n"
        "2026-06-14 19:10:30\tS1\t5.20\tAB\n"
    )
    assert weighings(mill, sheet(tmp_path, text)) == 0
    first, second = charge_of(mill).weighings
    assert f"{first.at:%d %H:%M} {second.at:%d %H:%M}" == "13 19:10 14 19:10"
    assert first.masses["S1"].entered == "5.25 lb"
    assert first.by == "AB"


def test_what_the_headings_do_not_say_is_asked_for(mill, tmp_path, capsys):
    text = "Board no,Sec,Wet wt g,OD wt g\nS1,S1a,120.7,100\n"
    assert main(["import", "boards", str(sheet(tmp_path, text)), str(mill), "--charge", "C1"]) == 2
    assert (
        "row 1 names a board, a section, its green mass, its oven-dry mass, and lacks the "
        "board's mass." in capsys.readouterr().err
    )


@pytest.mark.parametrize(
    ("cell", "grams"),
    [("2380 g", 2380.0), ("2.38 kg", 2380.0), ("5 lb 4 oz", 5.25 * 453.59237), ("2380", 2380.0)],
)
def test_units_in_the_cells_are_read(mill, tmp_path, cell, grams):
    text = f"Date,Time,S1\n2026-06-02,07:10,{cell}\n"
    assert weighings(mill, sheet(tmp_path, text), "--unit", "g") == 0
    assert charge_of(mill).weighings[0].masses["S1"].value == pytest.approx(grams)


@pytest.mark.parametrize(
    ("when", "words", "day"),
    [
        ("13/06/2026", (), 13),
        ("06/13/2026", (), 13),
        ("3.6.2026", (), 3),
        ("6/3/2026", ("--dates", "month-first"), 3),
        ("3/6/2026", ("--dates", "day-first"), 3),
        ("46176", (), 3),
        ("3/6/26", ("--dates", "day-first"), 3),
    ],
)
def test_dates_are_read_as_people_write_them(mill, tmp_path, when, words, day):
    # 46176 is 2026-06-03 as a spreadsheet counts: days since 1899-12-30
    assert dt.date(1899, 12, 30) + dt.timedelta(46176) == dt.date(2026, 6, 3)
    text = f"Date,S1 (g)\n{when},2380\n"
    assert weighings(mill, sheet(tmp_path, text), "--time", "07:10", *words) == 0
    at = charge_of(mill).weighings[0].at
    assert (at.year, at.month, at.day, at.hour, at.minute) == (2026, 6, day, 7, 10)


def test_a_twelve_hour_clock_is_read(mill, tmp_path):
    text = "Date,Time,S1 (g)\n2026-06-02,7:10 PM,2380\n2026-06-03,12:05 am,2370\n"
    assert weighings(mill, sheet(tmp_path, text)) == 0
    assert [f"{one.at:%H:%M}" for one in charge_of(mill).weighings] == ["19:10", "00:05"]


@pytest.mark.parametrize(
    ("text", "words", "said"),
    [
        (
            WIDE,
            (),
            "C2 '2380' (and 1 more such cell): it has no unit, and neither has its heading. "
            "Give it with --unit g",
        ),
        (
            "Date,S1 (g)\n3/6/2026,2380\n",
            ("--time", "07:10"),
            "A2 '3/6/2026': it may be 2026-06-03 or 2026-03-06. Give it with --dates day-first or "
            "--dates month-first.",
        ),
        (
            "Date,S1 (g)\n2026-06-03,2380\n",
            (),
            "it has no time of day. Add a column 'Time', or give it for all rows with --time 07:10.",
        ),
        ("Date,Time,S1 (g)\nlast Monday,07:10,2380\n", (), "A2 'last Monday': it is not a date."),
        ("Date,Time,S1 (g)\n31/6/2026,07:10,2380\n", (), "there is no such day"),
        ("Date,Time,S1 (g)\n2026-06-02,7.10,2380\n", (), "'7.10' is not a time of day"),
        (
            'Date,Time,S1 (g)\n2026-06-02,07:10,"2,380"\n',
            (),
            "Write '2.380 g' or '2380 g', or give --decimal , or --decimal . for the whole sheet",
        ),
        ('Date,Time,S1 (g)\n2026-06-02,07:10,"\n', (), "weighings"),
        (
            "Board,Date,Time,Mass (g)\nS9,2026-06-02,07:10,2380\n",
            (),
            "A2 board 'S9': the charge has no board of this tag. It has S1, S2, S3.",
        ),
        (
            "Board,Date,Time,Mass (g)\nS1,2026-06-02,07:10,2380\nS1,2026-06-02,07:10,2381\n",
            (),
            "D3 '2381': board S1 was weighed already at 2026-06-02T07:10.",
        ),
        ("Date,Time,S1 (g)\n2026-06-02,07:10,same\n", (), "C2 'same': is not a mass."),
        ("Date,Time,S1 (g)\n2026-06-02,07:10,-2380\n", (), "is below 0 g, where nothing is"),
        (
            "Name,What\nx,y\n",
            (),
            "no sheet holds weighings: one row of headings must name a date, a "
            "board and a mass; or a date and the tag of each board; or a board and each date.",
        ),
        (WIDE, ("--sheet", "May"), "(of 'May')"),
    ],
)
def test_a_doubt_is_reported_and_nothing_is_written(mill, tmp_path, capsys, text, words, said):
    before = (mill / "content/charges/2026/C1/charge.yaml").read_bytes()
    assert weighings(mill, sheet(tmp_path, text), *words) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.endswith("nothing was written\n")
    assert (mill / "content/charges/2026/C1/charge.yaml").read_bytes() == before


def test_a_dry_run_shows_the_record_and_writes_nothing(mill, tmp_path, capsys):
    before = (mill / "content/charges/2026/C1/charge.yaml").read_bytes()
    assert weighings(mill, sheet(tmp_path, WIDE), "--unit", "g", "--dry-run") == 0
    shown = capsys.readouterr()
    assert shown.out == (
        "weighings:\n  - at: 2026-06-02T07:10\n    masses: {S1: 2380 g, "
        "S2: 2500 g, S3: 2240 g}\n  - at: 2026-06-03T07:15\n    masses: "
        "{S1: 2360 g, S3: 2220 g}\n"
    )
    assert "nothing was written" in shown.err
    assert (mill / "content/charges/2026/C1/charge.yaml").read_bytes() == before


def test_what_the_charge_cannot_take_is_refused(mill, tmp_path, capsys):
    # an hour that clocks in Toronto skipped on 8 March 2026
    text = "Date,Time,S1 (g)\n2026-03-08,02:30,2380\n"
    assert weighings(mill, sheet(tmp_path, text)) == 2
    assert "clocks in America/Toronto skipped that hour" in capsys.readouterr().err


# --- workbooks ------------------------------------------------------------------------------------

MOMENT = dt.datetime.fromisoformat("2026-06-02T07:10")


def test_real_dates_numbers_and_merged_cells_are_read(mill, tmp_path):
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Date", "Board", "Mass [kg]"])
    for tag, mass in (("S1", 2.38), ("S2", 2.5), ("S3", 2.24)):
        page.append([MOMENT if tag == "S1" else None, tag, mass])
    page.merge_cells("A2:A4")  # one date for three rows
    book.save(tmp_path / "sheet.xlsx")
    assert weighings(mill, tmp_path / "sheet.xlsx") == 0
    (only,) = charge_of(mill).weighings
    assert {tag: mass.value for tag, mass in only.masses.items()} == {
        "S1": 2380.0,
        "S2": 2500.0,
        "S3": 2240.0,
    }


def test_the_command_asks_which_of_several_sheets_to_read(mill, tmp_path, capsys):
    rows = [["Date", "S1 (g)"], [MOMENT, 2380]]
    path = workbook(tmp_path, *rows, May=rows)
    assert weighings(mill, path) == 2
    assert "2 sheets could hold weighings: 'Sheet', 'May'" in capsys.readouterr().err
    assert weighings(mill, path, "--sheet", "May") == 0


def test_a_formula_without_a_saved_value_is_reported(mill, tmp_path, capsys):
    assert weighings(mill, workbook(tmp_path, ["Date", "S1 (g)"], [MOMENT, "=1000+1380"])) == 2
    said = capsys.readouterr().err
    assert "sheet.xlsx [Sheet]:2:2: B2 holds a formula without its value" in said
    assert "Open the file in the spreadsheet program, let it compute, and save it again" in said


def kept_values(path, values, settings='calcId="191029"'):
    """Write the saved values that a workbook keeps beside its formulas; the library leaves them
    out."""
    packed = {
        item.filename: zipfile.ZipFile(path).read(item) for item in zipfile.ZipFile(path).infolist()
    }
    sheet = packed["xl/worksheets/sheet1.xml"].decode()
    for cell, value in values.items():
        sheet, times = re.subn(
            rf'(<c r="{cell}"[^>]*><f>[^<]*</f>)<v>[^<]*</v>', rf"\g<1><v>{value}</v>", sheet
        )
        assert times == 1
    packed["xl/worksheets/sheet1.xml"] = sheet.encode()
    book = re.sub(r"<calcPr[^>]*>", f"<calcPr {settings}/>", packed["xl/workbook.xml"].decode())
    packed["xl/workbook.xml"] = book.encode()
    with zipfile.ZipFile(path, "w") as anew:
        for name, content in packed.items():
            anew.writestr(name, content)
    return path


def tared(tmp_path, net, settings='calcId="191029"', formula="=B2-C2"):
    """Return a sheet whose mass is the scale's reading less the tare: 2620 − 240 = 2380 g."""
    path = workbook(
        tmp_path, ["Date", "On the scale", "Tare", "S1 (g)"], [MOMENT, 2620, 240, formula]
    )
    return kept_values(path, {"D2": net}, settings)


def test_the_saved_value_of_a_formula_is_read(mill, tmp_path):
    assert weighings(mill, tared(tmp_path, 2380)) == 0
    assert charge_of(mill).weighings[0].masses["S1"].value == 2380.0


def test_a_value_older_than_its_cells_is_reported(mill, tmp_path, capsys):
    before = (mill / "content/charges/2026/C1/charge.yaml").read_bytes()
    assert weighings(mill, tared(tmp_path, 2410)) == 2
    assert (
        "sheet.xlsx [Sheet]:2:4: D2 '2410': its formula =B2-C2 gives 2380 from the present cells, so one of them has changed since. Open the file in the spreadsheet "
        "program, let it compute, and save it again."
    ) in capsys.readouterr().err
    assert (mill / "content/charges/2026/C1/charge.yaml").read_bytes() == before


@pytest.mark.parametrize(
    ("settings", "read"),
    [
        ('calcId="191029"', True),
        ('calcId="191029" calcMode="auto"', True),
        ('calcMode="manual"', False),
        ('calcId="124519" fullCalcOnLoad="1"', False),
    ],
)
def test_a_formula_that_cannot_be_recomputed_is_read_unless_saved_uncomputed(
    mill, tmp_path, capsys, settings, read
):
    path = tared(tmp_path, 2380, settings, "=VLOOKUP(A2,Scale!A:B,2)")
    assert weighings(mill, path) == (0 if read else 2)
    said = "may give another value: the file says that it was saved without computing"
    assert (said in capsys.readouterr().err) == (not read)


SHEET = {"A1": 10.0, "A2": 4, "A3": None, "B1": "words", "B2": True, "B3": 2.5}


@pytest.mark.parametrize(
    ("formula", "gives"),
    [
        ("=A1-A2", 6.0),
        ("=$A$1 + A$2*2", 18.0),
        ("=(A1-A2)/A2*100", 150.0),
        ("=-A2", -4.0),
        ("=sum(A1:A3)", 14.0),
        ("=AVERAGE(A1:A3,B3)", 5.5),
        ("=A1-A3", 10.0),
        ("=ROUND(B3,0)", 3.0),
        ("=ROUND(-B3,0)", -3.0),
        ("=ROUND(A1/A2,1)", 2.5),
        ("=MAX(A1:A2)", 10.0),
        # more than plain arithmetic on the sheet's own numbers is not worked out
        ("=A1-B1", None),
        ("=A1+B2", None),
        ("=Other!A1", None),
        ("=IF(A1>1,2,3)", None),
        ("=A1%", None),
        ("=A1^2", None),
        ("=NOW()", None),
        ("=A1/A3", None),
        ("=A1:A2", None),
        ("=A1 A2", None),
        ("=SUM(A1:XFD1048576)", None),
        ("=ROUND(A1)", None),
        ("=" + "1+" * 200 + "1", None),
        ("=__import__", None),
        ("=A1**A2", None),
        ("=A1//A2", None),
        ("=LOG10(A1)", None),
    ],
)
def test_formulas_are_worked_out_as_a_spreadsheet_does(formula, gives):
    assert recalculated(formula, SHEET.get) == gives


@pytest.mark.parametrize(
    "hide",
    [
        lambda page: setattr(page.row_dimensions[3], "hidden", True),
        lambda page: setattr(page.column_dimensions["C"], "hidden", True),
    ],
    ids=["row", "column"],
)
def test_hidden_rows_and_columns_are_reported_and_nothing_is_written(mill, tmp_path, capsys, hide):
    book = openpyxl.Workbook()
    for row in (
        ["Date", "S1 (g)", "S2 (g)"],
        [MOMENT, 2380, 2500],
        [MOMENT + dt.timedelta(days=1), 2360, 2480],
    ):
        book.active.append(row)
    hide(book.active)
    book.save(tmp_path / "sheet.xlsx")
    assert weighings(mill, tmp_path / "sheet.xlsx") == 2
    said = capsys.readouterr().err
    assert "is hidden" in said
    assert "Show it if it counts, or delete it" in said


def test_numbers_and_dates_stored_as_text_are_read(mill, tmp_path):
    rows = [["Date", "Time", "S1 (g)"], ["2026-06-02", "07:10", "2380"]]
    assert weighings(mill, workbook(tmp_path, *rows)) == 0
    assert charge_of(mill).weighings[0].masses["S1"].value == 2380.0


def test_a_workbook_that_counts_days_from_1904_is_read(mill, tmp_path):
    book = openpyxl.Workbook()
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    for row in (["Date", "S1 (g)"], [MOMENT, 2380]):
        book.active.append(row)
    book.save(tmp_path / "sheet.xlsx")
    assert weighings(mill, tmp_path / "sheet.xlsx") == 0
    assert charge_of(mill).weighings[0].at.isoformat() == "2026-06-02T07:10:00-04:00"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "Save it as .xlsx without a password"),
        (b"PK\x03\x04broken", "this is not a spreadsheet that can be read"),
    ],
)
def test_other_files_are_refused_with_a_message(mill, tmp_path, capsys, content, said):
    (tmp_path / "sheet.xlsx").write_bytes(content)
    assert weighings(mill, tmp_path / "sheet.xlsx") == 2
    assert said in capsys.readouterr().err


def test_a_file_that_is_not_there(mill, tmp_path, capsys):
    assert weighings(mill, tmp_path / "none.csv") == 2
    assert "none.csv:1:1: the file cannot be read: no such file" in capsys.readouterr().err


# --- boards and surveys ---------------------------------------------------------------------------


def test_two_sections_of_a_board_with_one_tag_are_refused(mill, tmp_path, capsys):
    """They would be written, and the same sheet would contradict the record from then on."""
    text = (
        "Board,Section,Green (g),Oven-dry (g),Board mass (g),Date,By\n"
        "T1,T1a,120,100,2200,2026-06-01 07:10,AB\nT1,T1a,121,101,,,AB\n"
    )
    given = ["import", "boards", str(sheet(tmp_path, text)), str(mill), "--charge", "C1"]
    assert main([*given, "--dry-run"]) == 2
    assert "section 'T1a': board T1 has a section of this name" in capsys.readouterr().err


def test_boards_are_read_with_their_sections(mill, tmp_path):
    path = mill / "content/charges/2026/C1/charge.yaml"
    whole = checked_mill(mill).charges["C1"].record.boards
    text = path.read_text("utf-8")
    path.write_text(text[: text.index("boards:")] + text[text.index("\nlog:") + 1 :], "utf-8")
    book = write_workbook(tmp_path / "own.xlsx")
    assert main(["import", "boards", str(book), str(mill), "--charge", "C1"]) == 0
    for read, before in zip(charge_of(mill).boards, whole, strict=True):
        assert (read.id, read.weighed_at, read.by) == (before.id, before.weighed_at, before.by)
        assert read.green_mass.value == pytest.approx(before.green_mass.value)
        assert [(s.green.value, s.oven_dry.value) for s in read.sections] == [
            (s.green.value, s.oven_dry.value) for s in before.sections
        ]


SAID = ["--at", "2026-06-07T11:00", "--by", "A. N. Other", "--method", "resistance meter"]


def test_a_survey_sheet_without_readings_is_refused_even_beside_a_survey(tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill")
    (tmp_path / "s.csv").write_text("Pack,Position,MC %\nP1,door,\n", "utf-8")
    words = ["import", "survey", str(tmp_path / "s.csv"), str(root), "--charge", "C1"]
    words += ["--at", "2026-06-07T11:00", "--by", "A. N. Other", "--method", "resistance meter"]
    assert main(words) == 2
    assert "the sheet holds no" in capsys.readouterr().err


def test_a_survey(mill, tmp_path):
    path = write_survey(tmp_path / "survey.csv")
    words = ["import", "survey", str(path), str(mill), "--charge", "C1", "--decimal", ","]
    assert main([*words, *SAID, "--chosen", "at random", "--wood-temperature", "20 °C"]) == 0
    survey = charge_of(mill).survey
    assert [reading.mc.value for reading in survey.readings][:4] == [12.1, 12.4, 11.8, 12.0]
    assert (survey.readings[0].pack, survey.readings[0].position) == ("P1", "door")
    assert survey.wood_temperature.value == 20.0
    assert survey.chosen == "at random"


def test_a_survey_without_a_name_is_refused(mill, tmp_path, capsys):
    path = write_survey(tmp_path / "survey.csv")
    assert main(["import", "survey", str(path), str(mill), "--charge", "C1"]) == 2
    assert "Give them with --at, --by, --method" in capsys.readouterr().err


def test_a_reading_out_of_range_is_refused(mill, tmp_path, capsys):
    path = sheet(tmp_path, "Pack,MC %\nP1,12.1\nP1,121\n")
    assert main(["import", "survey", str(path), str(mill), "--charge", "C1", *SAID]) == 2
    assert "mc '121 %': it is not within 0 to 100 %" in capsys.readouterr().err
