"""No damaged file causes a traceback, a hang or excessive memory; none is taken for intact."""

import datetime as dt
import io
import itertools
import shutil
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import strategies as st
from PIL import Image
from tests.adopt.own_files import write_log, write_survey, write_workbook
from tests.adopt.test_entries import DAY, NOW, RUNNING, at, entry_file
from tests.archive.sealing import NOTICE, seal_charge, verify_ledger
from tests.fuzz.damage import JSON, TABLE, YAML, damaged, damaged_zip
from tests.fuzz.watch import watch
from tests.minimal import FILES, LIBRARY, minimal_log, minimal_mill
from zxingcpp import BarcodeFormat, create_barcode

from kilnfolio.adopt.entry.pictures import NoCodesError
from kilnfolio.adopt.entry.pictures import look as look_at_picture
from kilnfolio.adopt.entry.take import take
from kilnfolio.adopt.log_columns import look
from kilnfolio.adopt.sheets.air import import_air
from kilnfolio.adopt.sheets.importing import import_sheet
from kilnfolio.adopt.sheets.kinds import SHEETS
from kilnfolio.adopt.sheets.table import Options
from kilnfolio.adopt.tables import read_sheets
from kilnfolio.archive.audit import NothingToAuditError, audit
from kilnfolio.archive.bag import write_bag
from kilnfolio.archive.places import LEDGER
from kilnfolio.records.checking import propose
from kilnfolio.records.csv_table import read_table
from kilnfolio.records.earlier import (
    CHARGES,
    INSPECTED,
    READINGS,
    EarlierCharge,
    EarlierInspected,
    EarlierReading,
)
from kilnfolio.records.folder import open_mill
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.log import read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.reading import record_of
from kilnfolio.records.validation import validate
from kilnfolio.records.weather import read_weather
from kilnfolio.records.yaml_source import parse_yaml, read_yaml
from kilnfolio.review.reviews import review_all

ZONE = ZoneInfo("America/Toronto")


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    return minimal_mill(
        tmp_path_factory.mktemp("mill"),
        files={
            PATHS["notation"]: NOTATION,
            PATHS["order"]: ORDER,
            PATHS["instrument"]: INSTRUMENT,
            PATHS["brand"]: BRAND,
            PATHS["prices"]: PRICES,
        },
    )


def outcome_of(act):
    """Return whether a file was read, or refused with a message for every problem."""
    try:
        act()
    except RecordProblems as refused:
        return (
            "refused"
            if refused.problems and all(one.what and one.why for one in refused.problems)
            else "refused without words"
        )
    return "read"


NOTATION = (LIBRARY / "notations/t-number-letter-number.yaml").read_text("utf-8")
ORDER = {
    "format": 1,
    "id": "O1",
    "customer": "Joiners",
    "species": "quercus-rubra",
    "thickness": "4/4",
    "volume": "14 m³",
    "target_mc": "8 %",
    "due": dt.date(2026, 10, 26),
    "charges": ["C1"],
}
PATHS = FILES | {
    "notation": "schedules/notations/t-number-letter-number.yaml",
    "order": "content/orders/O1.yaml",
    "instrument": "content/instruments/pins.yaml",
    "brand": "content/brand.yaml",
    "prices": "content/prices.yaml",
}
INSTRUMENT = {
    "format": 1,
    "id": "pins",
    "kind": "resistance meter",
    "instrument": "pins",
    "kilns": ["k1"],
    "repeats": [{"on": dt.date(2026, 3, 2), "piece": "A", "mc": ["12.1 %", "12.4 %"]}],
    "oven_pairs": [
        {"on": dt.date(2026, 3, 2), "species": "quercus-rubra", "meter": "12.1 %", "oven": "12.6 %"}
    ],
    "notes": "Read at noon",
}
PRICES = {
    "format": 1,
    "kiln_day": "95 CAD/day",
    "handling": "22 CAD/m³",
    "timber": "650 CAD/m³",
    "interest": "7 %",
}
BRAND = {"format": 1, "colours": {"light": {"accent": "#7a4719"}, "dark": {"link": "#9cc8dc"}}}


@pytest.mark.parametrize("kind", RECORD_KINDS)
def test_records(mill, kind):
    """Each kind of record, read by itself; a third of those that can be, by the whole mill.

    The damaged record is then read in the mill, cross-checked and reviewed; what depends only on
    other records is kept from one file to the next.
    """
    folder, taken = open_mill(mill), itertools.count()
    review_all(folder)

    def read(data):
        found = outcome_of(lambda: record_of(data, PATHS[kind], ZONE))
        if found == "read" and next(taken) % 3 == 0:
            propose(folder, PATHS[kind], data)
            found = outcome_of(lambda: review_all(folder))
        return found

    sound = (mill / PATHS[kind]).read_bytes()
    found = watch(kind, damaged([sound], YAML), read, usual=20)
    assert found.keys() <= {"read", "refused"}
    assert found["refused"]


