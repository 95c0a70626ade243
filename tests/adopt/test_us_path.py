"""From an empty folder to a label at a hardwood mill in the United States: pounds, °F, month first.

The files differ in layout from the demonstration's: a sheet of sections with other headings, an
export with a 12-hour clock and a depression instead of a wet bulb, a survey whose headings say
nothing. Commands, prompts, lines typed and files edited by hand are counted, for the mill, a charge
and a day.
"""

import datetime as dt
import math

import numpy as np
import pytest
from tests.adopt.walking import Walk

from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill

STARTED = dt.datetime.fromisoformat("2026-05-04T09:00")
POUND = 453.59237
#: Tag, oven-dry mass [lb] and MC [%] of six boards at the start; MC nears 9 % within days.
BOARDS = {
    "A1": (4.40, 21.0),
    "A2": (4.65, 20.6),
    "A3": (4.18, 20.2),
    "A4": (4.52, 19.9),
    "A5": (4.31, 19.7),
    "A6": (4.77, 19.5),
}
DAYS = 6


def mass(tag, day):
    """Return a board's mass on a day [lb]."""
    dry, mc = BOARDS[tag]
    return round(dry * (1 + (9 + (mc - 9) * math.exp(-0.13 * day)) / 100), 2)


def write_sections(path):
    rows = ["Sample,Wafer,Wet wt (g),OD wt (g),Sample wt (lb),Cut on,Operator"]
    for tag, (_, mc) in BOARDS.items():
        for part in "ab":
            green = 100 * (1 + mc / 100)
            rows.append(
                f"{tag},{tag}{part},{green:.1f},100.0,{mass(tag, 0) if part == 'a' else ''},"
                "5/4/2026 7:15 AM,J. Doe"
            )
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return path


def write_log(path):
    noise = np.random.default_rng(11).normal(0.0, 0.15, (DAYS * 48 + 1, 2))
    rows = ["Timestamp,Dry Bulb F,Depression F,Fan Pct"]
    for number, (dry, wet) in enumerate(noise):
        at = STARTED + dt.timedelta(minutes=30 * number)
        base = (120.0, 16.0) if number < 144 else (130.0, 20.0)
        rows.append(f"{at:%m/%d/%Y %I:%M %p},{base[0] + dry:.1f},{base[1] + wet:.1f},80")
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return path


