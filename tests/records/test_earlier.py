"""The mill's own list of earlier charges: every slip of a spreadsheet, with its line and column."""

import pytest
from tests.minimal import minimal_mill
from tests.records.refusal import refused

from kilnfolio.cli import main
from kilnfolio.cli.errors import ERROR
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.csv_table import read_table
from kilnfolio.records.earlier import CHARGES, INSPECTED, READINGS, EarlierCharge, earlier
from kilnfolio.records.folder import open_mill
from kilnfolio.records.problems import RecordProblems

HEAD = "charge,kiln,species,thickness,started,ended,target_mc"
ROW = "A-1,k1,quercus-rubra,4/4,2024-03-01,2024-03-29,8"


def mill(folder, charges, readings=None):
    files = {CHARGES: charges} | ({READINGS: readings} if readings else {})
    return minimal_mill(folder / "mill", files=files)


def problems_in(raw):
    return refused(read_table, raw.encode(), CHARGES, EarlierCharge)


def only(raw):
    (row,) = read_table(raw.encode(), CHARGES, EarlierCharge).record.rows
    return row


def test_a_row_is_read_with_its_units():
    row = only(
        f"{HEAD},final_mc,side_difference [°F],energy [kWh/lb],too_hot,examined,surface-checks,bow\n"
        f"{ROW},8.4,3.6,0.5,1 d 6 h,120,7,\n"
    )
    assert (row.thickness.value, row.final_mc.value) == (25.4, 8.4)
    assert row.side_difference.value == pytest.approx(2.0)  # 3.6 °F / 1.8
    assert row.energy.value == pytest.approx(1.1023, abs=1e-4)  # 0.5 / 0.45359237
    assert row.too_hot.value == 30.0
    assert row.defects == {"surface-checks": 7}


def test_semicolons_and_decimal_commas_as_a_european_spreadsheet_writes_them():
    row = only(f"# made by hand\n{HEAD.replace(',', ';')};final_mc\n{ROW.replace(',', ';')};8,4\n")
    assert row.final_mc.value == 8.4


@pytest.mark.parametrize(
    ("raw", "line", "cell", "words"),
    [
        ("", 1, "", "the table is empty"),
        (f"{HEAD},final mc\n{ROW},8\n", 1, "final mc", "Did you mean 'final_mc'?"),
        (f"{HEAD.replace(',kiln', '')}\n", 1, "charge", "there is no column 'kiln'"),
        (f"{HEAD},bow,bow\n", 1, "bow", "it stands twice"),
        (f"{HEAD}\n{ROW.replace('k1', '')}\n", 2, "A-1", "'kiln' is empty"),
        (f"{HEAD}\n\n{ROW},9\n", 3, "A-1", "more cells than there are columns"),
        (f"{HEAD},final_mc\n{ROW},84\n", 2, "84", "it is not within 1 to 60 %"),
        (f"{HEAD}\n{ROW.replace('-29', '-09').replace('-01', '-19')}\n", 2, "2024-03-09", "before"),
        (f"{HEAD}\n{ROW.replace('2024-03-01', '1.3.2024')}\n", 2, "1.3.2024", "2024-"),
        (f"{HEAD},bow\n{ROW},3\n", 2, "3", "no number of pieces was examined"),
        (f"{HEAD},examined,bow\n{ROW},2,3\n", 2, "3", "only 2 pieces were examined"),
        (f"{HEAD},wick_per_day\n{ROW},-0.3\n", 2, "-0.3", "has no unit"),
    ],
)
def test_a_slip_is_refused_at_its_place(raw, line, cell, words):
    (problem,) = problems_in(raw)
    column = raw.split("\n")[line - 1].rindex(cell) + 1
    assert problem.startswith(f"{CHARGES}:{line}:{column}: ")
    assert words in problem


def test_all_problems_are_reported_in_one_run():
    found = problems_in(f"{HEAD}\n{ROW.replace(',8', ',80')}\n{ROW.replace('4/4', 'thick')}\n")
    assert [line.split(":")[1] for line in found] == ["2", "3"]


PACKS = "charge,position,examined,bow\nA-1,door,10,1\nA-1,back,10,0\n"


def test_packs_examined_by_themselves_are_read(tmp_path):
    root = minimal_mill(tmp_path, files={CHARGES: f"{HEAD}\n{ROW}\n", INSPECTED: PACKS})
    first, second = earlier(open_mill(root).graph).inspected
    assert (first.position, first.examined, first.defects) == ("door", 10, {"bow": 1})
    assert second.defects == {"bow": 0}


@pytest.mark.parametrize(
    ("packs", "says"),
    [
        (PACKS.replace("back", "door"), "the table has it twice for charge 'A-1'"),
        (PACKS.replace("A-1,back", "A-2,back"), "has no such row"),
        (PACKS.replace("10,1", "10,11"), "only 10 pieces were examined"),
    ],
)
def test_a_slip_in_the_packs_is_refused(tmp_path, packs, says):
    root = minimal_mill(tmp_path, files={CHARGES: f"{HEAD}\n{ROW}\n", INSPECTED: packs})
    with pytest.raises(RecordProblems, match=says):
        checked_mill(root)


def test_bytes_that_are_not_text_are_refused():
    with pytest.raises(RecordProblems, match="UTF-8"):
        read_table(f"{HEAD}\n".encode() + b"\xff", CHARGES, EarlierCharge)


@pytest.mark.parametrize(
    ("charges", "readings", "words"),
    [
        (ROW.replace("k1", "k2"), None, ":2:5: kiln 'k2': the mill has no kiln of that id"),
        (ROW.replace("rubra", "ruba"), None, "Did you mean 'quercus-rubra'?"),
        (f"{ROW}\n{ROW}", None, ":3:1: charge 'A-1': the table has it twice"),
        (ROW.replace("A-1", "C1"), None, "it has a record of its own"),
        (ROW, "charge,position,mc\nA-2,door,8\n", f"{READINGS}:2:1: charge 'A-2'"),
    ],
)
def test_names_that_the_mill_does_not_know_are_refused(tmp_path, charges, readings, words):
    root = mill(tmp_path, f"{HEAD}\n{charges}\n", readings)
    with pytest.raises(RecordProblems) as caught:
        checked_mill(root)
    assert words in str(caught.value)


def test_a_mill_without_the_list_has_no_earlier_charges(tmp_path):
    found = earlier(checked_mill(minimal_mill(tmp_path)).graph)
    assert not found.charges
    assert not found.readings


def test_the_tables_that_new_begins_are_read(tmp_path):
    root = minimal_mill(tmp_path)
    assert main(["new", "earlier", str(root)]) == 0
    headings = (root / CHARGES).read_text("utf-8").splitlines()[-1].split(",")
    assert {"charge", "kiln", "final_mc", "stress_index"} <= set(headings)
    assert not earlier(checked_mill(root).graph).charges
    assert main(["new", "earlier", str(root)]) == ERROR
