"""Mistakes made with files, folders and sheets: each message in full, and what a person does next."""

from __future__ import annotations

import errno
import json
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import openpyxl
import pytest
from tests.minimal import FILES, minimal_mill

from kilnfolio.cli import main

LOG, CHARGE, KILN = FILES["log"], FILES["charge"], FILES["kiln"]


@dataclass(frozen=True)
class Mistake:
    """A mistake, the command that meets it, what it prints, and what the person then does."""

    name: str
    make: Callable[[Path], object]
    says: str
    acts: str
    words: tuple[str, ...] = field(default=("check", "ROOT"))
    code: int = 2


def changed(file: str, old: str, new: str) -> Callable[[Path], object]:
    def make(root: Path) -> object:
        path = root / file
        text = path.read_text("utf-8")
        assert old in text
        return path.write_text(text.replace(old, new, 1), "utf-8")

    return make


def saved(file: str, encoding: str) -> Callable[[Path], object]:
    return lambda root: (root / file).write_bytes(
        (root / file).read_text("utf-8").replace("DB", "DB°").encode(encoding)
    )


def rows(change: Callable[[str], str]) -> Callable[[Path], object]:
    """Change every row of the log below its headings."""

    def make(root: Path) -> object:
        head, *body = (root / LOG).read_text("utf-8").rstrip("\n").split("\n")
        return (root / LOG).write_text("\n".join([head, *map(change, body)]) + "\n", "utf-8")

    return make


def sheet(name: str, content: bytes) -> Callable[[Path], object]:
    return lambda root: (root / name).write_bytes(content)


def workbook(root: Path) -> None:
    openpyxl.Workbook().save(root / LOG)


WEIGHED = {"kind": "weighing", "at": "2026-06-06T20:00:00-04:00", "masses": {"S1": "2250 g"}}


def entries(
    *made: dict[str, object], cut: int | None = None, **more: object
) -> Callable[[Path], object]:
    """Write the entry file of a phone, with one round where none is given."""
    file = {
        "kilnfolio_entries": 1,
        "charge": "C1",
        "by": "R. Quill",
        "device": "phone",
        "saved": "2026-06-08T08:01:00-04:00",
        "zone": "America/Toronto",
        "entries": list(made) or [WEIGHED],
    }
    return lambda root: (root / "a.json").write_text(json.dumps(file | more)[:cut], "utf-8")