def test_yaml():
    any_text = st.text(alphabet=st.sampled_from("a1 :-\n\t[]{}&*!|>'\"%@`,#?<~.°…"), max_size=200)
    assert watch(
        "yaml",
        any_text.map(str.encode),
        lambda data: outcome_of(lambda: parse_yaml(data, "x.yaml")),
    )["refused"]


def test_weather():
    """Twelve months, damaged; a year of hours is read by the same code."""
    months = "".join(f"{month},{month},{60 + month}\n" for month in range(1, 13))
    sound = f"# invented\nmonth,temp_c,relative_humidity_pct\n{months}".encode()
    found = watch(
        "weather", damaged([sound], TABLE), lambda data: outcome_of(lambda: read_weather(data))
    )
    assert found.keys() <= {"read", "refused"}
    assert found["refused"]


@pytest.mark.parametrize(
    ("name", "model", "sound"),
    [
        (
            CHARGES,
            EarlierCharge,
            "charge,kiln,species,thickness [mm],started,ended,target_mc,examined,bow\n"
            "A-1,k1,quercus-rubra,27,2024-03-01,2024-03-29,8,120,3\n"
            'A-2;k1;"quercus-rubra";27\n',
        ),
        (READINGS, EarlierReading, "charge,position,mc\nA-1,door,8.1\nA-1,back,9.3\n"),
        (
            INSPECTED,
            EarlierInspected,
            "charge,position,examined,bow\nA-1,door,10,1\nA-1,back,9,0\n",
        ),
    ],
)
def test_tables_of_earlier_charges(name, model, sound):
    found = watch(
        name,
        damaged([sound.encode()], TABLE),
        lambda data: outcome_of(lambda: read_table(data, name, model)),
    )
    assert found.keys() <= {"read", "refused"}
    assert found["refused"]


@pytest.fixture(scope="module")
def sheets(tmp_path_factory):
    """Return sound sheets of both kinds, by what they hold."""
    home = tmp_path_factory.mktemp("sheets")
    wide = "Date,Time,S1 (g),S2 (g)\n2026-06-02,07:10,2380,2500\n2026-06-03,07:15,2360,2480\n"
    return {
        "xlsx": [write_workbook(home / "own.xlsx").read_bytes()],
        "csv": [
            write_survey(home / "survey.csv").read_bytes(),
            wide.encode(),
            wide.replace(",", ";").encode("utf-16"),
        ],
    }


OPTIONS = Options(
    unit="g",
    dates="day-first",
    by="A. N. Other",
    at="2026-06-07T11:00",
    method="resistance meter",
    time="07:10",
)


@pytest.mark.parametrize("ending", ["xlsx", "csv"])
def test_sheets(mill, sheets, tmp_path, ending):
    files = damaged_zip(sheets["xlsx"]) if ending == "xlsx" else damaged(sheets["csv"], TABLE)
    kinds = iter([])

    def read(data):
        nonlocal kinds
        (tmp_path / f"s.{ending}").write_bytes(data)
        kind = next(kinds, None)
        if kind is None:
            kinds = iter([*SHEETS, "air"])
            return outcome_of(lambda: read_sheets(tmp_path / f"s.{ending}"))
        path = tmp_path / f"s.{ending}"
        if kind == "air":
            return outcome_of(lambda: import_air(mill, path, "C1", OPTIONS))
        return outcome_of(lambda: import_sheet(mill, path, SHEETS[kind], "C1", OPTIONS))

    found = watch(ending, files, read)
    assert found.keys() <= {"read", "refused"}
    assert found["refused"]
    assert found["read"]


def test_logs(mill, tmp_path):
    """Logger exports: inspected, and read by a profile that fits the undamaged one."""
    profile = validate(read_yaml(mill / FILES["logger"], "p.yaml"), LoggerProfile).record
    write_log(tmp_path / "other.csv")
    other = (tmp_path / "other.csv").read_bytes()
    count = iter(range(10**9))

    def read(data):
        path = tmp_path / "log.csv"
        path.write_bytes(data)
        if next(count) % 2:
            return outcome_of(lambda: look(path, "log.csv"))
        return outcome_of(lambda: read_log(path, "log.csv", profile, ZONE))

    first = b"".join(minimal_log().encode().splitlines(keepends=True)[:60])
    found = watch("logs", damaged([first, other], TABLE), read)
    assert found["read"]
    assert found.keys() <= {"read", "refused"}
    assert found["refused"]


def entries_of(folder):
    """Return a sound entry file of every kind of entry."""
    return entry_file(folder / "a.json", [*DAY, {"kind": "finish", "ended": at(50)}]).read_bytes()


