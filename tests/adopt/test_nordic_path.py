"""From an empty folder to a label at a Nordic softwood mill: °C, decimal commas, hand-meter rounds.

Commands, prompts and files edited by hand are counted; the files differ in layout from the
demonstration's and have Swedish headings.
"""

import datetime as dt

import numpy as np
import pytest
from tests.adopt.walking import Walk

from kilnfolio.physics.air import relative_humidity
from kilnfolio.records.folder import open_mill

STARTED = dt.datetime(2026, 3, 2, 8, tzinfo=dt.UTC).replace(tzinfo=None)


#: The mill's own timed schedule: the only file written by hand, twelve lines.
SCHEDULE = """\
format: 1
id: tall-50-timed
title: Pine 50 mm, by time
for_stock: {species: [pinus-sylvestris], thickness: [50 mm], start: any}
approved: {by: A. Lind, on: 2026-02-01}
steps:
  - {name: warm-up, dry_bulb: 50 °C, wet_bulb: 48 °C, hours: 6 h}
  - {name: drying, dry_bulb: 55 °C, wet_bulb: 50 °C, hours: 54 h}
  - {dry_bulb: 60 °C, wet_bulb: 50 °C, hours: 60 h}
source: common practice
status: mill
invented: true
"""


def write_log(path):
    """Write five days of bulbs, one row every half hour, as a Swedish program would export them."""
    noise = np.random.default_rng(3).normal(0.0, 0.1, (241, 2))
    rows = ["Datum;Tid;Torr temp [°C];Våt temp [°C];Luftfuktighet [%];Fläkt"]
    for number, (dry, wet) in enumerate(noise):
        at = STARTED + dt.timedelta(minutes=30 * number)
        base = (55.0, 50.0) if number < 120 else (60.0, 50.0)
        bulbs = base[0] + dry, base[1] + wet
        cells = [f"{bulb:.1f}".replace(".", ",") for bulb in bulbs]
        humidity = f"{float(relative_humidity(*bulbs)):.1f}".replace(".", ",")
        rows.append(f"{at:%Y-%m-%d};{at:%H:%M};{cells[0]};{cells[1]};{humidity};1")
    path.write_text("\r\n".join(rows) + "\r\n", "utf-8-sig")
    return path