TAKE = ("take", "ROOT/a.json", "--folder", "ROOT")
LOG_AGAIN = ("import", "log", "ROOT/x.csv", "ROOT", "--kiln", "k1", "--id", "two-bulbs", "--yes")
ROWS = b"time,DB,WB\n2026-06-01 08:00,50.0,41.0\n2026-06-01 08:30,50.1,41.0\n"
SURVEY = ("import", "survey", "ROOT/s.csv", "ROOT", "--charge", "C1", "--at", "2026-06-07T12:00")
IMPORT = ("import", "weighings", "ROOT/s.csv", "ROOT", "--charge", "C1")
MISTAKES = [
    Mistake(
        "a record saved as Latin-1",
        saved(CHARGE, "latin-1"),
        f"{CHARGE}:11:15: byte 0xb3 is not UTF-8: records are read as UTF-8 text. Save the "
        "file again with the encoding UTF-8.",
        "the editor's 'save as' has the encoding",
    ),
    Mistake(
        "a record saved as UTF-16",
        saved(CHARGE, "utf-16"),
        f"{CHARGE}:1:1: byte 0xff is not UTF-8: records are read as UTF-8 text. Save the file "
        "again with the encoding UTF-8.",
        "the same",
    ),
    Mistake(
        "a log in Latin-1",
        saved(LOG, "latin-1"),
        f"{LOG}:1:8: byte 0xb0: the profile 'two-bulbs' says utf-8, and this is not. Write the "
        "export's encoding in the profile, as in 'encoding: windows-1252'.",
        "the line to write is given",
    ),
    Mistake(
        "a log in UTF-16",
        saved(LOG, "utf-16"),
        f"{LOG}:1:1: byte 0xff: the profile 'two-bulbs' says utf-8, and this is not. Write the "
        "export's encoding in the profile, as in 'encoding: utf-16'.",
        "the line to write is given",
    ),
    Mistake(
        "a log with its days first",
        rows(lambda row: re.sub(r"^(\d{4})-(\d\d)-(\d\d)", r"\3/\2/\1", row)),
        f"{LOG}:2:1: time '01/06/2026 08:00' (289 such cells): the profile 'two-bulbs' says "
        "times are written %Y-%m-%d %H:%M. Write \"format: '%d/%m/%Y %H:%M'\" if that is 1 "
        "June 2026, 08:00 or \"format: '%m/%d/%Y %H:%M'\" if that is 6 January 2026, 08:00, "
        "under time in the profile.",
        "both readings are spelt out; one is the mill's",
    ),
    Mistake(
        "a new column in the log",
        lambda root: (rows(lambda row: row + ",50")(root), changed(LOG, "DB,WB", "DB,WB,RH")(root)),
        f"{LOG}:1:12: heading 'RH': the profile 'two-bulbs' says nothing of this column. Add "
        "it to columns with its channel and unit, or as a line \"- 'RH'\" to ignored.",
        "both things that can be done are given",
    ),
    Mistake(
        "a log with decimal commas, under a profile of points",
        lambda root: (
            (root / LOG).write_text((root / LOG).read_text().translate(str.maketrans(",.", ";,"))),
            changed(FILES["logger"], "delimiter: ','", "delimiter: ;")(root),
        ),
        f"{LOG}:2:18: DB '50,00' (289 such cells): it is not a number as the profile "
        "'two-bulbs' says they are written. If ',' stands before decimals, write 'decimal: "
        '","\' in the profile.',
        "the line to write is given, once for each column",
    ),
    Mistake(
        "decimal commas in a log whose columns stand between commas",
        rows(lambda row: row.replace(".", ",")),
        f"{LOG}:2:24: cell '41': the row has 5 cells, and there are 3 headings. Export the new "
        "columns from the start, or to a file of their own; if numbers have a decimal comma, "
        "put another character between columns.",
        "it can only be mended in the export, as is said",
    ),
    Mistake(
        "an empty log",
        lambda root: (root / LOG).write_bytes(b""),
        f"{LOG}:1:1: the file is empty: the profile 'two-bulbs' says it has 1 heading rows. "
        "Export the file again, or mend heading_rows in the profile.",
        "export it again",
    ),
    Mistake(
        "a log of headings only",
        lambda root: (root / LOG).write_text("time,DB,WB\n"),
        f"{LOG}:1:1: no readings below the headings: the file has 0 rows there, and none "
        "holds a time and its readings. Export the file again, or check heading_rows in the "
        "profile.",
        "export it again",
    ),
    Mistake(
        "a spreadsheet for the logger's own file",
        workbook,
        f"{LOG}:1:1: this is a spreadsheet file, whatever its name ends in: a log is read from "
        "the text file that the logger exports. Put the logger's own file here, or save the "
        "sheet as .csv.",
        "what to put there is said",
    ),
    Mistake(
        "°F in a column said to be °C, in a step",
        changed(FILES["schedule"], "50 °C", "122 °C"),
        f"{FILES['schedule']}:15:3: step 1 of 'red-oak-4-4': no air has a dry bulb of 122 °C "
        "with depression 9 K. Check the units first, as °F written for °C; then whether a wet "
        "bulb was written in place of a depression, or the other way round.",
        "the slip that it mostly is comes first",
    ),
    Mistake(
        "the schedule was not revised",
        changed(CHARGE, "schedule_revision: 1", "schedule_revision: 2"),
        f"{CHARGE}:6:20: schedule_revision '2': schedule 'red-oak-4-4' is at revision 1. Write "
        "the revision that was run.",
        "it names both revisions",
    ),
    Mistake(
        "no such folder",
        lambda _: None,
        "ROOT/none:1:1: this is not a mill's folder: there is no such folder. Name the folder "
        "that holds content/ and schedules/; 'kilnfolio new mill FOLDER' makes one.",
        "it says what the folder holds",
        ("check", "ROOT/none"),
    ),
    Mistake(
        "the folder inside the mill's",
        lambda _: None,
        "ROOT/content:1:1: this is not a mill's folder: it holds no folder content/. Name the "
        "folder that holds content/ and schedules/; 'kilnfolio new mill FOLDER' makes one.",
        "one folder up",
        ("check", "ROOT/content"),
    ),
    Mistake(
        "a library left out",
        lambda root: (root / FILES["limits"]).unlink(),
        "schedules/limits.yaml:1:1: the file cannot be read: no such file or directory. Check "
        "the name, its ending and its folder; a file that was deleted comes back from your "
        "backup, and the library's from a folder that 'kilnfolio new mill' makes.",
        "both places it can be had from are named",
    ),
    Mistake(
        "two mills in one folder",
        lambda root: shutil.copy(root / FILES["mill"], root / "content/mill-2.yaml"),
        "content/mill-2.yaml:1:1: this file would not be read: a folder holds one mill, in "
        "content/mill.yaml. Rename or move it.",
        "the file to move is named",
    ),
    Mistake(
        "a new mill where one is",
        lambda _: None,
        "ROOT:1:1: this folder holds a mill already: a folder holds one mill. Name another "
        "folder, or add to this mill with 'kilnfolio new kiln' and the others.",
        "both ways out are given",
        (
            "new",
            "mill",
            "ROOT",
            "--name",
            "X",
            "--place",
            "Y",
            "--country",
            "Canada",
            "--time-zone",
            "America/Toronto",
            "--altitude",
            "310 m",
            "--email",
            "a@b.example",
            "--practice",
            "British",
            "--kiln",
            "Kiln 1, steam, 42 m³, 85 °C",
        ),
    ),
    Mistake(
        "a charge begun twice",
        lambda _: None,
        f"{CHARGE}:1:1: this file already exists: a new record never replaces an existing one. "
        "Choose another id, or remove it first.",
        "nothing was lost",
        ("new", "charge", "C1", "ROOT", "--loaded", "2026-06-01T07:00"),
    ),
    Mistake(
        "the ending of another habit",
        lambda root: (root / KILN).rename((root / KILN).with_suffix(".yml")),
        "content/kilns/k1.yml:1:1: this file would not be read: records of this kind are kept "
        "as content/kilns/ID.yaml. Rename or move it.",
        "the name it should have is given",
    ),
    Mistake(
        "an ending the editor added",
        lambda root: (root / KILN).rename((root / KILN).with_suffix(".yaml.txt")),
        "content/kilns/k1.yaml.txt:1:1: this file would not be read: records of this kind are "
        "kept as content/kilns/ID.yaml. Rename or move it.",
        "the ending shows",
    ),
    Mistake(
        "a copy that a shared folder made",
        lambda root: shutil.copy(root / CHARGE, (root / CHARGE).with_name("charge (1).yaml")),
        "content/charges/2026/C1/charge (1).yaml:1:1: this file would not be read: records of "
        "this kind are kept as content/charges/YEAR/ID/charge.yaml. Rename or move it.",
        "the copy is named",
    ),
    Mistake(
        "a copied folder",
        lambda root: shutil.copytree(
            (root / CHARGE).parent, (root / CHARGE).parent.with_name("C1 - copy")
        ),
        "content/charges/2026/C1 - copy/charge.yaml:2:5: id 'C1': the folder is named 'C1 - "
        "copy', and the two must be the same. Rename the folder; a copy is moved out of "
        "content/.",
        "it says where a copy may not lie",
    ),
    Mistake(
        "a charge that is not there",
        lambda _: None,
        "kilnfolio: there is no charge 'C9' in ROOT; did you mean 'C1'?",
        "the one there is, is offered",
        ("check", "ROOT", "--charge", "C9"),
    ),
    Mistake(
        "a site that is a file",
        lambda root: (root / "site").write_text(""),
        "kilnfolio: ROOT/site is a file, and the site needs a folder: name another with --out",
        "the option is given",
        ("build", "ROOT", "--without-pdf"),
    ),
    Mistake(
        "the mark of an open spreadsheet",
        sheet("~$boards.xlsx", b"\x05Quill"),
        "~$boards.xlsx:1:1: this is the lock file that a spreadsheet program leaves beside an open file: the sheet is the file without it. Close the sheet, and name the file "
        "itself: boards.xlsx.",
        "the right name is given",
        ("import", "weighings", "ROOT/~$boards.xlsx", "ROOT", "--charge", "C1"),
    ),
    Mistake(
        "an old spreadsheet, or one with a password",
        sheet("s.csv", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"),
        "s.csv:1:1: this is an old spreadsheet file (.xls), or one with a password: only .xlsx "
        "and .csv are read. Save it as .xlsx without a password.",
        "how to save it is said",
        IMPORT,
    ),
    Mistake(
        "a sheet that is not there",
        lambda _: None,
        "s.csv:1:1: the file cannot be read: no such file or directory. Check the name, its "
        "ending and its folder.",
        "the name is repeated",
        IMPORT,
    ),
    Mistake(
        "a sheet without units",
        sheet("s.csv", b"Date,Time,S1\n2026-06-09,07:10,2380\n"),
        "s.csv:2:3: C2 '2380': it has no unit, and neither has its heading. Give it with --unit "
        "g, or write the unit into the heading.",
        "both ways are given",
        IMPORT,
    ),
    Mistake(
        "kilograms under a heading of grams",
        sheet("s.csv", b"Date,Time,S1 (g)\n2026-06-07,08:00,2.246\n"),
        f"{CHARGE}:96:9: board S1 at 2026-06-07 08:00: the record says 2246 g, and s.csv says "
        "2.246 g. If the sheet is right: kilnfolio correct C1 weighings.6.masses.S1 '2.246 g' "
        "--reason …; if the record is right, mend the sheet.",
        "both values stand side by side",
        IMPORT,
    ),
    Mistake(
        "a tag the charge has not",
        sheet("s.csv", b"Board,Date,Time,Mass (g)\nS9,2026-06-09,07:10,2380\n"),
        "s.csv:2:1: A2 board 'S9': the charge has no board of this tag. It has S1, S2, S3.",
        "the tags there are, are listed",
        IMPORT,
    ),
    Mistake(
        "a sheet for a charge nobody began",
        sheet("s.csv", b"Date,S1 (g)\n"),
        "content/charges:1:1: charge 'C7': there is no charge of this number. Did you mean 'C1'? "
        "Otherwise begin it with 'kilnfolio new charge C7'.",
        "the command is given",
        (*IMPORT[:-1], "C7"),
    ),
    Mistake(
        "a day that no calendar has, in a sheet",
        sheet("s.csv", b"Date,Time,S1 (g)\n2026-06-31,07:10,2230\n"),
        "s.csv:2:1: A2 '2026-06-31' and '07:10': there is no such date or time. Check "
        "day, month and time of day.",
        "the cell is named",
        IMPORT,
    ),
    Mistake(
        "the same board twice in a round",
        sheet("s.csv", b"Date,Time,S1 (g)\n2026-06-08,07:10,2230\n2026-06-08,07:10,2231\n"),
        "s.csv:3:3: C3 '2231': board S1 was weighed already at 2026-06-08T07:10. Keep the right one.",
        "the cell is named; one of the two rows is taken out",
        IMPORT,
    ),
    Mistake(
        "a row without a date",
        sheet("s.csv", b"Date,Time,S1 (g)\n2026-06-08,07:10,2230\n,07:10,2225\n"),
        "s.csv:3:1: A3: this row has no date. Write it into the sheet, or name the column of "
        "dates with --column 'HEADING=date'.",
        "the row is named",
        IMPORT,
    ),
    Mistake(
        "a role of a column that does not exist",
        sheet("s.csv", b"Date,Time,S1 (g)\n2026-06-08,07:10,2230\n"),
        "--column:1:1: 'Date=day': a column is given as HEADING=ROLE. ROLE is one of oven-dry, "
        "board-mass, section, green, mc, pack, position, board, hours, mass, by, date, time, "
        "charge, ignore, or board:TAG for the masses of a board.",
        "the roles are listed",
        (*IMPORT, "--column", "Date=day"),
    ),
    Mistake(
        "a colon for the equals sign of a mass",
        lambda _: None,
        "weigh:1:1: 'S1:2230': a mass is written as BOARD=MASS. Write it as in S1=3.978.",
        "an example stands there",
        ("weigh", "C1", "S1:2230", "--folder", "ROOT"),
    ),
    Mistake(
        "two points in a mass",
        lambda _: None,
        "entry:1:1: masses.S1 '2.23.0 g': holds more than one number. Write one mass, as in '4862 "
        "g', or as in '4 lb 3 oz'.",
        "the board is named",
        ("weigh", "C1", "S1=2.23.0", "--folder", "ROOT"),
    ),
    Mistake(
        "a minus before a mass",
        lambda _: None,
        "entry:1:1: masses.S1 '-2230 g': is below 0 g, where nothing is. Check the sign.",
        "the board is named",
        ("weigh", "C1", "S1=-2230", "--folder", "ROOT"),
    ),
    Mistake(
        "a round without masses",
        lambda _: None,
        "weigh:1:1: no mass is given: a round has the mass of at least one board. Write each as "
        "BOARD=MASS, as in S1=3.978.",
        "an example stands there",
        ("weigh", "C1", "--folder", "ROOT"),
    ),
    Mistake(
        "a kiln that is not there, for a new charge",
        lambda _: None,
        "new charge:1:1: kiln 'k9': there is no kiln of this id. Did you mean 'k1'? Otherwise "
        "begin it first with 'kilnfolio new kiln k9', or leave --kiln out.",
        "the one there is, is offered",
        ("new", "charge", "C2", "ROOT", "--kiln", "k9"),
    ),
    Mistake(
        "a board twice in a round",
        lambda _: None,
        "weigh:1:1: board 'S1': it is named twice. Give each board once.",
        "takes one of the two out",
        ("weigh", "C1", "S1=2230", "S1=2231", "--folder", "ROOT"),
    ),
    Mistake(
        "the letter o in a mass",
        lambda _: None,
        "entry:1:1: masses.S1 '22o3': has the letter o among its digits. Write '2203'.",
        "looks at the scale again, and types digits",
        ("weigh", "C1", "S1=22o3", "--folder", "ROOT"),
    ),
    Mistake(
        "a round of a time that has one already",
        lambda _: None,
        "content/charges/2026/C1/charge.yaml:1:1: round of 2026-06-04T08:00, board S1: the record says 2306 g, the entry 2230 g: an entry never changes existing values. If the record is wrong: kilnfolio correct C1 ….",
        "the command that corrects is named",
        ("weigh", "C1", "S1=2230", "--at", "2026-06-04T08:00", "--folder", "ROOT"),
    ),
    Mistake(
        "a charge nobody has begun",
        lambda _: None,
        "content/charges:1:1: charge 'C9': there is no charge of this number. Did you mean 'C1'? Otherwise begin it with 'kilnfolio new charge C9'.",
        "the one there is, is offered",
        ("weigh", "C9", "S1=2230", "--folder", "ROOT"),
    ),
    Mistake(
        "the end of a stop that never began",
        lambda _: None,
        "stop:1:1: no cause is given: there is no open stop to end. Say why: kilnfolio stop C1 'power cut' --from 03:10.",
        "gives the cause, as in the example",
        ("stop", "C1", "--folder", "ROOT"),
    ),
    Mistake(
        "the end of equalizing that never began",
        lambda _: None,
        "equalizing:1:1: equalizing has not begun: so it cannot end. First: kilnfolio equalize C1 begin.",
        "the command to give first is named",
        ("equalize", "C1", "end", "--folder", "ROOT"),
    ),
    Mistake(
        "a correction of a board that was not weighed",
        lambda _: None,
        "correct:1:1: 'S9@2026-06-04T08:00': board S9 is not in that round. It has S1, S2, S3.",
        "the boards of the round are named",
        (
            "correct",
            "C1",
            "S9@2026-06-04T08:00",
            "2300 g",
            "--reason",
            "misread",
            "--folder",
            "ROOT",
        ),
    ),
    Mistake(
        "an answer to no finding",
        lambda _: None,
        "answer:1:1: 'gained-weight-9': the charge has no such finding. 'kilnfolio check --charge C1' prints them.",
        "the command that prints them is named",
        ("answer", "C1", "gained-weight-9", "scale", "--folder", "ROOT"),
    ),
    Mistake(
        "an hour no clock shows",
        lambda _: None,
        "--at:1:1: '25:10': no clock shows it. Write it as in 07:10.",
        "types the hour again",
        ("wick", "C1", "--at", "25:10", "--folder", "ROOT"),
    ),
    Mistake(
        "a day in words",
        lambda _: None,
        "--at:1:1: 'tomorrow': it is not a time. Write it as in 07:10 or 2026-03-02T07:10.",
        "two forms are shown",
        ("note", "C1", "x", "--at", "tomorrow", "--folder", "ROOT"),
    ),
    Mistake(
        "another end than the record's",
        lambda _: None,
        "content/charges/2026/C1/charge.yaml:1:1: ended: the record says 2026-06-07T08:00, the entry 2026-06-01T08:00: an entry never changes existing values. If the record is wrong: kilnfolio correct C1 ….",
        "the command that corrects is named",
        ("finish", "C1", "--ended", "2026-06-01T08:00", "--folder", "ROOT"),
    ),
    Mistake(
        "a kind of event that is nearly one",
        lambda _: None,
        "entry:1:1: event 'wick change': it is one of 'wick changed', 'fans reversed', 'door opened', "
        "'sensor changed', 'inspection' or 'note'. Did you mean 'wick changed'?",
        "the one that is offered",
        ("note", "C1", "--kind", "wick change", "--folder", "ROOT"),
    ),
    Mistake(
        "a step the schedule has not",
        lambda _: None,
        f"{CHARGE}:109:32: step '9': schedule 'red-oak-4-4' has 2 steps. Check the number.",
        "looks at the schedule, whose steps are counted",
        ("step", "C1", "9", "--at", "2026-06-05T08:00", "--folder", "ROOT"),
    ),
    Mistake(
        "a schedule to copy that there is not",
        lambda _: None,
        "schedules:1:1: schedule 'red-oak-44': there is no schedule of this id. Did you mean "
        "'red-oak-4-4'?",
        "the one there is, is offered",
        ("new", "schedule", "ours", "ROOT", "--from", "red-oak-44"),
    ),
    Mistake(
        "a pattern that fits no export",
        lambda _: None,
        "import log:1:1: 'ROOT/day-*.csv': there is no export of this name. Name the file, its "
        "folder, or a pattern such as 'logs/*.csv'.",
        "the folder that was looked in is named",
        ("import", "log", "ROOT/day-*.csv", "ROOT", "--kiln", "k1"),
    ),
    Mistake(
        "a row of an event in an export that has grown",
        sheet("x.csv", ROWS + b"2026-06-01 09:00,EVENT door,\n"),
        "x.csv:4:18: DB 'EVENT door': it is not a number as the profile 'two-bulbs' says they are "
        "written. If it marks a missing value, write \"missing: ['EVENT door']\" in the profile; if "
        "the row records an event, write the word its cell begins with under ignored_rows.",
        "knows that it is an event, and the key is named",
        LOG_AGAIN,
    ),
    Mistake(
        "another clock than the profile's",
        sheet("x.csv", ROWS),
        "import log:1:1: --clock utc: the profile content/loggers/two-bulbs.yaml says local, and "
        "charges are read by it. Leave --clock out, or begin another profile with --id.",
        "both ways are given",
        (*LOG_AGAIN, "--clock", "utc"),
    ),
    Mistake(
        "a survey that ends with an average nobody named",
        sheet("s.csv", b"Pack,Position,MC %\nP1,door,12.2\nP1,back,12.4\nP2,door,12.0\n,,12.2\n"),
        "s.csv:5:3: C5 '12.2': it is the mean of the rows above and names no pack. Is it their "
        "average? Then delete the row or label it 'Average'; if it is a piece, name its pack.",
        "the question has two answers, and each says what to do",
        (*SURVEY, "--by", "A", "--method", "resistance meter", "--corrected-for", "species"),
    ),
    Mistake(
        "entries that were cut off on the way",
        entries(cut=-30),
        "not taken: a.json:1:1: the file is incomplete: it was cut off on the way. Hand it "
        "over again from the device, which keeps it.",
        "the device still has them",
        TAKE,
        1,
    ),
    Mistake(
        "a sheet handed over as entries",
        lambda root: (root / "a.json").write_text("S1=2250", "utf-8"),
        "not taken: a.json:1:1: this is not an entry file: expecting value: line 1 column 1 (char 0). "
        "Hand it over again from the device, which keeps it.",
        "sees that it is another file",
        TAKE,
        1,
    ),
    Mistake(
        "entries for a charge nobody has begun",
        entries(charge="C9"),
        "not taken: content/charges:1:1: charge 'C9': there is no charge of this number. Did you "
        "mean 'C1'? Otherwise begin it with 'kilnfolio new charge C9'.",
        "the command is given",
        TAKE,
        1,
    ),
    Mistake(
        "entries of a board the charge has not",
        entries(WEIGHED | {"masses": {"S9": "2250 g"}}),
        f"not taken: a.json, entry 1: {CHARGE}:95:12: board 'S9': there is no board of this name. "
        "Did you mean 'S3'?",
        "the entry and the tag are named",
        TAKE,
        1,
    ),
    Mistake(
        "entries of a kind that this version does not know",
        entries(WEIGHED | {"kind": "weighting"}),
        "not taken: a.json:1:1: entries.0.kind 'weighting': an entry is one of weighing, step, stop, "
        "event, stage, finish. Bring the kiln-side page on the device up to date, and hand over again.",
        "what to do with the device is said",
        TAKE,
        1,
    ),
    Mistake(
        "entries without a unit",
        entries(WEIGHED | {"masses": {"S1": "2250"}}),
        "not taken: a.json:1:1: entries.0.weighing.masses.S1 '2250': has no unit. Write '2250 g' if "
        "that is its unit; a mass may be in g, kg, lb, oz.",
        "the words to write stand there",
        TAKE,
        1,
    ),
    Mistake(
        "entries of a time that the record tells otherwise",
        entries(WEIGHED | {"at": "2026-06-04T08:00:00-04:00"}),
        "not taken: a.json, entry 1: round of 2026-06-04T08:00, board S1: the record says 2306 g, the "
        "entry 2250 g",
        "both masses stand side by side; the sheet decides",
        TAKE,
        1,
    ),
    Mistake(
        "entries of a step the schedule has not",
        entries({"kind": "step", "at": "2026-06-05T08:00:00-04:00", "step": 9}),
        f"not taken: a.json, entry 1: {CHARGE}:109:32: step '9': schedule 'red-oak-4-4' has 2 steps. "
        "Check the number.",
        "the number of steps is said",
        TAKE,
        1,
    ),
    Mistake(
        "a picture without a code",
        sheet("a.png", b"x"),
        "not taken: a.png:1:1: no entries were read from this picture: it is not a picture, or is "
        "incomplete. Fill the picture with the code, straight and sharp, and take it again.",
        "how to take it again is said",
        ("take", "--scan", "ROOT/a.png", "--folder", "ROOT"),
        1,
    ),
    Mistake(
        "an export that no open charge expects",
        sheet("x.csv", ROWS),
        "not taken: x.csv:1:1: this export fits no open charge: none has a logger profile that "
        "reads it. Say which charge it belongs to: kilnfolio import log FILE --kiln KILN --charge CHARGE.",
        "the command is given",
        ("take", "ROOT/x.csv", "--folder", "ROOT"),
        1,
    ),
]


@pytest.mark.parametrize("one", MISTAKES, ids=lambda one: one.name)
def test_the_mistake_is_reported_and_nothing_is_written(tmp_path, capsys, one):
    root = minimal_mill(tmp_path / "mill")
    one.make(root)
    before = {path: path.read_bytes() for path in root.rglob("*") if path.is_file()}
    assert main([word.replace("ROOT", str(root)) for word in one.words]) == one.code
    told = capsys.readouterr()
    said = (told.out + told.err).replace(str(root), "ROOT").split("\n")
    assert one.says in said, said
    assert one.acts
    assert not one.acts.startswith("weak")
    assert before == {path: path.read_bytes() for path in root.rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    ("number", "words", "told"),
    [
        (
            errno.ENOSPC,
            "No space left on device",
            "kilnfolio: {}: no space left on device: free some space and try again; the existing files "
            "are intact",
        ),
        (
            errno.EACCES,
            "Permission denied",
            "kilnfolio: {}: permission denied: you are not allowed to read or write it. If it is open in another "
            "program, close it there; otherwise ask whoever keeps this computer, or name another folder",
        ),
        (
            errno.EROFS,
            "Read-only file system",
            "kilnfolio: {}: read-only file system: you are not allowed to read or write it. If it is open in another "
            "program, close it there; otherwise ask whoever keeps this computer, or name another folder",
        ),
    ],
)
def test_an_error_of_the_system_is_reported_with_what_to_do(
    tmp_path, monkeypatch, capsys, number, words, told
):
    root = minimal_mill(tmp_path)
    path = str(root / "content/kilns/k2.yaml")

    def refuse(*_args, **_more):
        raise OSError(number, words, path)

    monkeypatch.setattr("kilnfolio.adopt.records.write_new", refuse)
    assert main(["new", "kiln", "k2", str(root)]) == 2
    assert capsys.readouterr().err == told.format(path) + "\n"
    assert not Path(path).exists()


@pytest.mark.parametrize("file", [CHARGE, LOG])
def test_a_byte_order_mark_is_not_reported_as_a_mistake(tmp_path, file):
    root = minimal_mill(tmp_path)
    (root / file).write_bytes(b"\xef\xbb\xbf" + (root / file).read_bytes())
    assert main(["check", str(root)]) == 1  # the minimal mill's usual two questions


def test_mc_on_the_wet_basis_is_noticed(tmp_path, capsys):
    """120.7 g green over 100 g oven-dry is 20.7 % on the dry mass and 17.1 % on the wet."""
    root = minimal_mill(tmp_path)
    changed(CHARGE, "    oven_dry: 100 g\n", "    oven_dry: 100 g\n    stated_mc: 17.1 %\n")(root)
    assert main(["check", str(root)]) == 1
    assert (
        "wet-basis: Section S1a: this looks like wet-basis MC: 17.1 % is 20.7 % on the "
        "oven-dry mass." in capsys.readouterr().out
    )