def test_entry_files(tmp_path):
    """Damaged phone files, taken into the record: its content stays, and it can still be read."""
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    charge, sound = root / FILES["charge"], entries_of(tmp_path)
    before = charge.read_bytes()
    known = record_of(before, FILES["charge"], ZONE)
    path = tmp_path / "a.json"

    def read(data):
        path.write_bytes(data)
        taken = take(root, [path], NOW)
        after = charge.read_bytes()
        charge.write_bytes(before)
        shutil.rmtree(root / ".kilnfolio", ignore_errors=True)
        assert taken.left or taken.new, "a file gave nothing, and nothing was said of it"
        assert (after != before) == bool(taken.new)
        if taken.new:
            found = record_of(after, FILES["charge"], ZONE).so_far.record
            kept = {one.at for one in known.so_far.record.weighings}
            assert kept <= {one.at for one in found.weighings}
        return "read" if taken.new else "refused"

    found = watch("entry files", damaged([sound, sound.replace(b", ", b",\n")], JSON), read)
    assert found["read"]
    assert found["refused"]


def test_pictures():
    """Pictures of a code in every accepted format, by the code that runs in its own process."""
    code = create_barcode("KILNFOLIO1 1/1 00000000 x", BarcodeFormat.QRCode).to_image(scale=4)
    sound = []
    for form in ("JPEG", "PNG", "WEBP", "BMP", "TIFF"):
        file = io.BytesIO()
        Image.fromarray(np.asarray(code)).convert("RGB").save(file, form)
        sound.append(file.getvalue())
        assert look_at_picture(sound[-1]) == ["KILNFOLIO1 1/1 00000000 x"]

    def read(data):
        try:
            look_at_picture(data)
        except NoCodesError:
            return "refused"
        return "read"

    found = watch("pictures", damaged(sound, ()), read)
    assert found.keys() == {"read", "refused"}


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    """Return a sealed mill and the bag of its charge."""
    root = minimal_mill(tmp_path_factory.mktemp("sealed") / "mill")
    seal_charge(root)
    write_bag(root, "C1", root.parent / "bag", notice=NOTICE)
    return root, root.parent / "bag"


def test_the_ledger(sealed):
    """A ledger with one changed byte never counts as intact."""
    root, _ = sealed
    path = root / LEDGER
    sound = path.read_bytes()
    assert verify_ledger(root) == ()

    def read(data):
        path.write_bytes(data)
        whole = not verify_ledger(root)
        assert not whole or data == sound, "a damaged ledger was taken for whole"
        return "whole" if whole else "differs"

    try:
        found = watch("ledger", damaged([sound], JSON), read)
    finally:
        path.write_bytes(sound)
    assert found["differs"]


def test_bags(sealed, tmp_path):
    """A bag with any changed file is never confirmed."""
    _, bag = sealed
    shutil.copytree(bag, tmp_path / "bag")
    names = sorted(path.relative_to(bag).as_posix() for path in bag.rglob("*") if path.is_file())
    sound = {name: (bag / name).read_bytes() for name in names}
    files = st.sampled_from(names).flatmap(
        lambda name: damaged([sound[name]], (*JSON, *YAML, *TABLE)).map(lambda data: (name, data))
    )

    def read(one):
        name, data = one
        (tmp_path / "bag" / name).write_bytes(data)
        try:
            report = audit(tmp_path / "bag")
        except NothingToAuditError:
            return "no bag"
        finally:
            (tmp_path / "bag" / name).write_bytes(sound[name])
        holds = bool(report.holds and report.sealed)
        assert not holds or data == sound[name], f"{name} is another; the bag is confirmed"
        return "confirmed" if holds else "differs"

    # an audit computes the charge again, so a run that asks for no number takes fewer
    assert watch("bags", files, read, usual=25)["differs"]


def test_as_many_files_as_are_asked_for(monkeypatch):
    monkeypatch.setattr("tests.fuzz.watch.ASKED", 0)
    assert sum(watch("usual", st.integers(), lambda _: "read", usual=30).values()) == 30
    monkeypatch.setattr("tests.fuzz.watch.ASKED", 70)
    assert sum(watch("asked", st.integers(), lambda _: "read", usual=30).values()) == 70


def test_a_traceback_a_hang_and_excessive_memory_would_be_noticed(monkeypatch):
    with pytest.raises(KeyError):
        watch("traceback", st.binary(), lambda data: {}[data])
    monkeypatch.setattr("tests.fuzz.watch.SECONDS", 0.1)

    def hang(_):
        while True:
            pass

    with pytest.raises(AssertionError, match=r"more than 0\.1 s"):
        watch("hang", st.just(b""), hang)
    monkeypatch.setattr("tests.fuzz.watch.MEMORY", 1024**2)
    with pytest.raises(AssertionError):
        watch("memory", st.just(b""), lambda _: str(len(bytearray(600 * 1024**2))))