def write_survey(path):
    readings = ["17,1", "16,4", "15,8", "16,0", "17,6", "16,5", "16,2", "15,9"]
    rows = ["Paket;Plats;Fuktkvot %;Anm."]
    rows += [
        f"P{number % 2 + 1};{('dörr', 'mitt', 'bak')[number % 3]};{mc};"
        for number, mc in enumerate(readings)
    ]
    path.write_text("\n".join([*rows, "Medel;;16,4;"]) + "\n", "utf-8")
    return path


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    home = tmp_path_factory.mktemp("nordic")
    mill, log, survey = home / "sag", write_log(home / "k1.csv"), write_survey(home / "fk.csv")
    by = ["--folder", mill, "--by", "A. Lind"]
    commands = [
        [
            "new",
            "mill",
            mill,
            "--name",
            "Granviks såg (invented)",
            "--place",
            "Granvik (invented)",
            "--country",
            "Sweden",
            "--altitude",
            "120 m",
            "--practice",
            "continental",
            "--email",
            "office@granvik.example",
            "--kiln",
            "Kammare 1, hot-water, 90 m³, 75 °C",
        ],
        ["new", "keys", mill],
        [
            "new",
            "charge",
            "26-101",
            mill,
            "--schedule",
            "tall-50-timed",
            "--species",
            "pinus-sylvestris",
            "--thickness",
            "50 mm",
            "--volume",
            "80 m³",
            "--target-mc",
            "16 %",
            "--loaded",
            "2026-03-02T07:00",
            "--started",
            "2026-03-02T08:00",
        ],
        ["step", "26-101", "1", "--at", "2026-03-02T08:00", *by],
        ["step", "26-101", "2", "--at", "2026-03-02T14:00", *by],
        ["weigh", "26-101", "N1=42%", "N2=38%", "N3=40%", "--at", "2026-03-03T07:00", *by],
        ["weigh", "26-101", "N1=24,5%", "N2=21%", "N3=22%", "--at", "2026-03-05T07:00", *by],
        ["step", "26-101", "3", "--at", "2026-03-04T20:00", *by],
        [
            "import",
            "log",
            log,
            mill,
            "--kiln",
            "kammare-1",
            "--charge",
            "26-101",
            "--column",
            "Torr temp [°C]=dry-bulb:°C",
            "--column",
            "Våt temp [°C]=wet-bulb:°C",
            "--column",
            "Luftfuktighet [%]=relative-humidity:%",
            "--column",
            "Fläkt=fan:on/off",
            "--time-format",
            "%Y-%m-%d %H:%M",
            "--clock",
            "standard",
            "--yes",
        ],
        ["finish", "26-101", "--ended", "2026-03-07T08:00", "--unloaded", "2026-03-07T14:00", *by],
        [
            "import",
            "survey",
            survey,
            mill,
            "--charge",
            "26-101",
            "--decimal",
            ",",
            "--at",
            "2026-03-08T10:00",
            "--by",
            "A. Lind",
            "--method",
            "resistance meter",
            "--corrected-for",
            "temperature",
            "species",
        ],
        [
            "new",
            "lot",
            "L26-101",
            mill,
            "--product",
            "Pine boards, 50 mm",
            "--target-mc",
            "16 %",
            "--rule",
            "maximum",
            "--highest",
            "19 %",
            "--share",
            "90 %",
            "--charge",
            "26-101",
            "--pack",
            "P1",
            "--pieces",
            "180",
            "--volume",
            "6.2 m³",
            "--issued",
            "2026-03-09",
        ],
        ["sign", "26-101", *by],
        ["check", mill],
        ["seal", "26-101", mill, "--by", "A. Lind"],
        ["seal", "L26-101", mill, "--lot", "--by", "A. Lind"],
        ["labels", "--folder", mill, "--out", home / "etiketter.pdf"],
    ]
    walk = Walk()
    for words in commands:
        walk.phase = (
            "day"
            if words[0] == "weigh"
            else "mill"
            if words[0] == "new" and words[1] in ("mill", "keys")
            else "charge"
        )
        walk.run(*words)
        if words[1] == "keys":
            schedule, record = (
                mill / "schedules/softwood/tall-50-timed.yaml",
                mill / "content/mill.yaml",
            )
            walk.edit(schedule, SCHEDULE, len(SCHEDULE.splitlines()))
            address = record.read_text("utf-8").replace("records.invalid", "intyg.granvik.example")
            walk.edit(record, address, 1)
    return mill, walk


def test_the_path_ends_with_a_label_and_within_these_counts(walked):
    mill, walk = walked
    codes = dict(walk.codes)
    assert codes.pop(f"check {mill}") in (0, 1)  # the checks may ask
    assert set(codes.values()) == {0}, walk.codes
    assert (mill.parent / "etiketter.pdf").read_bytes().startswith(b"%PDF")
    print(walk.told("Nordic, softwood"))  # noqa: T201
    most = {"commands": 2, "prompts": 0, "lines": 15, "files": 2}
    assert all(walk.counts("mill")[what] <= count for what, count in most.items())
    most = {"commands": 13, "prompts": 0, "lines": 13, "files": 0}
    assert all(walk.counts("charge")[what] <= count for what, count in most.items())
    assert walk.counts("day") == {"commands": 2, "prompts": 0, "lines": 2, "files": 0}  # two rounds


def test_the_records_contain_what_the_files_and_commands_said(walked):
    charge = open_mill(walked[0]).charges["26-101"].record
    assert [round_.mc["N1"].value for round_ in charge.mc_rounds] == [42.0, 24.5]
    assert [round_.method for round_ in charge.mc_rounds] == ["hand meter", "hand meter"]
    assert [one.mc.value for one in charge.survey.readings] == [
        17.1,
        16.4,
        15.8,
        16.0,
        17.6,
        16.5,
        16.2,
        15.9,
    ]
    assert charge.survey.readings[0].position == "dörr"
    assert charge.ended.isoformat() == "2026-03-07T08:00:00+01:00"
    assert charge.log[0].file == "k1.csv"
