"""Tables as older records hold them: MC without masses, air by hours; what is lacking is said."""

import datetime as dt

import pytest
from tests.minimal import DROP, minimal_mill

from kilnfolio.adopt.sheets.air import import_air
from kilnfolio.adopt.sheets.table import Options
from kilnfolio.cli import main
from kilnfolio.records.folder import open_mill
from kilnfolio.records.log import read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.reading import located_charge
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml

#: Heating began at 08:00 on 2026-06-01, in a zone four hours behind UTC.
MC = """charge,wood,hour,board_1_mc_pct,board_2_mc_pct,controlling_mc_pct
C1,oak,0,40.5,38,40.5
C1,oak,37.5,35.25,,35.25
C2,oak,0,50,51,50.5
"""
AIR = """charge,hour_end,dry_bulb_c,emc_pct
C1,4,43.2,16.4
C1,8,43.1,15.6
C2,4,50,12
"""


@pytest.fixture
def mill(tmp_path):
    return minimal_mill(
        tmp_path / "mill",
        charge={"boards": DROP, "weighings": DROP, "survey": DROP, "log": DROP},
        log=None,
    )


def bring(mill, tmp_path, kind, text, *words):
    (tmp_path / "table.csv").write_text(text, "utf-8")
    return main(
        ["import", kind, str(tmp_path / "table.csv"), str(mill), "--charge", "C1", "--yes", *words]
    )


def charge_of(mill):
    return located_charge(open_mill(mill).graph, "C1").record


def rounds_of(mill):
    return [
        (f"{one.at:%m-%d %H:%M}", one.method, {tag: mc.value for tag, mc in one.mc.items()})
        for one in charge_of(mill).mc_rounds
    ]


def test_mc_by_hours_of_one_charge_among_others(mill, tmp_path, capsys):
    assert bring(mill, tmp_path, "mc", MC) == 0
    said = capsys.readouterr().err
    assert "1 row of other charges (C2) is left out" in said
    assert "'controlling_mc_pct' is not used" in said
    expected = [
        ("06-01 08:00", "as recorded", {"1": 40.5, "2": 38.0}),
        ("06-02 21:30", "as recorded", {"1": 35.25}),
    ]
    assert rounds_of(mill) == expected
    grown = MC + "C1,oak,60,30,29,30\n"
    assert bring(mill, tmp_path, "mc", grown) == 0
    assert rounds_of(mill) == [*expected, ("06-03 20:00", "as recorded", {"1": 30.0, "2": 29.0})]
    assert bring(mill, tmp_path, "mc", grown.replace("35.25,,", "36,,")) == 2
    assert "the record says 35.25 %, and table.csv says 36 %" in capsys.readouterr().err


@pytest.mark.parametrize(
    "text",
    [
        "Date,Time,Board,MC %\n2026-06-02,07:10,S1,30\n2026-06-02,07:10,S2,31\n",
        "Date,Time,S1 MC (%),S2 MC (%),S1 (g)\n2026-06-02,07:10,30,31,2380\n",
        "Board,2026-06-02 07:10\nS1,30\nS2,31\n",
    ],
)
def test_mc_by_dates(mill, tmp_path, text):
    assert bring(mill, tmp_path, "mc", text, "--method", "hand meter") == 0
    assert rounds_of(mill) == [("06-02 07:10", "hand meter", {"S1": 30.0, "S2": 31.0})]


def test_masses_by_hours(tmp_path):
    mill = minimal_mill(tmp_path / "mill", charge={"weighings": DROP, "survey": DROP})
    assert bring(mill, tmp_path, "weighings", "Hour,S1 (g),S2 (g)\n24,2380,2500\n") == 0
    [weighing] = charge_of(mill).weighings
    assert f"{weighing.at:%m-%d %H:%M}" == "06-02 08:00"


def test_the_hour_that_autumn_repeats_is_told_apart(tmp_path):
    mill = minimal_mill(
        tmp_path / "mill",
        charge=lambda one: (
            [one.pop(key) for key in ("boards", "weighings", "survey")]
            and one.update(loaded="2025-11-01T07:00", started="2025-11-01T08:30")
        ),
    )
    # Clocks in Toronto go back at 02:00 on 2025-11-02 (IANA time zone database).
    (tmp_path / "table.csv").write_text("hour,S1,S2\n17,40,41\n18,39,40\n", "utf-8")
    words = ["import", "mc", str(tmp_path / "table.csv"), str(mill), "--charge", "C1", "--dry-run"]
    assert main(words) == 0


