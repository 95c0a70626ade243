"""The API and the exports, read back by the tools people would use."""

import json
import sqlite3

import pyarrow.parquet
import pytest
from tests.conftest import PROJECT
from tests.cut import cut_of
from tests.runtime.test_files import noted_syncs

from kilnfolio.api import TABLES, open_mill
from kilnfolio.api.export import FORMATS
from kilnfolio.api.tables import tables_in
from kilnfolio.cli import main
from kilnfolio.records.unit_codes import UNIT_CODES
from kilnfolio.site.editions import CUSTOMER_FIELDS

LOT = "HBL-26-015"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return a folder with two charges of the demonstration and their lots."""
    root = tmp_path_factory.mktemp("cut")
    cut_of(PROJECT, root, {"HB-26-004", "HB-26-038"})
    return root


@pytest.fixture(scope="module")
def mill(folder):
    return open_mill(folder)


@pytest.fixture(scope="module")
def exported(folder, tmp_path_factory):
    """Return that mill in each format, written by the command."""
    root = tmp_path_factory.mktemp("export")
    made = {form: root / form for form in FORMATS}
    for form, out in made.items():
        assert main(["export", str(folder), "--format", form, "--out", str(out)]) == 0
    return made


# --- the API --------------------------------------------------------------------------------------


def test_what_the_documentation_shows(mill):
    assert "HB-26-004" in mill.charges
    weighings = mill.table("weighings")
    assert weighings.attrs["units"]["mc_pct"] == "%"
    air = mill.charge("HB-26-004").table("air")
    assert set(air["charge"]) == {"HB-26-004"}
    assert {finding.check for finding in mill.review("HB-26-004").findings} > {"daily-loss"}


def test_a_frame_holds_what_the_review_computed(mill):
    dossier = mill.review("HB-26-004")
    rows = mill.charge("HB-26-004").table("weighings")
    for board in dossier.boards:
        mine = rows[rows["board"] == board.id]
        assert mine["mc_pct"].tolist() == [point.mc_pct for point in board.points]
        # MC = 100 × (mass − oven-dry mass) / oven-dry mass; ASTM D4442
        last, within = board.points[-1], 0.6 if len(board.estimates) > 1 else 0.1
        assert mine["mc_pct"].iloc[-1] == pytest.approx(
            100 * (last.mass_g / board.oven_dry_g - 1), abs=within
        )


def test_a_charge_that_is_not_there_is_a_key_error(mill):
    with pytest.raises(KeyError):
        mill.charge("HB-99-999")


def test_every_unit_has_a_code_and_every_column_a_sentence():
    for table in TABLES.values():
        names = [column.name for column in table.columns]
        assert len(set(names)) == len(names)
        assert set(table.key) <= set(names)
        for column in table.columns:
            assert not column.unit or column.unit in UNIT_CODES
            assert column.meaning.endswith((".", "]")), column.name


# --- each format in a tool that reads it ----------------------------------------------------------


@pytest.fixture(scope="module")
def frictionless():
    """Return the library, which takes a tenth of a second to load."""
    import frictionless

    return frictionless


def test_the_data_package_is_valid(exported, frictionless):
    report = frictionless.validate(str(exported["package"] / "datapackage.json"))
    assert report.valid, report.flatten(["type", "note"])
    assert {task.name for task in report.tasks} == set(TABLES)


def test_frictionless_finds_a_broken_key(exported, frictionless, tmp_path):
    import shutil

    broken = tmp_path / "broken"
    shutil.copytree(exported["package"], broken)
    boards = broken / "boards.csv"
    boards.write_text(boards.read_text("utf-8").replace("HB-26-004", "HB-99-999"), "utf-8")
    assert not frictionless.validate(str(broken / "datapackage.json")).valid


def test_sqlite_holds_the_same_with_keys_that_lead_somewhere(exported, mill):
    database = sqlite3.connect(exported["sqlite"])
    assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    for name in TABLES:
        (count,) = database.execute(f'SELECT count(*) FROM "{name}"').fetchone()
        assert count == len(mill.rows(name)), name
    unit, code = database.execute(
        "SELECT unit, unit_code FROM columns WHERE \"table\" = 'air' AND \"column\" = 'dry_bulb_c'"
    ).fetchone()
    assert (unit, code) == ("°C", "CEL")


def test_parquet_and_json_hold_the_same(exported, mill):
    data = json.loads(exported["json"].read_text("utf-8"))
    for name in TABLES:
        table = pyarrow.parquet.read_table(exported["parquet"] / f"{name}.parquet")
        assert table.num_rows == len(data["tables"][name]) == len(mill.rows(name))
    column = pyarrow.parquet.read_schema(exported["parquet"] / "boards.parquet").field("oven_dry_g")
    assert column.metadata[b"unit"] == b"g"


# --- who may see what -----------------------------------------------------------------------------


def test_a_customer_gets_one_lot_and_only_fields_on_the_list(tmp_path, folder, mill):
    out = tmp_path / "lot.json"
    assert (
        main(
            [
                "export",
                str(folder),
                "--format",
                "json",
                "--edition",
                "customer",
                "--lot",
                LOT,
                "--out",
                str(out),
            ]
        )
        == 0
    )
    text = out.read_text("utf-8")
    data = json.loads(text)["tables"]
    assert set(data) == {"lots", "packs"}
    assert [row["lot"] for row in data["lots"]] == [LOT]
    assert {row["lot"] for row in data["packs"]} == {LOT}
    own = {row["pack"].rpartition("-")[0] for row in data["packs"]}  # a pack's number begins so
    for number in {*mill.charges, *mill.lots} - own - {LOT}:
        assert number not in text
    allowed = {(model, name) for model, names in CUSTOMER_FIELDS.items() for name in names}
    for table in tables_in("customer").values():
        assert all(column.customer in allowed for column in table.columns_in("customer"))


def test_a_customers_export_needs_a_lot(tmp_path, folder, capsys):
    out = tmp_path / "x.json"
    assert (
        main(
            ["export", str(folder), "--format", "json", "--edition", "customer", "--out", str(out)]
        )
        == 2
    )
    assert "name it with --lot" in capsys.readouterr().err
    assert not out.exists()


def test_an_auditor_sees_no_customer():
    names = {
        column.name
        for table in tables_in("auditor").values()
        for column in table.columns_in("auditor")
    }
    assert "customer" not in names
    assert "answered_by" not in names
    assert "mc_pct" in names


def test_other_files_are_not_replaced(tmp_path, folder, capsys):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine/diary.txt").write_text("mine")
    assert main(["export", str(folder), "--out", str(tmp_path / "mine")]) == 2
    assert "holds other files" in capsys.readouterr().err
    assert (tmp_path / "mine/diary.txt").read_text() == "mine"


@pytest.mark.parametrize("form", FORMATS)
def test_an_export_is_on_the_disk_before_it_replaces_the_last(folder, tmp_path, monkeypatch, form):
    for _ in range(2):
        flushed = noted_syncs(monkeypatch)
        assert main(["export", str(folder), "--format", form, "--out", str(tmp_path / "x")]) == 0
        out = tmp_path / "x"
        assert {path.stat().st_ino for path in (out, *out.rglob("*"))} <= flushed
    assert [path.name for path in tmp_path.iterdir()] == ["x"]