def write_survey(path):
    readings = [13.6, 14.3, 13.1, 14.0, 14.8, 13.4, 14.2, 13.9, 14.5, 13.7, 13.2, 14.6]
    rows = ["Bundle,Reading,Remarks"]
    rows += [
        f"{1 + number % 3},{mc},{'near door' if number == 4 else ''}"
        for number, mc in enumerate(readings)
    ]
    path.write_text("\n".join([*rows, f"Average,{sum(readings) / 12:.1f},"]) + "\n", "utf-8")
    return path


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    home, walk = tmp_path_factory.mktemp("us"), Walk()
    mill = home / "mill"
    walk.run(
        "new", "mill", mill, "--time-zone", "America/New_York",
        answers=("Hollow Creek Lumber (invented)", "Hollow Creek (invented), Ohio, United States",
                 "870 ft", "", "Kiln A, steam, 35 mbf, 180 °F", ""),
    )  # fmt: skip
    walk.run("new", "keys", mill)
    record = mill / "content/mill.yaml"
    walk.edit(
        record,
        record.read_text("utf-8")
        .replace("office@records.invalid", "office@hollow-creek.example")
        .replace("records.invalid", "records.hollow-creek.example"),
        2,
    )
    walk.phase = "charge"
    by = ["--folder", mill, "--by", "J. Doe"]
    walk.run(
        "new", "charge", "26-007", mill, "--schedule", "quercus-rubra-4-4",
        "--species", "quercus-rubra", "--thickness", "4/4", "--volume", "16 mbf", "--start", "air-dried", "--target-mc", "12 %",
        "--loaded", "2026-05-04T08:00", "--started", "2026-05-04T09:00",
    )  # fmt: skip
    walk.run("import", "boards", write_sections(home / "od.csv"), mill, "--charge", "26-007",
             "--dates", "month-first", "--yes")  # fmt: skip
    walk.run("step", "26-007", "4", "--at", "2026-05-04T09:00", "--reason", "air-dried stock", *by)
    for day in range(1, DAYS + 1):
        walk.phase = "day"
        masses = [f"{tag}={mass(tag, day):.2f}" for tag in BOARDS]
        walk.run("weigh", "26-007", *masses, "--at", f"2026-05-{4 + day:02}T09:00", "--yes", *by)
    walk.phase = "charge"
    walk.run(
        "import", "log", write_log(home / "kilnA.csv"), mill, "--kiln", "kiln-a",
        "--charge", "26-007", "--time-format", "%m/%d/%Y %I:%M %p", "--clock", "local",
        "--column", "Dry Bulb F=dry-bulb:°F", "--column", "Depression F=depression:°F",
        "--column", "Fan Pct=fan:%", "--yes",
    )  # fmt: skip
    walk.run("finish", "26-007", "--ended", "2026-05-10T09:00", "--unloaded", "2026-05-10T15:00",
             "--yes", *by)  # fmt: skip
    walk.run(
        "import", "survey", write_survey(home / "final.csv"), mill, "--charge", "26-007", "--yes",
        "--at", "2026-05-11T08:00", "--by", "J. Doe", "--method", "resistance meter",
        "--corrected-for", "temperature", "species",
    )  # fmt: skip
    walk.run("sign", "26-007", *by)
    walk.run(
        "new", "lot", "L26-007", mill, "--product", "Red oak, 4/4", "--target-mc", "12 %",
        "--lowest", "10 %", "--highest", "16 %", "--share", "90 %", "--charge", "26-007",
        "--pack", "P1", "--pieces", "240", "--volume", "1200 bf", "--issued", "2026-05-12",
    )  # fmt: skip
    walk.run("check", mill)
    walk.run("seal", "26-007", mill, "--by", "J. Doe")
    walk.run("seal", "L26-007", mill, "--lot", "--by", "J. Doe")
    walk.run("labels", "--folder", mill, "--sheet", "letter-102x85", "--out", home / "labels.pdf")
    return mill, walk


def test_the_path_ends_with_a_label_and_within_these_counts(walked):
    mill, walk = walked
    codes = dict(walk.codes)
    checks = codes.pop(f"check {mill}")
    assert checks in (0, 1)  # the checks may ask
    assert set(codes.values()) == {0}, walk.codes
    assert (mill.parent / "labels.pdf").read_bytes().startswith(b"%PDF")
    print(walk.told("United States, hardwood"))  # noqa: T201
    most = {"commands": 2, "prompts": 6, "lines": 10, "files": 1}
    assert all(walk.counts("mill")[what] <= count for what, count in most.items())
    most = {"commands": 12, "prompts": 0, "lines": 12, "files": 0}
    assert all(walk.counts("charge")[what] <= count for what, count in most.items())
    assert walk.counts("day") == {"commands": DAYS, "prompts": 0, "lines": DAYS, "files": 0}


def test_pounds_and_fahrenheit_are_recorded_as_written(walked):
    charge = checked_mill(walked[0]).charges["26-007"].record
    assert len(charge.weighings) == DAYS
    assert len(charge.weighings[0].masses) == 6
    first = charge.weighings[0].masses["A1"]
    assert first.entered == f"{mass('A1', 1):.2f} lb"
    assert first.value == pytest.approx(mass("A1", 1) * POUND)
    assert [one.pack for one in charge.survey.readings][:3] == ["1", "2", "3"]
    assert len(charge.survey.readings) == 12  # and no average among them
    assert charge.boards[0].weighed_at.isoformat() == "2026-05-04T07:15:00-04:00"


def test_the_answer_to_a_round_is_in_pounds_and_fahrenheit(walked, capsys):
    """The current step is given in the mill's units first: 110 °F is step 4 of the schedule."""
    words = ["note", "26-007", "Fan 2 hums", "--at", "2026-05-09T10:00", "--by", "J. Doe"]
    assert main([*words, "--folder", str(walked[0]), "--dry-run"]) == 0
    assert "dry bulb 110 °F (43.3 °C)" in capsys.readouterr().out