def test_air_by_hours(mill, tmp_path, capsys):
    assert bring(mill, tmp_path, "air", AIR) == 0
    assert "1 row of other charges (C2) is left out" in capsys.readouterr().err
    [entry] = charge_of(mill).log
    profile = validate(
        read_yaml(mill / f"content/loggers/{entry.profile}.yaml", "p"), LoggerProfile
    ).record
    beside = mill / "content/charges/2026/C1" / entry.file
    log = read_log(beside, "air.csv", profile, dt.UTC)
    assert [str(time) for time in log.times] == ["2026-06-01T16:00:00", "2026-06-01T20:00:00"]
    assert log.channels["dry-bulb"].tolist() == [43.2, 43.1]
    assert log.channels["emc"].tolist() == [16.4, 15.6]
    assert log.interval_minutes == 240
    assert bring(mill, tmp_path, "air", AIR) == 0
    assert "nothing new" in capsys.readouterr().err
    assert bring(mill, tmp_path, "air", AIR + "C1,12,44,15\n") == 0
    assert len(beside.read_text("utf-8").splitlines()) == 4
    assert bring(mill, tmp_path, "air", AIR.replace("43.1", "34.1")) == 2
    assert "it says dry-bulb 43.1; this file says 34.1" in capsys.readouterr().err


def test_air_by_dates_in_fahrenheit_with_what_was_told(mill, tmp_path):
    text = "When;A;B\n2026-06-01 10:00;110,5;104\n2026-06-01 14:00;111;105\n"
    words = ("--column", "A=dry-bulb:°F", "--column", "B=wet-bulb:°F")
    assert bring(mill, tmp_path, "air", text, *words) == 0
    written = (mill / "content/charges/2026/C1/air.csv").read_text("utf-8").splitlines()
    assert written == [
        "Time (UTC),Dry bulb (°F),Wet bulb (°F)",
        "2026-06-01 14:00,110.5,104",
        "2026-06-01 18:00,111,105",
    ]


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        ("mc", MC.replace("C1", "C3"), "no row is of charge C1"),
        ("mc", "hour,S1\nsoon,40\n24,41\n", "it is not a number of hours since heating began"),
        ("mc", "Date,Time,S1 (g)\n2026-06-02,07:10,2380\n", "no sheet holds the MC of boards"),
        ("weighings", MC, "kilnfolio import mc"),
        ("air", "hour,dry_bulb_c\n4,40\n8,41\n", "do not name the humidity"),
        ("air", "Date,Time,dry_bulb_c,emc_pct\n", "do not name a dry bulb"),
        ("air", "hour,dry_bulb_c,emc_pct\n4,x,12\n8,41,12\n", "'x'"),
        ("air", "hour,dry_bulb_c,emc_pct\n4,40,12\n12,41,12\n", "480 min apart"),
        ("air", "hour,dry_bulb_c,emc_pct\n4,40,12\n4,41,12\n", "an earlier row has this time too"),
        ("air", "hour,dry_bulb_c,wet_bulb_c\n4,40,45\n8,41,46\n", "the two may be swapped"),
    ],
)
def test_what_cannot_be_read_is_said(mill, tmp_path, capsys, kind, text, said):
    before = (mill / "content/charges/2026/C1/charge.yaml").read_bytes()
    assert bring(mill, tmp_path, kind, text) == 2
    assert said in capsys.readouterr().err
    assert (mill / "content/charges/2026/C1/charge.yaml").read_bytes() == before


def test_a_charge_that_has_not_begun(tmp_path):
    mill = minimal_mill(tmp_path / "mill", charge={"started": "…", "log": DROP}, log=None)
    (tmp_path / "table.csv").write_text(AIR, "utf-8")
    with pytest.raises(RecordProblems, match="does not say when that was"):
        import_air(mill, tmp_path / "table.csv", "C1", Options())
